//! When the outlet screen can go coarser: how many fish could pass each mesh, and how many still might.
//!
//! A fish passes where its head does: the head gives least (Patrick et al. 2018, Lake Reserv. Manage. 34:306-319;
//! Weisberg et al. 1987: length mattered more than slot). The opening that counts is the worst hole of the mesh, not
//! its nominal width: ISO 3310-1 bounds single apertures and the mean of wire cloth, plastic mesh is looser; the
//! tolerance is an input. The promise is exact: Clopper and Pearson's one-sided limit at the number of heads seen.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::shape::{self, Dimension};
use super::{DecisionError, Estimate, Sample, sample};
use crate::stats::Level;
use crate::stats::proportion::Method;

/// Excess of the worst single hole over the nominal opening when the user gives none: 15 %.
/// From memory of older sieve standards; measure the mesh.
pub const TOLERANCE: f64 = 0.15;
/// Largest share of fish that may be small enough, when the user promises nothing else: 1 %.
pub const PROMISE: f64 = 0.01;
/// Days ahead that growth is projected; beyond it nobody knows.
const HORIZON_DAYS: i32 = 60;

/// Nominal openings in micrometres of ISO 565, series R 20 from 100 µm to 10 mm (the preferred numbers of ISO 3), and
/// 425, 600, 850 and 1,180 µm of its supplementary series R 40/3. From memory; 400, 500, 1,000 and 2,000 µm were read.
pub const ISO_565_UM: [u32; 45] = [
    100, 112, 125, 140, 160, 180, 200, 224, 250, 280, 315, 355, 400, 425, 450, 500, 560, 600, 630, 710, 800,
    850, 900, 1000, 1120, 1180, 1250, 1400, 1600, 1800, 2000, 2240, 2500, 2800, 3150, 3550, 4000, 4500, 5000,
    5600, 6300, 7100, 8000, 9000, 10000,
];

/// Whether an opening is a nominal one of [`ISO_565_UM`].
pub fn is_nominal(opening_mm: f64) -> bool {
    ISO_565_UM.iter().any(|um| (f64::from(*um) - 1000.0 * opening_mm).abs() < 0.5)
}

/// What decides whether a fish could pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Width of the head, seen from above.
    HeadWidth,
    /// Depth of the head, seen from the side: heads may be narrower.
    HeadDepth,
    /// Greatest depth of the body, which gives: more may pass than it says.
    BodyDepth,
}

impl Basis {
    fn dimension(self) -> Dimension {
        match self {
            Self::HeadWidth => Dimension::HeadWidth,
            Self::HeadDepth => Dimension::HeadDepth,
            Self::BodyDepth => Dimension::Depth,
        }
    }

    /// Its words.
    pub fn name(self) -> &'static str {
        self.dimension().name()
    }
}

/// What may be said of one mesh.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The promise holds.
    Safe,
    /// Fish were seen that could pass.
    NotYet,
    /// None was seen that could pass, but too few fish were measured for the promise.
    CannotTell,
}

impl Verdict {
    /// Its words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Safe => "safe",
            Self::NotYet => "not yet",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// Fish that could pass by one dimension.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Passing {
    /// Which dimension.
    pub basis: Basis,
    /// Fish in which it was seen.
    pub seen: usize,
    /// Of these, fish smaller than the worst hole.
    pub could_pass: usize,
    /// One-sided upper limit of the share that could pass.
    pub upper: f64,
}

/// One mesh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mesh {
    /// Nominal opening, mm.
    pub opening_mm: f64,
    /// Widest hole to be expected, mm.
    pub worst_hole_mm: f64,
    /// Whether it is a nominal opening of ISO 565.
    pub nominal: bool,
    /// By what decides.
    pub deciding: Passing,
    /// By the other dimensions seen.
    pub others: Vec<Passing>,
    /// What may be said.
    pub verdict: Verdict,
    /// Fish to measure, none of which may be small enough, to keep the promise.
    pub needed: u64,
    /// First date at which it should be safe at the present growth, and the latest by the slowest growth not excluded.
    pub first_safe: Option<FirstSafe>,
    /// Larger than every fish, and the like.
    pub note: Option<String>,
}

/// When a mesh should become safe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FirstSafe {
    /// At the growth estimated.
    pub expected: Date,
    /// At the lower limit of growth; `None` when that is no growth, or lies beyond 60 days.
    pub cautious: Option<Date>,
}

/// What the sample and the user bring.
#[derive(Debug, Clone)]
pub struct ScreenRequest<'a> {
    /// The newest sample of the tank.
    pub sample: &'a Sample,
    /// Meshes owned: nominal openings, mm.
    pub openings_mm: &'a [f64],
    /// Excess of the worst hole over the nominal opening, a fraction.
    pub tolerance: f64,
    /// Largest share that may be small enough, a fraction.
    pub promise: f64,
    /// Specific growth of length, % per day, when known.
    pub growth_pct_per_day: Option<Estimate>,
    /// Level of the promise, one-sided.
    pub level: Level,
}

/// The advice for one tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScreenAdvice {
    /// Which sample.
    pub sample: String,
    /// Tank.
    pub tank: Option<String>,
    /// Date of the sample.
    pub date: Option<Date>,
    /// Each mesh, by rising opening.
    pub meshes: Vec<Mesh>,
    /// Index of the coarsest safe mesh.
    pub coarsest_safe: Option<usize>,
    /// What the numbers rest on.
    pub assumptions: Vec<String>,
    /// What would change the advice.
    pub would_change: Vec<String>,
}

/// One-sided upper limit of a share of which `x` were seen in `n` (Clopper & Pearson); 1 when `n` is 0.
///
/// ```
/// use frygauge::decision::screen::upper_share;
/// use frygauge::stats::Level;
/// // None of 40: up to 7.2 % could still be; Hanley & Lippman-Hand 1983: about 3/n.
/// assert!((upper_share(0, 40, Level::P95) - 0.0722).abs() < 5e-5);
/// ```
pub fn upper_share(x: u64, n: u64, level: Level) -> f64 {
    // The two-sided limit at twice the error has the wanted error above.
    let both = Level::new(2.0 * level.get() - 1.0).unwrap_or(Level::P90);
    Method::ClopperPearson.interval(x, n, both).map_or(1.0, |i| i.high)
}

/// Fish to measure, none small enough, for the upper limit to be at most `promise`.
pub fn fish_needed(promise: f64, level: Level) -> u64 {
    (level.alpha().ln() / (-promise).ln_1p()).ceil() as u64
}

/// Works out the advice.
///
/// # Errors
/// [`DecisionError`] for a sample no advice can rest on, an opening, tolerance or promise that is not usable, or
/// when neither heads nor depths were seen.
pub fn advise(request: &ScreenRequest<'_>) -> Result<ScreenAdvice, DecisionError> {
    sample::check(request.sample)?;
    check_request(request)?;
    let seen: Vec<(Basis, Vec<f64>)> = [Basis::HeadWidth, Basis::HeadDepth, Basis::BodyDepth]
        .into_iter()
        .map(|b| (b, request.sample.fish.iter().filter_map(|f| b.dimension().of(f)).collect::<Vec<f64>>()))
        .filter(|(_, v)| !v.is_empty())
        .collect();
    if let Some(bad) = seen.iter().flat_map(|(_, v)| v).find(|v| !(v.is_finite() && **v > 0.0)) {
        return Err(DecisionError::new(
            format!("{}: a head or depth of {bad} mm", request.sample.name()),
            "leave the cell empty when it was not measured",
        ));
    }
    // The head decides, its width before its depth when enough fish show it: it is what meets the hole first.
    let need = fish_needed(request.promise, request.level) as usize;
    let deciding = seen
        .iter()
        .find(|(b, v)| *b != Basis::BodyDepth && v.len() >= need)
        .or_else(|| seen.iter().filter(|(b, _)| *b != Basis::BodyDepth).max_by_key(|(_, v)| v.len()))
        .or_else(|| seen.first())
        .ok_or_else(|| {
            DecisionError::new(
                format!("{}: neither heads nor depths were measured", request.sample.name()),
                "score photographs of fish on their side or from above, or give head_width_mm, head_depth_mm or depth_mm",
            )
        })?;
    let mut openings = request.openings_mm.to_vec();
    openings.sort_by(f64::total_cmp);
    openings.dedup();
    let meshes: Vec<Mesh> = openings.iter().map(|&o| mesh(request, o, deciding, &seen)).collect();
    let coarsest_safe = meshes.iter().rposition(|m| m.verdict == Verdict::Safe);
    let (assumptions, would_change) = words(request, deciding, &meshes);
    Ok(ScreenAdvice {
        sample: request.sample.name(),
        tank: request.sample.tank.clone(),
        date: request.sample.date,
        meshes,
        coarsest_safe,
        assumptions,
        would_change,
    })
}

fn check_request(request: &ScreenRequest<'_>) -> Result<(), DecisionError> {
    if request.openings_mm.is_empty() {
        return Err(DecisionError::new("no mesh was given", "name the meshes you own, in millimetres or µm"));
    }
    if let Some(bad) = request.openings_mm.iter().find(|o| !(o.is_finite() && **o > 0.0)) {
        return Err(DecisionError::new(format!("a mesh opening of {bad} mm"), "openings must be above 0"));
    }
    if !(0.0..1.0).contains(&request.tolerance) {
        return Err(DecisionError::new(
            format!("a mesh tolerance of {}", request.tolerance),
            "give how much wider the worst hole is than the nominal opening, 0 to 99 %",
        ));
    }
    if !(request.promise > 0.0 && request.promise < 1.0) {
        return Err(DecisionError::new(
            format!("a promise of {}", request.promise),
            "give a share between 0 and 100 %; 0 cannot be promised from any sample",
        ));
    }
    Ok(())
}

fn passing(basis: Basis, values: &[f64], hole: f64, level: Level) -> Passing {
    let could_pass = values.iter().filter(|v| **v < hole).count();
    Passing {
        basis,
        seen: values.len(),
        could_pass,
        upper: upper_share(could_pass as u64, values.len() as u64, level),
    }
}

fn mesh(
    request: &ScreenRequest<'_>,
    opening_mm: f64,
    deciding: &(Basis, Vec<f64>),
    seen: &[(Basis, Vec<f64>)],
) -> Mesh {
    let hole = opening_mm * (1.0 + request.tolerance);
    let by = |(basis, values): &(Basis, Vec<f64>)| passing(*basis, values, hole, request.level);
    let main = by(deciding);
    let verdict = if main.upper <= request.promise {
        Verdict::Safe
    } else if main.could_pass > 0 {
        Verdict::NotYet
    } else {
        Verdict::CannotTell
    };
    let note = if main.could_pass == main.seen {
        Some("every fish measured could pass".to_owned())
    } else if main.could_pass == 0 && deciding.1.iter().all(|v| *v > 2.0 * hole) {
        Some("far finer than any fish measured".to_owned())
    } else {
        None
    };
    Mesh {
        opening_mm,
        worst_hole_mm: hole,
        nominal: is_nominal(opening_mm),
        deciding: main,
        others: seen.iter().filter(|(b, _)| *b != deciding.0).map(by).collect(),
        verdict,
        needed: fish_needed(request.promise, request.level),
        first_safe: if verdict == Verdict::NotYet { first_safe(request, hole, deciding) } else { None },
        note,
    }
}

/// Every head grows by its own law on length, and all fish at one specific rate: the first day on which the
/// limit of the share that could pass has fallen to the promise.
fn first_safe(
    request: &ScreenRequest<'_>,
    hole: f64,
    (basis, values): &(Basis, Vec<f64>),
) -> Option<FirstSafe> {
    let (date, growth) = (request.sample.date?, request.growth_pct_per_day?);
    let exponent = shape::fit(&request.sample.fish, basis.dimension()).ok()?.law.exponent().max(0.0);
    let day = |pct: f64| -> Option<Date> {
        let per_day = exponent * pct / 100.0;
        (1..=HORIZON_DAYS)
            .find(|&d| {
                let now = hole / (per_day * f64::from(d)).exp();
                passing(*basis, values, now, request.level).upper <= request.promise
            })
            .and_then(|d| date.checked_add(jiff::Span::new().days(d)).ok())
    };
    (growth.value > 0.0).then(|| day(growth.value)).flatten().map(|expected| FirstSafe {
        expected,
        cautious: if growth.low > 0.0 { day(growth.low) } else { None },
    })
}

fn words(
    request: &ScreenRequest<'_>,
    (basis, values): &(Basis, Vec<f64>),
    meshes: &[Mesh],
) -> (Vec<String>, Vec<String>) {
    let percent = |v: f64| (1e4 * v).round() / 100.0;
    let mut assumptions = vec![
        format!("a fish could pass where its {} is less than the worst hole of the mesh", basis.name()),
        format!(
            "the worst hole is {} % wider than the nominal opening; ISO 3310-1 bounds the holes of wire cloth, plastic mesh is looser and stretches: measure it",
            percent(request.tolerance)
        ),
        "the sample is a fair dip: small fish that hide from the net are not in it".to_owned(),
    ];
    let mut would_change = Vec::new();
    let need = fish_needed(request.promise, request.level);
    if (values.len() as u64) < need {
        would_change.push(format!(
            "{} fish show their {}: {need}, none of them small enough, would promise {} %",
            values.len(),
            basis.name(),
            percent(request.promise)
        ));
    }
    match basis {
        Basis::HeadWidth => {}
        Basis::HeadDepth => {
            assumptions.push(
                "heads were seen from the side only: where they are narrower than deep, more may pass".into(),
            );
            would_change.push("photograph some fish from above".into());
        }
        Basis::BodyDepth => {
            assumptions.push(
                "no heads were measured: body depth gives under pressure, so more may pass than shown".into(),
            );
            would_change.push("score photographs that show the heads".into());
        }
    }
    let odd: Vec<String> =
        meshes.iter().filter(|m| !m.nominal).map(|m| format!("{} mm", m.opening_mm)).collect();
    if !odd.is_empty() {
        assumptions.push(format!("{}: not a nominal opening of ISO 565, taken as measured", odd.join(", ")));
    }
    if request.growth_pct_per_day.is_none() && meshes.iter().any(|m| m.verdict == Verdict::NotYet) {
        would_change
            .push("samples of three dates or more tell growth, and with it the first safe date".into());
    }
    (assumptions, would_change)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rule of three (Hanley & Lippman-Hand 1983, JAMA 249:1743-1745): none of n, at most about 3/n at 95 %.
    #[test]
    fn none_seen_keeps_the_rule_of_three() {
        for n in [30_u64, 100, 300] {
            assert!((upper_share(0, n, Level::P95) - 3.0 / n as f64).abs() < 0.06 * 3.0 / n as f64);
        }
        // Front. Vet. Sci. 2020;7:253: 29, 59 and 149 fish for 10, 5 and 2 %.
        assert_eq!([0.10, 0.05, 0.02].map(|p| fish_needed(p, Level::P95)), [29, 59, 149]);
    }

    /// ISO 565 and ISO 3310-1 list 0.4, 0.5, 1 and 2 mm; ASTM No. 40 is 0.425 mm.
    #[test]
    fn nominal_openings() {
        assert!([0.4, 0.425, 0.5, 1.0, 2.0].into_iter().all(is_nominal));
        assert!(!is_nominal(0.47));
        // R 20: each of its numbers is 10^(1/20) times the one before, to the rounding of ISO 3.
        let r20: Vec<f64> = ISO_565_UM
            .iter()
            .filter(|u| ![425, 600, 850, 1180].contains(*u))
            .map(|u| f64::from(*u))
            .collect();
        assert_eq!(r20.len(), 41);
        for (i, v) in r20.iter().enumerate() {
            let exact = 100.0 * 10f64.powf(i as f64 / 20.0);
            assert!((v / exact - 1.0).abs() < 0.013, "{v} {exact}");
        }
    }
}
