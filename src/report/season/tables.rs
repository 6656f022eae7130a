//! The rows of the report's CSV and JSON.

use crate::records::TankRow;
use crate::season::course::{Course, Trend};
use jiff::civil::Date;
use serde::Serialize;

/// A tank as it stands: a row of the report's `tanks.csv`, in order of need.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TankSummary {
    /// Place in the order, from 1.
    pub order: usize,
    /// Tank.
    pub tank: String,
    /// Names of the rules that fired, `;`-joined; empty for a tank in good order.
    pub attention: String,
    /// Why, in words.
    pub reason: String,
    /// What to look at first.
    pub look_first: String,
    /// Age on the day of the report.
    pub dph_now: i64,
    /// Date of the newest sample.
    pub sampled: Option<Date>,
    /// Age then.
    pub dph: Option<f64>,
    /// Inflated share of those called.
    pub inflation: Option<f64>,
    /// Lower limit.
    pub inflation_low: Option<f64>,
    /// Upper limit.
    pub inflation_high: Option<f64>,
    /// Lower end of the band for its age.
    pub band_low: Option<f64>,
    /// Upper end.
    pub band_high: Option<f64>,
    /// Where the band comes from: `hatchery`, `profile`, `other_tanks`.
    pub band_source: Option<crate::season::band::BandSource>,
    /// Trend of inflation.
    pub trend: Option<Trend>,
    /// First day of the inflation window, dph.
    pub window_opens_dph: Option<f64>,
    /// Last day of it, dph.
    pub window_closes_dph: Option<f64>,
    /// Age at which half are inflated.
    pub t50_dph: Option<f64>,
    /// Fieller's lower limit.
    pub t50_low_dph: Option<f64>,
    /// Fieller's upper limit.
    pub t50_high_dph: Option<f64>,
    /// Growth of mean length.
    pub growth_mm_per_day: Option<f64>,
    /// Lower limit.
    pub growth_low_mm_per_day: Option<f64>,
    /// Upper limit.
    pub growth_high_mm_per_day: Option<f64>,
    /// Specific growth rate, per cent a day.
    pub growth_percent_per_day: Option<f64>,
    /// Living fry after the newest count.
    pub alive: Option<u64>,
    /// Their share of the fry stocked.
    pub survival: Option<f64>,
    /// Survival times inflation.
    pub viability: Option<f64>,
    /// Days without a sample between the first and the last.
    pub missed_days: usize,
}

/// The tanks' rows in the order of `courses`.
pub fn tanks(courses: &[Course]) -> Vec<TankSummary> {
    courses.iter().enumerate().map(|(i, course)| tank(i + 1, course)).collect()
}

fn tank(order: usize, course: &Course) -> TankSummary {
    let joined = |of: fn(&crate::season::course::Alert) -> &str| {
        course.alerts.iter().map(of).collect::<Vec<_>>().join("; ")
    };
    let today = course.today();
    let row = today.map(|d| &d.row);
    let band = today.and_then(|d| d.band);
    let t50 = course.time_course.as_ref().ok().and_then(|c| c.t50.as_ref());
    let limits = t50.and_then(|t| t.interval);
    let growth = course.mm_per_day;
    let survival = course.survival.last();
    TankSummary {
        order,
        tank: course.tank.name.clone(),
        attention: joined(|a| a.rule.name()),
        reason: joined(|a| &a.reason),
        look_first: joined(|a| &a.look),
        dph_now: course.dph_now,
        sampled: today.map(|d| d.date),
        dph: today.map(|d| d.dph),
        inflation: row.and_then(|r| r.inflation),
        inflation_low: row.and_then(|r| r.inflation_low),
        inflation_high: row.and_then(|r| r.inflation_high),
        band_low: band.map(|b| b.low),
        band_high: band.map(|b| b.high),
        band_source: band.map(|b| b.source),
        trend: course.trend,
        window_opens_dph: course.window.as_ref().map(|w| w.opens_dph),
        window_closes_dph: course.window.as_ref().map(|w| w.closes_dph),
        // Without limits the age at one half is not estimable: the slope is not told from zero.
        t50_dph: limits.and(t50).map(|t| t.x),
        t50_low_dph: limits.map(|i| i.low),
        t50_high_dph: limits.map(|i| i.high),
        growth_mm_per_day: growth.map(|g| g.0),
        growth_low_mm_per_day: growth.and_then(|g| g.1).map(|i| i.low),
        growth_high_mm_per_day: growth.and_then(|g| g.1).map(|i| i.high),
        growth_percent_per_day: course.growth.as_ref().map(|g| g.rate),
        alive: survival.map(|s| s.alive),
        survival: survival.map(|s| s.survival),
        viability: survival.and_then(|s| s.viability),
        missed_days: course.missed.len(),
    }
}

/// One sample: the columns of `tanks.csv` of a results folder, and what the season adds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DaySummary {
    /// The sample's estimates.
    #[serde(flatten)]
    pub row: TankRow,
    /// Degree-days.
    pub degree_days: Option<f64>,
    /// Lower end of the band for its age.
    pub band_low: Option<f64>,
    /// Upper end.
    pub band_high: Option<f64>,
    /// Calls made by a person.
    pub calls_by_people: u32,
}

/// The samples' rows, by tank and date.
pub fn days(courses: &[Course]) -> Vec<DaySummary> {
    let mut days: Vec<DaySummary> = courses
        .iter()
        .flat_map(|course| &course.days)
        .map(|day| DaySummary {
            row: day.row.clone(),
            degree_days: day.degree_days,
            band_low: day.band.map(|b| b.low),
            band_high: day.band.map(|b| b.high),
            calls_by_people: day.by_people,
        })
        .collect();
    days.sort_by(|a, b| (&a.row.tank, a.row.date).cmp(&(&b.row.tank, b.row.date)));
    days
}
