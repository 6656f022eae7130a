//! The report's charts: what stands on which axis.

use super::super::chart::{Axis, Chart, Panel, Point};
use crate::season::course::{Course, Day};
use crate::season::register::What;

/// Days whose histograms are drawn; older ones are in the CSV.
const HISTOGRAM_DAYS: usize = 6;
/// Bins of a histogram are at least this wide, in millimetres.
const FINEST_BIN_MM: f64 = 0.25;

/// Newest inflation of all tanks against their bands.
pub(super) fn overview(courses: &[Course]) -> String {
    let mut sampled: Vec<&Course> = courses.iter().filter(|c| c.today().is_some()).collect();
    sampled.sort_by(|a, b| a.tank.name.cmp(&b.tank.name));
    let points = |f: &dyn Fn(&Day) -> Option<Point>| -> Vec<Point> {
        sampled
            .iter()
            .filter_map(|c| c.today())
            .enumerate()
            .filter_map(|(i, d)| Some(f(d)?.at(i as f64)))
            .collect()
    };
    let shares =
        points(&|d| Some(interval(0.0, d.row.inflation?, d.row.inflation_low, d.row.inflation_high)));
    let bands = points(&|d| {
        let band = d.band?;
        Some(Point::new(0.0, f64::midpoint(band.low, band.high)).interval(band.low, band.high))
    });
    let needing = courses.iter().filter(|c| !c.alerts.is_empty()).count();
    let description = format!(
        "Inflated share of the newest sample of each of {} tanks with 95 % limits, and the band for its age. {needing} need attention.",
        sampled.len()
    );
    let names: Vec<&str> = sampled.iter().map(|c| c.tank.name.as_str()).collect();
    let bands: Vec<Point> = bands.into_iter().map(|p| p.shifted(0.22)).collect();
    Chart::new("Newest samples", description)
        .panel(
            Panel::new(Axis::categories("Tank", names), Axis::percent("Inflated"))
                .points("inflated", shares)
                .points("band for its age (ends)", bands),
        )
        .to_html()
}

/// Inflation against age: samples, band, fitted time course, window and events.
pub(super) fn inflation(course: &Course) -> String {
    let name = &course.tank.name;
    let shares = course
        .days
        .iter()
        .filter_map(|d| Some(interval(d.dph, d.row.inflation?, d.row.inflation_low, d.row.inflation_high)));
    let mut panel = Panel::new(age_axis(course), Axis::percent("Inflated")).points("inflated", shares);
    if let Ok(fitted) = &course.time_course
        && let [a, b] = fitted.fit.coefficients[..]
    {
        let ages = ages(course, 0.25);
        panel = panel.line("fitted", ages.map(|t| Point::new(t, 1.0 / (1.0 + (-(a + b * t)).exp()))));
    }
    let band = course.days.iter().filter_map(|d| {
        let band = d.band?;
        Some(Point::new(d.dph, f64::midpoint(band.low, band.high)).interval(band.low, band.high))
    });
    panel = panel.line("band for its age", band);
    let (first, last) = span(course);
    if let Some(window) = &course.window {
        for (at, word) in [(window.opens_dph, "window opens"), (window.closes_dph, "window closes")] {
            if at >= first && at <= last {
                panel = panel.event(at, word);
            }
        }
    }
    let newest = course
        .today()
        .and_then(|d| d.row.inflation)
        .map_or_else(|| "no sample".to_owned(), |p| format!("newest {:.0} %", 100.0 * p));
    let description = format!(
        "Inflated share of tank {name} by age in days post hatch, {} samples with 95 % limits, {newest}.{}",
        course.days.len(),
        events_told(course)
    );
    Chart::new(format!("{name}: inflation by age"), description).panel(with_events(panel, course)).to_html()
}

/// Mean length against age, with its straight line.
pub(super) fn length(course: &Course) -> Option<String> {
    let name = &course.tank.name;
    let means: Vec<Point> = course
        .days
        .iter()
        .filter_map(|d| {
            let (low, high) = (d.row.mean_length_low_mm, d.row.mean_length_high_mm);
            Some(interval(d.dph, d.row.mean_length_mm?, low, high))
        })
        .collect();
    let tail = |f: fn(&Day) -> Option<f64>| -> Vec<Point> {
        course.days.iter().filter_map(|d| Some(Point::new(d.dph, f(d)?))).collect()
    };
    let (first, last) = (means.first()?, means.last()?);
    let description = format!(
        "Mean total length of tank {name} with 95 % limits, from {:.2} to {:.2} mm over {} samples; 5 % and 95 % points of the fish.",
        first.value(),
        last.value(),
        means.len()
    );
    let panel = Panel::new(age_axis(course), Axis::number("Total length (mm)"))
        .points("mean", means)
        .line("95 % of fish below", tail(|d| d.row.p95_length_mm))
        .line("5 % of fish below", tail(|d| d.row.p05_length_mm));
    Some(
        Chart::new(format!("{name}: length by age"), description).panel(with_events(panel, course)).to_html(),
    )
}

/// Histograms of length, a panel for each of the newest sampled days, on one scale.
pub(super) fn histograms(course: &Course) -> Option<String> {
    let measured: Vec<&Day> = course.days.iter().filter(|d| !d.lengths_mm.is_empty()).collect();
    let shown = &measured[measured.len().saturating_sub(HISTOGRAM_DAYS)..];
    let low = shown.iter().filter_map(|d| d.lengths_mm.first()).copied().reduce(f64::min)?;
    let high = shown.iter().filter_map(|d| d.lengths_mm.last()).copied().reduce(f64::max)?;
    // About sixteen bins over all days, in quarters of a millimetre.
    let bin = ((high - low) / 16.0 / FINEST_BIN_MM).ceil().max(1.0) * FINEST_BIN_MM;
    let (from, to) = ((low / bin).floor() * bin, (high / bin).floor() * bin + bin);
    let description = format!(
        "Histograms of total length of tank {} for its {} newest sampled days, bins of {bin} mm.",
        course.tank.name,
        shown.len()
    );
    let chart = Chart::new(format!("{}: lengths by day", course.tank.name), description).columns(3);
    let chart = shown.iter().fold(chart, |chart, day| {
        let x = Axis::number("Total length (mm)").from(from).to(to);
        let title = format!("{} dph, {} fish", day.dph, day.lengths_mm.len());
        chart.panel(Panel::new(x, Axis::number("Fish").from(0.0)).title(title).histogram(
            "",
            bin,
            &day.lengths_mm,
        ))
    });
    Some(chart.to_html())
}

fn interval(x: f64, y: f64, low: Option<f64>, high: Option<f64>) -> Point {
    let point = Point::new(x, y);
    match (low, high) {
        (Some(low), Some(high)) => point.interval(low, high),
        _ => point,
    }
}

/// First and last age drawn.
fn span(course: &Course) -> (f64, f64) {
    let first = course.days.first().map_or(0.0, |d| d.dph);
    let last = course.days.last().map_or(1.0, |d| d.dph);
    (first - 0.5, last.max(first + 1.0) + 0.5)
}

fn age_axis(course: &Course) -> Axis {
    let (first, last) = span(course);
    Axis::number("Age (days post hatch)").from(first).to(last)
}

fn ages(course: &Course, step: f64) -> impl Iterator<Item = f64> {
    let (first, last) = span(course);
    let steps = ((last - first) / step) as usize;
    (0..=steps).map(move |i| first + i as f64 * step)
}

/// What happened to the tank, without the daily counts.
fn told(course: &Course) -> Vec<(f64, String)> {
    let (first, last) = span(course);
    let kept = course.events.iter().filter(|e| !matches!(e.what, What::Deaths | What::Survivors));
    let mut told: Vec<(f64, String)> = Vec::new();
    for event in kept {
        let age = (event.date - course.tank.hatch).get_days() as f64;
        if age < first || age > last {
            continue;
        }
        match told.last_mut() {
            // Two events of a day share one rule.
            Some((at, label)) if *at == age => *label = format!("{label}; {}", event.label()),
            _ => told.push((age, event.label())),
        }
    }
    told
}

fn with_events(panel: Panel, course: &Course) -> Panel {
    told(course).into_iter().fold(panel, |panel, (age, label)| {
        let short: String = label.chars().take(34).collect();
        panel.event(age, if short == label { label } else { format!("{short}…") })
    })
}

fn events_told(course: &Course) -> String {
    let told: Vec<String> =
        told(course).into_iter().map(|(age, label)| format!("{label} at {age} dph")).collect();
    if told.is_empty() { String::new() } else { format!(" Events: {}.", told.join("; ")) }
}
