//! Whether a photograph should be taken again while the sample is still on the bench: measured quantities
//! against the thresholds of one table.

use super::ScoredFish;
use crate::fish::Flag;
use crate::records::{Call, View};
use crate::scale::{Reason, Severity};

/// What is measured of a photograph to decide whether it should be taken again. Shares are of the fish
/// found, 0-1; empty without fish.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Facts {
    /// Fish found.
    pub fish: usize,
    /// Median blur at the fish's edges: standard deviation in pixels.
    pub blur_px: Option<f64>,
    /// The same as a share of the fish's depth.
    pub blur_share: Option<f64>,
    /// Share of the lit ground at the upper end of the brightness range.
    pub clipped: f64,
    /// Share of fish whose trunks are clipped white.
    pub trunk_clipped: Option<f64>,
    /// Share of fish that touch or cross others and could not be separated.
    pub overlap: Option<f64>,
    /// Share of fish cut by the frame.
    pub cut: Option<f64>,
    /// Share of fish touching the wall of their vessel.
    pub at_wall: Option<f64>,
    /// Median length in pixels.
    pub length_px: Option<f64>,
    /// Share of fish seen neither from the side nor unclear: on their bellies, backs, or oblique.
    pub not_side: Option<f64>,
    /// Share of fish that could be called and whose call is unsure.
    pub unsure: Option<f64>,
    /// 1 without a scale, 0 with one.
    pub no_scale: f64,
}

impl Facts {
    /// Measures the fish of a photograph.
    pub fn gather(fish: &[ScoredFish], clipped: f64, has_scale: bool) -> Self {
        let share = |holds: &dyn Fn(&ScoredFish) -> bool| {
            (!fish.is_empty()).then(|| fish.iter().filter(|f| holds(f)).count() as f64 / fish.len() as f64)
        };
        let flagged = |flag: Flag| share(&|f| f.fish.flags.contains(&flag));
        let called = fish.iter().filter(|f| f.verdict.is_some()).count();
        let unsure =
            fish.iter().filter(|f| f.verdict.as_ref().is_some_and(|v| v.call == Call::Unsure)).count();
        Self {
            fish: fish.len(),
            blur_px: median(fish.iter().map(|f| f.fish.blur.0)),
            blur_share: median(fish.iter().map(|f| f.fish.blur.0 / f.fish.depth.0)),
            clipped,
            trunk_clipped: flagged(Flag::TrunkClipped),
            overlap: flagged(Flag::Overlap),
            cut: flagged(Flag::CutByFrame),
            at_wall: flagged(Flag::AtWall),
            length_px: median(fish.iter().map(|f| f.fish.total_length.0)),
            not_side: share(&|f| matches!(f.fish.view, View::Top | View::Oblique)),
            unsure: (called > 0).then(|| unsure as f64 / called as f64),
            no_scale: if has_scale { 0.0 } else { 1.0 },
        }
    }
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// A reason to take a photograph again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// Name of the rule.
    pub rule: &'static str,
    /// What was seen and what to do.
    pub text: String,
}

/// One line of the table of reasons.
#[derive(Debug)]
pub struct Rule {
    /// Its name.
    pub name: &'static str,
    /// The measured quantity; `None` when it cannot be told.
    pub measure: fn(&Facts) -> Option<f64>,
    /// Whether it speaks above the threshold, else below.
    pub above: bool,
    /// The threshold.
    pub threshold: f64,
    /// What is said.
    pub advice: &'static str,
}

/// The reasons in the order that matters. Where no source is named a threshold is common practice.
pub const RULES: [Rule; 10] = [
    Rule {
        name: "no_fish",
        measure: |f| Some(f.fish as f64),
        above: false,
        threshold: 1.0,
        advice: "no fish found: check light, focus and that the dish is in the frame",
    },
    // At a blur of a fifth of the depth the rim of a bladder one half as deep as the body runs into the gut.
    Rule {
        name: "out_of_focus",
        measure: |f| f.blur_share,
        above: true,
        threshold: 0.2,
        advice: "fish out of focus: focus on the fish, not on the rim",
    },
    Rule {
        name: "clipped",
        measure: |f| Some(f.clipped),
        above: true,
        threshold: 0.2,
        advice: "background clipped white: lower the exposure",
    },
    Rule {
        name: "trunk_clipped",
        measure: |f| f.trunk_clipped,
        above: true,
        threshold: 0.25,
        advice: "fish clipped white: lower the exposure or the lamp",
    },
    Rule {
        name: "overlap",
        measure: |f| f.overlap,
        above: true,
        threshold: 0.25,
        advice: "fish overlap: spread them",
    },
    Rule {
        name: "cut",
        measure: |f| f.cut,
        above: true,
        threshold: 0.25,
        advice: "fish cut by the frame: move the dish or step back",
    },
    // A bladder of a tenth of the length has ten pixels here, the fewest that show rim and core apart.
    Rule {
        name: "too_small",
        measure: |f| f.length_px,
        above: false,
        threshold: 100.0,
        advice: "fish too small in the picture: move closer",
    },
    Rule {
        name: "not_on_their_side",
        measure: |f| f.not_side,
        above: true,
        threshold: 0.5,
        advice: "most fish are not on their sides: turn them, or wait until they settle",
    },
    Rule {
        name: "unsure",
        measure: |f| f.unsure,
        above: true,
        threshold: 0.4,
        advice: "many calls unsure: go closer, with less glare; light from below shows most",
    },
    Rule {
        name: "no_scale",
        measure: |f| Some(f.no_scale),
        above: true,
        threshold: 0.5,
        advice: "no scale: put the card or a ruler beside the dish",
    },
];

/// Most reasons given at once: more would not be read with wet hands.
const MOST: usize = 3;

/// Why the photograph should be taken again, most important first; empty when it is good. What the scale
/// stage asks for comes after the picture itself, before a missing scale.
pub fn retake(facts: &Facts, scale: &[Reason]) -> Vec<Advice> {
    let speaks = |rule: &&Rule| {
        (rule.measure)(facts)
            .is_some_and(|v| if rule.above { v > rule.threshold } else { v < rule.threshold })
    };
    let advice = |rule: &Rule| Advice { rule: rule.name, text: rule.advice.to_owned() };
    let asked = scale
        .iter()
        .filter(|r| r.severity == Severity::Retake)
        .map(|r| Advice { rule: r.flag, text: r.text.clone() });
    // Without fish the picture has one thing to say; a torn card is told all the same.
    if facts.fish == 0 {
        return RULES[..1].iter().filter(speaks).map(advice).chain(asked).take(MOST).collect();
    }
    let (of_picture, of_scale) = RULES.split_at(RULES.len() - 1);
    let picture = of_picture.iter().filter(speaks).map(advice);
    picture.chain(asked).chain(of_scale.iter().filter(speaks).map(advice)).take(MOST).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A photograph nothing is wrong with.
    fn good() -> Facts {
        Facts {
            fish: 40,
            blur_px: Some(1.2),
            blur_share: Some(0.05),
            clipped: 0.01,
            trunk_clipped: Some(0.0),
            overlap: Some(0.05),
            cut: Some(0.0),
            at_wall: Some(0.0),
            length_px: Some(300.0),
            not_side: Some(0.1),
            unsure: Some(0.05),
            no_scale: 0.0,
        }
    }

    fn names(facts: &Facts) -> Vec<&'static str> {
        retake(facts, &[]).into_iter().map(|a| a.rule).collect()
    }

    #[test]
    fn a_good_photograph_is_left_alone() {
        assert_eq!(names(&good()), [""; 0]);
    }

    /// Each rule speaks just beyond its threshold and is silent just within it.
    #[test]
    fn every_rule_holds_in_both_directions() {
        type Set = fn(&mut Facts, f64);
        let set: [(&str, Set); 10] = [
            ("no_fish", |f, v| f.fish = v.round() as usize),
            ("out_of_focus", |f, v| f.blur_share = Some(v)),
            ("clipped", |f, v| f.clipped = v),
            ("trunk_clipped", |f, v| f.trunk_clipped = Some(v)),
            ("overlap", |f, v| f.overlap = Some(v)),
            ("cut", |f, v| f.cut = Some(v)),
            ("too_small", |f, v| f.length_px = Some(v)),
            ("not_on_their_side", |f, v| f.not_side = Some(v)),
            ("unsure", |f, v| f.unsure = Some(v)),
            ("no_scale", |f, v| f.no_scale = v),
        ];
        for (rule, (name, set)) in RULES.iter().zip(set) {
            assert_eq!(rule.name, name);
            let step = if name == "no_fish" { 1.0 } else { 0.01 * rule.threshold };
            let (wrong, right) = if rule.above {
                (rule.threshold + step, rule.threshold - step)
            } else {
                (rule.threshold - step, rule.threshold + step)
            };
            let mut facts = good();
            set(&mut facts, wrong);
            assert_eq!(names(&facts), [name], "beyond");
            set(&mut facts, right);
            assert_eq!(names(&facts), [""; 0], "within: {name}");
        }
    }

    #[test]
    fn at_most_three_reasons_in_the_order_of_the_table() {
        let facts = Facts { clipped: 0.9, cut: Some(0.9), unsure: Some(0.9), no_scale: 1.0, ..good() };
        assert_eq!(names(&facts), ["clipped", "cut", "unsure"]);
    }

    #[test]
    fn what_the_scale_asks_for_is_passed_on_and_mere_notes_are_not() {
        let reason = |severity| Reason {
            severity,
            flag: "card_tilted",
            text: "card tilted: hold the camera level".into(),
        };
        assert_eq!(retake(&good(), &[reason(Severity::Warning)]), []);
        assert_eq!(retake(&good(), &[reason(Severity::Retake)])[0].rule, "card_tilted");
    }
}
