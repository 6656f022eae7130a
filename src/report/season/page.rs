//! The report's page: numbers to words, words to the template.

use super::{SeasonReport, charts};
use crate::records::PhotoStatus;
use crate::season::attention::{RATES, Rule};
use crate::season::course::Course;
use crate::season::register::What;
use crate::stats::moments::Moments;
use crate::stats::{Level, proportion::Method};
use askama::Template;
use std::collections::{BTreeMap, BTreeSet};

#[derive(Template)]
#[template(path = "season.html")]
struct SeasonTemplate {
    title: String,
    summary: String,
    cards: Vec<Card>,
    overview: String,
    tanks: Vec<TankSection>,
    treatments: Vec<TreatmentRow>,
    quality: Vec<QualityRow>,
    oddities: Vec<String>,
    rules: Vec<(&'static str, String)>,
    rates_of: String,
    rates: Vec<(String, String, String, String)>,
    band_words: String,
    sources: Vec<(String, String)>,
    provenance: Vec<(String, String)>,
    added: String,
}

/// A tank on the first screen.
struct Card {
    anchor: String,
    tank: String,
    share: String,
    limits: String,
    facts: String,
    reasons: Vec<(&'static str, String, String)>,
}

struct TankSection {
    anchor: String,
    tank: String,
    lines: Vec<String>,
    inflation: String,
    length: String,
    histograms: String,
    survival: Vec<(String, String, String, String)>,
    events: Vec<String>,
}

struct TreatmentRow {
    name: String,
    tanks: usize,
    mean: String,
    range: String,
    growth: String,
    which: String,
}

struct QualityRow {
    tank: String,
    photos: usize,
    retakes: String,
    fish: u32,
    unsure: String,
    people: u32,
    scales: String,
    missed: String,
}

/// The report as one HTML page.
///
/// # Errors
/// When the template cannot be filled.
pub fn page(report: &SeasonReport<'_>) -> Result<String, askama::Error> {
    let courses = report.courses;
    let title = if report.name.is_empty() { "Season" } else { report.name };
    let (rates_of, rates) = rates();
    let sources: BTreeSet<&str> =
        courses.iter().flat_map(|c| &c.days).filter_map(|d| Some(d.band?.source.words())).collect();
    let sources = sources.into_iter().collect::<Vec<_>>().join("; ");
    SeasonTemplate {
        title: format!("{title}: morning report, {}", report.as_of),
        summary: summary(report),
        cards: courses.iter().map(card).collect(),
        overview: if courses.iter().any(|c| c.today().is_some()) {
            charts::overview(courses)
        } else {
            String::new()
        },
        tanks: by_name(courses).into_iter().map(section).collect(),
        treatments: treatments(report),
        quality: by_name(courses).into_iter().map(|c| quality(c, report)).collect(),
        oddities: report.oddities.to_vec(),
        rules: Rule::ALL.map(|r| (r.name(), r.statement())).to_vec(),
        rates_of,
        rates,
        band_words: if sources.is_empty() {
            "none: give expected_inflation in frygauge.toml, or sample at least five tanks of one age".into()
        } else {
            format!("from {sources}")
        },
        sources: report.sources.to_vec(),
        provenance: report.provenance.to_vec(),
        added: report.added.html.clone(),
    }
    .render()
}

fn by_name(courses: &[Course]) -> Vec<&Course> {
    let mut courses: Vec<&Course> = courses.iter().collect();
    courses.sort_by(|a, b| a.tank.name.cmp(&b.tank.name));
    courses
}

fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

fn summary(report: &SeasonReport<'_>) -> String {
    let courses = report.courses;
    let needing = courses.iter().filter(|c| !c.alerts.is_empty()).count();
    let newest = courses.iter().filter_map(Course::today).map(|d| d.date).max();
    let newest = newest.map_or("no samples yet".into(), |d| format!("newest sample {d}"));
    format!(
        "{} of {} need attention; {}, {} in all.",
        needing,
        plural(courses.len(), "tank", "tanks"),
        newest,
        plural(report.photos.len(), "photograph", "photographs")
    )
}

/// A name that can be the target of a link.
fn anchor(tank: &str) -> String {
    let plain: String = tank.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    // Two names may look alike without their other characters.
    let sum = tank.bytes().fold(0_u32, |h, b| h.wrapping_mul(31).wrapping_add(u32::from(b)));
    format!("tank-{plain}-{sum:x}")
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn card(course: &Course) -> Card {
    let today = course.today();
    let row = today.map(|d| &d.row);
    let mut facts: Vec<String> = Vec::new();
    match today {
        Some(day) => {
            facts.push(format!("{} dph on {}, {} fish called", day.dph, day.date, day.row.called));
            if let Some(band) = day.band {
                facts.push(format!("band {:.0}–{:.0} %", 100.0 * band.low, 100.0 * band.high));
            }
            facts.extend(course.trend.map(|t| t.words().to_owned()));
            facts.extend(day.row.mean_length_mm.map(|mm| format!("{mm:.1} mm")));
        }
        None => facts.push(format!("{} dph, no sample", course.dph_now)),
    }
    facts.extend(course.tank.treatments.iter().map(|(name, value)| format!("{name} {value}")));
    Card {
        anchor: anchor(&course.tank.name),
        tank: course.tank.name.clone(),
        share: row.and_then(|r| r.inflation).map_or("—".into(), percent),
        limits: row
            .and_then(|r| Some(format!("({:.0}–{:.0})", 100.0 * r.inflation_low?, 100.0 * r.inflation_high?)))
            .unwrap_or_default(),
        facts: facts.join(" · "),
        reasons: course.alerts.iter().map(|a| (a.rule.name(), a.reason.clone(), a.look.clone())).collect(),
    }
}

fn section(course: &Course) -> TankSection {
    let tank = &course.tank;
    let mut lines = Vec::new();
    let mut first = vec![format!("Hatched {}, {} dph now", tank.hatch, course.dph_now)];
    first.extend(
        course
            .today()
            .and_then(|d| d.degree_days)
            .map(|dd| format!("{dd:.0} degree-days at the newest sample")),
    );
    first.extend(tank.volume_l.map(|v| format!("{v:.0} L")));
    first.extend(tank.temperature_c.map(|t| format!("{t} °C")));
    first.extend(tank.screen_mm.map(|s| format!("screen {s} mm")));
    first.extend(tank.treatments.iter().map(|(name, value)| format!("{name} {value}")));
    lines.push(first.join(" · "));
    lines.push(match &course.window {
        Some(w) => format!("Inflation window {:.0}–{:.0} dph ({}).", w.opens_dph, w.closes_dph, w.source),
        None => "Inflation window not known: give window_dph in frygauge.toml.".into(),
    });
    lines.push(match &course.time_course {
        Ok(fitted) => match fitted.t50.as_ref().and_then(|t| Some((t.x, t.interval?))) {
            Some((x, limits)) => {
                format!(
                    "T50: half inflated at {x:.1} dph (95 % limits {:.1}–{:.1}).",
                    limits.low, limits.high
                )
            }
            None => "T50 is not estimable: the share does not change enough with age.".into(),
        },
        Err(why) => format!("No time course fitted: {why}."),
    });
    if let Some((slope, limits)) = course.mm_per_day {
        let limits = limits.map(|i| format!(" (95 % limits {:.2}–{:.2})", i.low, i.high)).unwrap_or_default();
        let rate = course.growth.as_ref().map(|g| format!(", {:.1} % a day", g.rate)).unwrap_or_default();
        lines.push(format!("Growth {slope:.2} mm a day{limits}{rate}."));
    }
    if let Some(s) = course.survival.last() {
        let viability = s.viability.map(|v| format!(", viability {}", percent(v))).unwrap_or_default();
        lines.push(format!("{} alive on {}: survival {}{viability}.", s.alive, s.date, percent(s.survival)));
    }
    let survival = course.survival.iter().map(|s| {
        (
            s.date.to_string(),
            s.alive.to_string(),
            format!("{:.1} %", 100.0 * s.survival),
            s.viability.map(|v| format!("{:.1} %", 100.0 * v)).unwrap_or_default(),
        )
    });
    let events = course.events.iter().map(|e| {
        let time = e.time.map(|t| format!(" {}", t.strftime("%H:%M"))).unwrap_or_default();
        let who = if e.who.is_empty() { String::new() } else { format!(" ({})", e.who) };
        format!("{}{time}: {}{who}", e.date, e.label())
    });
    let sampled = course.today().is_some();
    TankSection {
        anchor: anchor(&tank.name),
        tank: tank.name.clone(),
        lines,
        inflation: if sampled { charts::inflation(course) } else { String::new() },
        length: charts::length(course).unwrap_or_default(),
        histograms: charts::histograms(course).unwrap_or_default(),
        survival: survival.collect(),
        events: events.collect(),
    }
}

fn treatments(report: &SeasonReport<'_>) -> Vec<TreatmentRow> {
    let mut rows = Vec::new();
    for treatment in report.treatments {
        let mut arms: BTreeMap<&str, Vec<&Course>> = BTreeMap::new();
        for course in by_name(report.courses) {
            if let Some(value) = course.tank.treatments.get(treatment) {
                arms.entry(value).or_default().push(course);
            }
        }
        for (value, courses) in arms {
            let shares: Vec<f64> =
                courses.iter().filter_map(|c| c.today().and_then(|d| d.row.inflation)).collect();
            let growth: Vec<f64> = courses.iter().filter_map(|c| Some(c.mm_per_day?.0)).collect();
            let mean = Moments::of(&shares).map_or(String::new(), |m| percent(m.mean()));
            let low = shares.iter().copied().reduce(f64::min);
            let high = shares.iter().copied().reduce(f64::max);
            let changed = |c: &&Course| {
                c.events.iter().any(|e| {
                    e.tank == c.tank.name
                        && matches!(
                            (e.what, treatment.as_str()),
                            (What::SprayerMoved, "sprayer")
                                | (What::LightChanged, "light")
                                | (What::FeedChanged, "feed")
                        )
                })
            };
            let which =
                courses.iter().map(|c| format!("{}{}", c.tank.name, if changed(c) { "*" } else { "" }));
            rows.push(TreatmentRow {
                name: format!("{treatment}: {value}"),
                tanks: courses.len(),
                mean,
                range: low
                    .zip(high)
                    .map(|(a, b)| format!("{:.0}–{}", 100.0 * a, percent(b)))
                    .unwrap_or_default(),
                growth: Moments::of(&growth).map(|m| format!("{:.2}", m.mean())).unwrap_or_default(),
                which: which.collect::<Vec<_>>().join(", "),
            });
        }
    }
    rows
}

fn quality(course: &Course, report: &SeasonReport<'_>) -> QualityRow {
    let photos: Vec<_> = report.photos.iter().filter(|(tank, ..)| *tank == course.tank.name).collect();
    let mut scales: BTreeMap<&str, u32> = BTreeMap::new();
    let mut retakes = 0;
    for (_, _, photo) in &photos {
        *scales.entry(photo.scale_source.as_deref().unwrap_or("none")).or_default() += 1;
        retakes += usize::from(photo.status != PhotoStatus::Scored);
    }
    let sum = |f: &dyn Fn(&crate::season::course::Day) -> u32| course.days.iter().map(f).sum::<u32>();
    let (unsure, called) = (sum(&|d| d.row.unsure), sum(&|d| d.row.called));
    let limits = Method::Wilson.interval(u64::from(unsure), u64::from(unsure + called), Level::P95);
    let unsure = match limits {
        Some(i) => format!(
            "{:.0} % ({:.0}–{:.0})",
            100.0 * f64::from(unsure) / f64::from(unsure + called),
            100.0 * i.low,
            100.0 * i.high
        ),
        None => String::new(),
    };
    QualityRow {
        tank: course.tank.name.clone(),
        photos: photos.len(),
        retakes: retakes.to_string(),
        fish: sum(&|d| d.row.fish),
        unsure,
        people: sum(&|d| d.by_people),
        scales: scales.iter().map(|(source, n)| format!("{source} {n}")).collect::<Vec<_>>().join(", "),
        missed: course.missed.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    }
}

/// The simulated rates: what was simulated, and the rows.
fn rates() -> (String, Vec<(String, String, String, String)>) {
    let mut lines = RATES.lines();
    let of = lines.next().unwrap_or_default().trim_start_matches("# ").to_owned();
    let percent = |text: &str| text.parse::<f64>().map_or(String::new(), |v| format!("{:.2} %", 100.0 * v));
    let rows = lines.skip(1).filter_map(|line| {
        // A case may hold commas of its own.
        let (rule, rest) = line.split_once(',')?;
        let (rest, season) = rest.rsplit_once(',')?;
        let (case, day) = rest.rsplit_once(',')?;
        Some((rule.to_owned(), case.to_owned(), percent(day), percent(season)))
    });
    (of, rows.collect())
}
