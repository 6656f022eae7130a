//! The course of a tank: its samples by age, what they add up to, and why it needs somebody.

use super::age::{self, Window};
use super::attention::{self, Rule, Seen};
use super::band::{self, Band};
use super::register::{Event, Register, Tank, What};
use crate::records::{Call, FishRow, TankRow};
use crate::stats::difference::newcombe;
use crate::stats::growth::{Growth, over_days};
use crate::stats::logistic::{Fit, Link, Reached, curve};
use crate::stats::proportion::Method;
use crate::stats::{Interval, Level, linear};
use crate::tank::{SampledPhoto, SummaryOptions, summarise};
use jiff::civil::Date;
use serde::Serialize;
use std::collections::BTreeMap;

/// One sample of a tank.
#[derive(Debug, Clone)]
pub struct Day {
    /// Its row as `tanks.csv` has it.
    pub row: TankRow,
    /// Day of the sample.
    pub date: Date,
    /// Days post hatch.
    pub dph: f64,
    /// Degree-days, where temperatures are known.
    pub degree_days: Option<f64>,
    /// The band of inflated shares for this age.
    pub band: Option<Band>,
    /// Total lengths of the fish that count for length, millimetres, ascending.
    pub lengths_mm: Vec<f64>,
    /// Calls made by a person.
    pub by_people: u32,
}

/// How today compares with the sample before the last two days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Trend {
    /// The interval of the difference lies above zero.
    Rising,
    /// It lies below zero.
    Falling,
    /// It holds zero.
    NotToldApart,
}

impl Trend {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Rising => "rising",
            Self::Falling => "falling",
            Self::NotToldApart => "no change told apart",
        }
    }
}

/// Why a tank needs somebody.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alert {
    /// The rule.
    pub rule: Rule,
    /// What was seen.
    pub reason: String,
    /// What to look at first.
    pub look: String,
}

/// Living fry after a count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Survival {
    /// Day of the count.
    pub date: Date,
    /// Living fry: counted, or stocked less the deaths counted.
    pub alive: u64,
    /// Their share of the fry stocked.
    pub survival: f64,
    /// Survival times the inflated share of the newest sample on or before that day.
    pub viability: Option<f64>,
}

/// The fitted time course of inflation.
#[derive(Debug, Clone)]
pub struct TimeCourse {
    /// The logistic regression of calls on age.
    pub fit: Fit,
    /// Age at which half are inflated, with Fieller's limits.
    pub t50: Option<Reached>,
}

/// A tank and everything sampled from it.
#[derive(Debug, Clone)]
pub struct Course {
    /// As registered.
    pub tank: Tank,
    /// Its samples, oldest first.
    pub days: Vec<Day>,
    /// The inflation window, where the register or the profile knows it.
    pub window: Option<Window>,
    /// Its age on the day of the report.
    pub dph_now: i64,
    /// The logistic time course, or why there is none.
    pub time_course: Result<TimeCourse, String>,
    /// Growth rate over the samples, where at least three have lengths.
    pub growth: Option<Growth>,
    /// Growth in millimetres a day by least squares, with its limits.
    pub mm_per_day: Option<(f64, Option<Interval>)>,
    /// Survivors by day of count.
    pub survival: Vec<Survival>,
    /// Events up to the day of the report.
    pub events: Vec<Event>,
    /// Trend of inflation.
    pub trend: Option<Trend>,
    /// Days without a sample between the first and the last one, at the register's interval.
    pub missed: Vec<Date>,
    /// Why it needs somebody; empty when it does not.
    pub alerts: Vec<Alert>,
}

impl Course {
    /// The newest sample.
    pub fn today(&self) -> Option<&Day> {
        self.days.last()
    }

    /// How far the newest sample lies below its band, in interval half-widths; the order among tanks
    /// with the same rule.
    fn shortfall(&self) -> f64 {
        let of = |day: &Day| Some(day.band?.low - day.row.inflation_high?);
        self.today().and_then(of).unwrap_or(f64::NEG_INFINITY)
    }
}

/// The courses of all registered tanks on the day `as_of`, from their fish and photographs; those in most
/// need of somebody first. Samples after `as_of` are left out.
pub fn courses(
    register: &Register,
    fish: &[FishRow],
    photos: &[SampledPhoto],
    as_of: Date,
    options: &SummaryOptions<'_>,
) -> Vec<Course> {
    let mut rows: BTreeMap<String, Vec<TankRow>> = BTreeMap::new();
    for row in summarise(fish, photos, options) {
        if row.date.is_some_and(|d| d <= as_of) {
            rows.entry(row.tank.clone()).or_default().push(row);
        }
    }
    let mut extras: BTreeMap<(&str, Date), (Vec<f64>, u32)> = BTreeMap::new();
    for fish in fish {
        let (Some(tank), Some(date)) = (fish.tank.as_deref(), fish.date) else { continue };
        let extra = extras.entry((tank, date)).or_default();
        if let Some(mm) = fish.total_length_mm.filter(|_| fish.use_length.is_yes()) {
            extra.0.push(mm);
        }
        extra.1 += u32::from(fish.caller != "model" && fish.call != Call::Unsure);
    }
    let mut courses: Vec<Course> = register
        .tanks
        .iter()
        .map(|tank| {
            let days = rows.remove(&tank.name).unwrap_or_default().into_iter().filter_map(|row| {
                let date = row.date?;
                let (mut lengths_mm, by_people) =
                    extras.remove(&(tank.name.as_str(), date)).unwrap_or_default();
                lengths_mm.sort_by(f64::total_cmp);
                Some(Day {
                    date,
                    dph: age::dph(tank.hatch, date) as f64,
                    degree_days: age::degree_days(register, tank, date).map(|d| d.sum),
                    band: None,
                    lengths_mm,
                    by_people,
                    row,
                })
            });
            begun(register, tank, days.collect(), as_of)
        })
        .collect();
    give_bands(register, &mut courses);
    for course in &mut courses {
        course.alerts = alerts(register, course, as_of);
    }
    // Most urgent rule first, then how far below the band; tanks in good order by name.
    courses.sort_by(|a, b| {
        let first =
            |c: &Course| c.alerts.iter().map(|a| a.rule).min().map_or(Rule::ALL.len(), |r| r as usize);
        first(a)
            .cmp(&first(b))
            .then(b.alerts.len().cmp(&a.alerts.len()))
            .then(if a.alerts.is_empty() {
                std::cmp::Ordering::Equal
            } else {
                b.shortfall().total_cmp(&a.shortfall())
            })
            .then_with(|| a.tank.name.cmp(&b.tank.name))
    });
    courses
}

/// Living fry of a tank as of a day: as counted last, else stocked less the deaths counted. Fry that were eaten or
/// never found are still in it. `None` when the number stocked is not known.
pub fn alive(register: &Register, tank: &Tank, as_of: Date) -> Option<u64> {
    let events: Vec<Event> = register.events_of(&tank.name).filter(|e| e.date <= as_of).cloned().collect();
    survival(tank, &events, &[]).last().map(|s| s.alive).or(tank.stocked_number)
}

/// A course without what needs the other tanks.
fn begun(register: &Register, tank: &Tank, days: Vec<Day>, as_of: Date) -> Course {
    let profile = register.profiles.get(&tank.species);
    let events: Vec<Event> = register.events_of(&tank.name).filter(|e| e.date <= as_of).cloned().collect();
    let lengths: Vec<(f64, f64)> = days.iter().filter_map(|d| Some((d.dph, d.row.mean_length_mm?))).collect();
    let (ages, means): (Vec<f64>, Vec<f64>) = lengths.into_iter().unzip();
    Course {
        window: profile.and_then(|p| age::window(register, tank, p)),
        dph_now: age::dph(tank.hatch, as_of),
        time_course: time_course(&days),
        growth: (means.len() >= 3).then(|| over_days(&ages, &means, Level::P95).ok()).flatten(),
        mm_per_day: (means.len() >= 3)
            .then(|| linear::fit(&ages, &means).ok())
            .flatten()
            .map(|fit| (fit.slope, fit.slope_interval(Level::P95))),
        survival: survival(tank, &events, &days),
        trend: trend(&days),
        missed: missed(register, &days),
        tank: tank.clone(),
        days,
        events,
        alerts: Vec::new(),
    }
}

fn time_course(days: &[Day]) -> Result<TimeCourse, String> {
    let used: Vec<&Day> = days.iter().filter(|d| d.row.called > 0).collect();
    if used.len() < 3 {
        return Err("fewer than three days with calls".into());
    }
    let x: Vec<f64> = used.iter().map(|d| d.dph).collect();
    let y: Vec<f64> = used.iter().map(|d| f64::from(d.row.inflated)).collect();
    let n: Vec<f64> = used.iter().map(|d| f64::from(d.row.called)).collect();
    let fit = curve(&x, &y, &n, Link::Logit).map_err(|e| e.to_string())?;
    let t50 = fit.reaches(0.5, Level::P95);
    Ok(TimeCourse { fit, t50 })
}

fn trend(days: &[Day]) -> Option<Trend> {
    let last = days.last()?;
    let before = days.iter().rev().find(|d| d.dph <= last.dph - 2.0)?;
    let counts = |d: &Day| (u64::from(d.row.inflated), u64::from(d.row.called));
    let difference = newcombe(counts(last), counts(before), Level::P95)?;
    Some(if difference.low > 0.0 {
        Trend::Rising
    } else if difference.high < 0.0 {
        Trend::Falling
    } else {
        Trend::NotToldApart
    })
}

/// Days on which a sample was due between the first and the last one.
fn missed(register: &Register, days: &[Day]) -> Vec<Date> {
    let every = i64::from(register.settings.sample_every_days.unwrap_or(1));
    let mut missed = Vec::new();
    for pair in days.windows(2) {
        let mut due = pair[0].date.saturating_add(jiff::ToSpan::days(every));
        while due < pair[1].date {
            missed.push(due);
            due = due.saturating_add(jiff::ToSpan::days(every));
        }
    }
    missed
}

/// Survivors after each count: a count of the living stands as it is, deaths are taken from the number
/// before.
fn survival(tank: &Tank, events: &[Event], days: &[Day]) -> Vec<Survival> {
    let Some(stocked) = tank.stocked_number.filter(|n| *n > 0) else { return Vec::new() };
    let mut alive = stocked;
    let mut counts: Vec<Survival> = Vec::new();
    for event in events {
        match (event.what, event.number) {
            (What::Deaths, Some(n)) => alive = alive.saturating_sub(n),
            (What::Survivors, Some(n)) => alive = n,
            _ => continue,
        }
        let survival = alive as f64 / stocked as f64;
        let inflated = days.iter().rev().find(|d| d.date <= event.date).and_then(|d| d.row.inflation);
        let count = Survival { date: event.date, alive, survival, viability: inflated.map(|p| p * survival) };
        match counts.last_mut() {
            Some(last) if last.date == event.date => *last = count,
            _ => counts.push(count),
        }
    }
    counts
}

/// Gives every sample its band: expected, or from the other tanks at the same age.
fn give_bands(register: &Register, courses: &mut [Course]) {
    let mut at_age: BTreeMap<i64, Vec<(usize, u64, u64)>> = BTreeMap::new();
    for (i, course) in courses.iter().enumerate() {
        for day in &course.days {
            let counts = (i, u64::from(day.row.inflated), u64::from(day.row.called));
            at_age.entry(day.dph as i64).or_default().push(counts);
        }
    }
    for (i, course) in courses.iter_mut().enumerate() {
        let profile = register.profiles.get(&course.tank.species);
        for day in &mut course.days {
            let expected = profile.and_then(|p| band::expected(register, p, day.dph));
            let has_curve = !register.settings.expected_inflation.is_empty()
                || profile.is_some_and(|p| !p.expected_inflation.is_empty());
            day.band = expected.or_else(|| {
                let peers = at_age.get(&(day.dph as i64)).filter(|_| !has_curve)?;
                let others: Vec<(u64, u64)> =
                    peers.iter().filter(|(j, ..)| *j != i).map(|&(_, x, n)| (x, n)).collect();
                band::of_peers(&others)
            });
        }
    }
}

/// What the rules look at in a sample.
fn seen(day: &Day) -> Seen {
    Seen {
        inflated: u64::from(day.row.inflated),
        called: u64::from(day.row.called),
        unsure: u64::from(day.row.unsure),
        band: day.band,
        spread: day.row.cv_length.map(|cv| (day.row.measured as usize, cv)),
    }
}

fn alerts(register: &Register, course: &Course, as_of: Date) -> Vec<Alert> {
    let mut alerts = Vec::new();
    let mut add = |rule, reason: String, look: String| alerts.push(Alert { rule, reason, look });
    let open = course.window.as_ref().is_none_or(|w| course.dph_now as f64 <= w.closes_dph);
    let every = i64::from(register.settings.sample_every_days.unwrap_or(1));
    let Some(today) = course.today() else {
        let started = course.window.as_ref().is_none_or(|w| course.dph_now as f64 >= w.opens_dph);
        if open && started && course.dph_now >= 0 {
            add(Rule::NoSample, format!("never sampled, {} dph", course.dph_now), "dip a sample".into());
        }
        return alerts;
    };
    let days: Vec<Seen> = course.days.iter().map(seen).collect();
    let now = days[days.len() - 1];
    let row = &today.row;
    let sprayer = course.tank.treatments.iter().map(|(name, value)| format!("; {name} `{value}`"));
    let treatments: String = sprayer.collect();
    let below = attention::below_band(&now);
    let drifting = attention::drift(&days).is_some_and(|(value, limit)| value < limit);
    if let (Some(p), Some(low), Some(high), Some(band)) =
        (row.inflation, row.inflation_low, row.inflation_high, today.band)
        && (below || drifting)
    {
        let against = match band.source {
            band::BandSource::OtherTanks => "the other tanks have",
            _ => "expected",
        };
        let mut reason = format!(
            "{:.0} % ({:.0}-{:.0}) at {} dph, {against} {:.0}-{:.0}",
            100.0 * p,
            100.0 * low,
            100.0 * high,
            today.dph,
            100.0 * band.low,
            100.0 * band.high
        );
        let behind = |d: &&Day| matches!((d.row.inflation, d.band), (Some(p), Some(band)) if p < band.low);
        if let Some(since) = course.days.iter().rev().take_while(behind).last()
            && since.date < today.date
        {
            reason += &format!("; behind since {} dph", since.dph);
        }
        reason += &treatments;
        let look = if open {
            "the water surface and the sprayer first: aim, flow, film; then the light; dip again tomorrow, at all depths"
        } else {
            "the window has closed: more filling is unlikely; survivors and their fate, and what to change next time"
        };
        add(if below { Rule::BelowBand } else { Rule::Drift }, reason, look.into());
    }
    let since = (as_of - today.date).get_days();
    if open && i64::from(since) >= 2 * every {
        add(
            Rule::NoSample,
            format!("no sample since {} ({since} days, {} dph then)", today.date, today.dph),
            "dip a sample".into(),
        );
    }
    if let Some((before, now)) = attention::spread_grew(&days) {
        add(
            Rule::Spread,
            format!(
                "CV of length {:.0} % ({:.0}-{:.0}), {:.0}-{:.0} % at first",
                100.0 * row.cv_length.unwrap_or(0.0),
                100.0 * now.low,
                100.0 * now.high,
                100.0 * before.low,
                100.0 * before.high
            ),
            "fish that pull ahead, bitten tails, feed reaching all; see the histograms".into(),
        );
    }
    if attention::many_unsure(&now) {
        let share = Method::Wilson.interval(now.unsure, now.called + now.unsure, Level::P95);
        let range =
            share.map(|i| format!(" ({:.0}-{:.0} %)", 100.0 * i.low, 100.0 * i.high)).unwrap_or_default();
        add(
            Rule::Unsure,
            format!("{} of {} calls are unsure{range}", now.unsure, now.called + now.unsure),
            "the photograph: focus, light, fish lying over each other; take it again".into(),
        );
    }
    alerts
}
