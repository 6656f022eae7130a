//! One row a tank and date from the fish of its photographs.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::Validation;
use crate::records::{Call, FishRow, PhotoRow, PhotoStatus, TankRow};
use crate::stats::moments::Moments;
use crate::stats::proportion::Method;
use crate::stats::{Interval, Level, cv, quantile};

/// Below this many called fish the row carries a note (common practice, no source: at 20 the 95 % limits are some 20
/// points either side).
const FEW_CALLED: u32 = 20;
/// Above this share of unsure fish among those that could count, the row carries a note (common practice, no source).
const MANY_UNSURE: f64 = 0.2;
/// Scales that differ by more than this factor within one sample are named (common practice, no source).
const SCALE_SPREAD: f64 = 1.25;

/// A photograph, the sample it belongs to, and its scale.
#[derive(Debug, Clone, PartialEq)]
pub struct SampledPhoto {
    /// Name as in `photos.csv`.
    pub photo: String,
    /// Tank, when known.
    pub tank: Option<String>,
    /// Date of the sample.
    pub date: Option<Date>,
    /// Age in days post hatch.
    pub age_dph: Option<f64>,
    /// Whether it was scored (a photograph to be taken again was scored, a refused one not).
    pub scored: bool,
    /// Where its scale came from.
    pub scale_source: Option<String>,
    /// Scale at the centre of the frame, millimetres per pixel.
    pub mm_per_px: Option<f64>,
    /// Standard error of the scale.
    pub mm_per_px_se: Option<f64>,
}

impl SampledPhoto {
    /// A photograph as it stands in `photos.csv`, with the sample it was assigned to.
    pub fn new(row: &PhotoRow, tank: Option<String>, date: Option<Date>, age_dph: Option<f64>) -> Self {
        Self {
            photo: row.photo.clone(),
            tank,
            date,
            age_dph,
            scored: row.status != PhotoStatus::Refused,
            scale_source: row.scale_source.clone(),
            mm_per_px: row.mm_per_px,
            mm_per_px_se: row.mm_per_px_se,
        }
    }

    /// The photographs of a results folder, each with the sample its fish name (a photograph without fish has none).
    pub fn of_results(photos: &[PhotoRow], fish: &[FishRow]) -> Vec<Self> {
        let first: BTreeMap<&str, &FishRow> = fish.iter().rev().map(|f| (f.photo.as_str(), f)).collect();
        photos
            .iter()
            .map(|p| {
                let f = first.get(p.photo.as_str());
                Self::new(
                    p,
                    f.and_then(|f| f.tank.clone()),
                    f.and_then(|f| f.date),
                    f.and_then(|f| f.age_dph),
                )
            })
            .collect()
    }
}

/// How to summarise.
#[derive(Debug, Clone, Copy, Default)]
pub struct SummaryOptions<'a> {
    /// Confidence level of all intervals.
    pub level: Level,
    /// Method for the inflated share.
    pub method: Method,
    /// The caller's validation set; without one the corrected columns stay empty.
    pub validation: Option<&'a Validation>,
}

/// One [`TankRow`] a tank and date, ordered by tank, then date (undated first).
///
/// Fish without a tank are gathered under the folder of their photograph. A photograph that was scored and shows no
/// fish still counts in `photos`; one refused does not.
///
/// ```
/// use frygauge::tank::{SummaryOptions, summarise};
/// assert!(summarise(&[], &[], &SummaryOptions::default()).is_empty());
/// ```
pub fn summarise(fish: &[FishRow], photos: &[SampledPhoto], options: &SummaryOptions) -> Vec<TankRow> {
    let mut samples: BTreeMap<(String, Option<Date>), Sample> = BTreeMap::new();
    for photo in photos.iter().filter(|p| p.scored) {
        let key = (sample_name(photo.tank.as_deref(), &photo.photo), photo.date);
        let sample = samples.entry(key).or_default();
        sample.photos.insert(&photo.photo);
        sample.ages.extend(photo.age_dph.filter(|a| a.is_finite()));
        sample.scales.insert(&photo.photo, photo);
    }
    for f in fish {
        let key = (sample_name(f.tank.as_deref(), &f.photo), f.date);
        let sample = samples.entry(key).or_default();
        sample.photos.insert(&f.photo);
        sample.ages.extend(f.age_dph.filter(|a| a.is_finite()));
        sample.fish.push(f);
    }
    samples.into_iter().map(|((tank, date), sample)| sample.row(tank, date, options)).collect()
}

/// The tank, or the folder of the photograph, or a word that says nothing was known.
fn sample_name(tank: Option<&str>, photo: &str) -> String {
    match tank.map(str::trim) {
        Some(tank) if !tank.is_empty() => tank.to_owned(),
        _ => photo.rsplit_once('/').map_or_else(|| "unassigned".to_owned(), |(folder, _)| folder.to_owned()),
    }
}

#[derive(Default)]
struct Sample<'a> {
    photos: BTreeSet<&'a str>,
    fish: Vec<&'a FishRow>,
    ages: Vec<f64>,
    scales: BTreeMap<&'a str, &'a SampledPhoto>,
}

impl Sample<'_> {
    fn row(&self, tank: String, date: Option<Date>, options: &SummaryOptions) -> TankRow {
        let level = options.level;
        let count =
            |call: Call| self.fish.iter().filter(|f| f.use_call.is_yes() && f.call == call).count() as u32;
        let inflated = count(Call::Inflated);
        let not_inflated = count(Call::NotInflated);
        let unsure = count(Call::Unsure);
        let called = inflated + not_inflated;
        let share = options.method.interval(u64::from(inflated), u64::from(called), level);
        let corrected = options.validation.map(|v| v.correct(u64::from(inflated), u64::from(called), level));
        let mut notes = self.notes(inflated, called, unsure);
        match &corrected {
            Some(Err(why)) if called > 0 => notes.push(format!("not corrected for the caller: {why}")),
            Some(Ok(c)) if c.raw != c.estimate => notes.push(format!(
                "corrected inflation {:.3} lies outside 0-1 and was cut: the caller's rates do not fit this sample",
                c.raw
            )),
            _ => {}
        }
        let corrected = corrected.and_then(Result::ok);

        let measured: Vec<&FishRow> = self.measured().collect();
        let lengths: Vec<f64> = measured.iter().filter_map(|f| f.total_length_mm).collect();
        let moments = Moments::of(&lengths);
        let mean_limits = moments.and_then(|m| self.mean_limits(&m, &measured, level));
        let sample_cv = moments.and_then(|m| m.cv());
        let cv_limits = sample_cv.and_then(|c| cv::interval(c, lengths.len(), level));
        let depths: Vec<f64> = measured.iter().filter_map(|f| f.depth_mm).filter(|d| d.is_finite()).collect();
        let at = |p: f64| quantile::quantile(&lengths, p);
        TankRow {
            tank,
            date,
            // Fish of one sample share an age; a hand-made file that disagrees gets its mean.
            age_dph: Moments::of(&self.ages).map(|m| m.mean()),
            photos: self.photos.len() as u32,
            fish: self.fish.len() as u32,
            called,
            inflated,
            not_inflated,
            unsure,
            inflation: (called > 0).then(|| f64::from(inflated) / f64::from(called)),
            inflation_low: share.map(|i| i.low),
            inflation_high: share.map(|i| i.high),
            inflation_corrected: corrected.map(|c| c.estimate),
            inflation_corrected_low: corrected.map(|c| c.interval.low),
            inflation_corrected_high: corrected.map(|c| c.interval.high),
            measured: lengths.len() as u32,
            mean_length_mm: moments.map(|m| m.mean()),
            mean_length_low_mm: mean_limits.map(|i| i.low),
            mean_length_high_mm: mean_limits.map(|i| i.high),
            sd_length_mm: moments.and_then(|m| m.sd()),
            cv_length: sample_cv,
            cv_length_low: cv_limits.map(|i| i.low),
            cv_length_high: cv_limits.map(|i| i.high).filter(|h| h.is_finite()),
            p05_length_mm: at(0.05),
            median_length_mm: at(0.5),
            p95_length_mm: at(0.95),
            mean_depth_mm: Moments::of(&depths).map(|m| m.mean()),
            notes: notes.join("; "),
        }
    }

    /// Fish whose length in millimetres counts.
    fn measured(&self) -> impl Iterator<Item = &FishRow> {
        self.fish
            .iter()
            .copied()
            .filter(|f| f.use_length.is_yes() && f.total_length_mm.is_some_and(|l| l.is_finite() && l > 0.0))
    }

    /// Student's interval of the mean, widened by the error of the scale, which all fish of a photograph share and
    /// more fish do not average out.
    fn mean_limits(&self, moments: &Moments, measured: &[&FishRow], level: Level) -> Option<Interval> {
        let sampling = moments.mean_interval(level)?.half_width();
        let n = moments.n() as f64;
        // Weight of each photograph in the mean times its relative scale error, in mm.
        let mut by_photo: BTreeMap<&str, f64> = BTreeMap::new();
        for f in measured {
            *by_photo.entry(&f.photo).or_default() += f.total_length_mm.unwrap_or(0.0) / n;
        }
        let (mut own, mut shared) = (0.0, 0.0);
        for (photo, part) in by_photo {
            let Some(scale) = self.scales.get(photo) else { continue };
            let (Some(mm), Some(se)) = (scale.mm_per_px, scale.mm_per_px_se) else { continue };
            if !(mm > 0.0 && se.is_finite()) {
                continue;
            }
            let error = part * se / mm;
            // A scale read in each photograph errs afresh in each; one that was given or stored errs alike in all.
            if matches!(scale.scale_source.as_deref(), Some("card" | "ruler" | "dish")) {
                own += error * error;
            } else {
                shared += error;
            }
        }
        let scale_half = level.z() * (own + shared * shared).sqrt();
        Interval::around(moments.mean(), sampling.hypot(scale_half))
    }

    fn notes(&self, inflated: u32, called: u32, unsure: u32) -> Vec<String> {
        let mut notes = Vec::new();
        if self.fish.is_empty() {
            notes.push("no fish found".to_owned());
            return notes;
        }
        if called == 0 {
            notes.push("no fish could be called".to_owned());
        } else if called < FEW_CALLED {
            notes.push(format!("few fish called ({called}): the interval is wide"));
        }
        if unsure > 0 && called > 0 {
            let judged = f64::from(called + unsure);
            // Bounded both ways: had every unsure fish been the one or the other.
            let low = f64::from(inflated) / judged;
            let high = f64::from(inflated + unsure) / judged;
            let are = if unsure == 1 { "is" } else { "are" };
            let bounds = format!(
                "between {:.0} and {:.0} % whatever the {unsure} unsure fish {are}",
                100.0 * low,
                100.0 * high
            );
            if f64::from(unsure) > MANY_UNSURE * judged {
                notes.push(format!("many unsure: {bounds}"));
            } else {
                notes.push(bounds);
            }
        }
        notes.extend(self.scale_note());
        notes
    }

    fn scale_note(&self) -> Option<String> {
        let usable = || self.fish.iter().filter(|f| f.use_length.is_yes());
        let with = usable().filter(|f| f.total_length_mm.is_some()).count();
        let all = usable().count();
        if all > 0 && with == 0 {
            return Some("no scale: lengths in pixels only".to_owned());
        }
        let scales: Vec<&SampledPhoto> =
            self.scales.values().copied().filter(|p| p.mm_per_px.is_some()).collect();
        let sources: BTreeSet<&str> = scales.iter().filter_map(|p| p.scale_source.as_deref()).collect();
        let mut mixed = Vec::new();
        if with < all {
            mixed.push(format!("{} of {all} fish without a scale", all - with));
        }
        if sources.len() > 1 {
            mixed.push(sources.into_iter().collect::<Vec<_>>().join(" and "));
        }
        let values = || scales.iter().filter_map(|p| p.mm_per_px);
        let (least, most) = values().fold((f64::INFINITY, 0.0f64), |(l, m), v| (l.min(v), m.max(v)));
        if most > SCALE_SPREAD * least {
            mixed.push(format!("{least:.4} to {most:.4} mm a pixel"));
        }
        (!mixed.is_empty()).then(|| format!("mixed scales ({})", mixed.join(", ")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::{View, YesNo};
    use approx::assert_relative_eq;

    fn fish(photo: &str, tank: Option<&str>, call: Call, mm: Option<f64>) -> FishRow {
        FishRow {
            photo: photo.into(),
            tank: tank.map(Into::into),
            date: None,
            age_dph: Some(9.0),
            fish: 1,
            x_px: 0.0,
            y_px: 0.0,
            snout_x_px: 0.0,
            snout_y_px: 0.0,
            tail_x_px: 0.0,
            tail_y_px: 0.0,
            total_length_px: 300.0,
            total_length_mm: mm,
            total_length_se_mm: None,
            depth_mm: mm.map(|l| 0.2 * l),
            view: View::Side,
            call,
            p_inflated: None,
            bladder_position: None,
            bladder_length_mm: None,
            bladder_height_mm: None,
            use_length: YesNo::Yes,
            use_call: YesNo::Yes,
            flags: String::new(),
            vessel: None,
            caller: "model".into(),
            head_depth_mm: None,
        }
    }

    fn photo(name: &str, source: &str, mm: f64, se: f64) -> SampledPhoto {
        SampledPhoto {
            photo: name.into(),
            tank: Some("P01".into()),
            date: None,
            age_dph: None,
            scored: true,
            scale_source: Some(source.into()),
            mm_per_px: Some(mm),
            mm_per_px_se: Some(se),
        }
    }

    #[test]
    fn unsure_fish_are_left_out_of_the_share_and_bounded_both_ways() {
        let calls = [Call::Inflated, Call::Inflated, Call::NotInflated, Call::Unsure];
        let all: Vec<FishRow> = calls.iter().map(|&c| fish("a.jpg", Some("P01"), c, Some(6.0))).collect();
        let rows = summarise(&all, &[], &SummaryOptions::default());
        assert_eq!(rows.len(), 1);
        let r = &rows[0];
        assert_eq!((r.called, r.unsure, r.inflated), (3, 1, 2));
        assert_relative_eq!(r.inflation.unwrap(), 2.0 / 3.0);
        assert!(r.notes.contains("between 50 and 75 % whatever the 1 unsure fish is"), "{}", r.notes);
        assert!(r.notes.contains("few fish called (3)"));
        assert!(r.inflation_corrected.is_none());
    }

    #[test]
    fn a_sample_of_equal_lengths_has_no_spread_and_no_cv_limits() {
        let all: Vec<FishRow> =
            (0..5).map(|_| fish("a.jpg", Some("P01"), Call::Inflated, Some(6.0))).collect();
        let r = &summarise(&all, &[], &SummaryOptions::default())[0];
        assert_eq!((r.sd_length_mm, r.cv_length, r.cv_length_low), (Some(0.0), Some(0.0), None));
    }

    #[test]
    fn nan_and_missing_lengths_do_not_count() {
        let all = [
            fish("a.jpg", Some("P01"), Call::Inflated, Some(f64::NAN)),
            fish("a.jpg", Some("P01"), Call::Inflated, None),
            fish("a.jpg", Some("P01"), Call::Inflated, Some(6.0)),
        ];
        let r = &summarise(&all, &[], &SummaryOptions::default())[0];
        assert_eq!((r.measured, r.mean_length_mm, r.mean_length_low_mm), (1, Some(6.0), None));
        assert!(r.notes.contains("mixed scales (1 of 3 fish without a scale)"), "{}", r.notes);
    }

    #[test]
    fn fish_without_a_tank_are_gathered_by_folder_and_empty_photographs_still_count() {
        let all =
            [fish("bank2/a.jpg", None, Call::Inflated, None), fish("a.jpg", None, Call::Inflated, None)];
        let mut empty = photo("bank2/b.jpg", "card", 0.02, 0.0);
        empty.tank = None;
        let rows = summarise(&all, &[empty], &SummaryOptions::default());
        let names: Vec<(&str, u32)> = rows.iter().map(|r| (r.tank.as_str(), r.photos)).collect();
        assert_eq!(names, [("bank2", 2), ("unassigned", 1)]);
    }

    #[test]
    fn a_shared_scale_error_is_not_averaged_out() {
        let lengths = [6.0, 6.2, 5.8, 6.1];
        let all: Vec<FishRow> = lengths
            .iter()
            .enumerate()
            .map(|(i, &l)| fish(&format!("{}.jpg", i % 2), Some("P01"), Call::Inflated, Some(l)))
            .collect();
        let width = |source: &str| {
            let photos = [photo("0.jpg", source, 0.02, 0.001), photo("1.jpg", source, 0.02, 0.001)];
            let r = &summarise(&all, &photos, &SummaryOptions::default())[0];
            (r.mean_length_high_mm.unwrap() - r.mean_length_low_mm.unwrap()) / 2.0
        };
        let m = Moments::of(&lengths).unwrap();
        let sampling = m.mean_interval(Level::P95).unwrap().half_width();
        // 5 % of the mean when shared; by the root of two photographs less when each has its own.
        let z = Level::P95.z();
        assert_relative_eq!(width("stored"), sampling.hypot(z * 0.05 * m.mean()), max_relative = 1e-9);
        let own = z * 0.05 * (3.05f64.powi(2) + 2.975f64.powi(2)).sqrt();
        assert!(width("card") < width("stored"));
        assert_relative_eq!(width("card"), sampling.hypot(own), max_relative = 1e-2);
    }

    #[test]
    fn a_validation_set_fills_the_corrected_columns() {
        let all: Vec<FishRow> = (0..50)
            .map(|i| {
                let call = if i < 45 { Call::Inflated } else { Call::NotInflated };
                fish("a.jpg", Some("P01"), call, None)
            })
            .collect();
        let checked = Validation {
            inflated_right: 95,
            inflated_wrong: 5,
            not_inflated_right: 97,
            not_inflated_wrong: 3,
            ..Validation::default()
        };
        let options = SummaryOptions { validation: Some(&checked), ..SummaryOptions::default() };
        let r = &summarise(&all, &[], &options)[0];
        assert_relative_eq!(r.inflation_corrected.unwrap(), 0.87 / 0.92, max_relative = 1e-12);
        assert!(r.inflation_corrected_low < r.inflation_corrected);
        let chance = Validation {
            inflated_right: 5,
            inflated_wrong: 5,
            not_inflated_right: 5,
            not_inflated_wrong: 5,
            ..Validation::default()
        };
        let options = SummaryOptions { validation: Some(&chance), ..SummaryOptions::default() };
        let r = &summarise(&all, &[], &options)[0];
        assert!(r.inflation_corrected.is_none() && r.notes.contains("not corrected for the caller"));
    }
}
