//! Age of a sample: days post hatch and degree-days.
//!
//! The day of hatching is 0 dph. Degree-days are the sum of the mean water temperatures of the days from the
//! day of hatching to the day before the sample, base 0 °C: at a steady 17 °C a fry of 6 dph has 102.

use super::register::{Register, Tank};
use super::species::Profile;
use jiff::civil::Date;

/// Days post hatch of a date; negative before hatching.
///
/// ```
/// use jiff::civil::date;
/// assert_eq!(frygauge::season::age::dph(date(2026, 4, 20), date(2026, 4, 29)), 9);
/// ```
pub fn dph(hatch: Date, on: Date) -> i64 {
    (on - hatch).get_days().into()
}

/// A sum of degree-days and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DegreeDays {
    /// The sum, °C · d.
    pub sum: f64,
    /// Days whose temperature was logged.
    pub logged: u32,
    /// Days for which the tank's registered temperature stands in.
    pub assumed: u32,
}

/// Degree-days of a tank on a date; `None` before hatching, and when a day has neither a logged nor a
/// registered temperature.
pub fn degree_days(register: &Register, tank: &Tank, on: Date) -> Option<DegreeDays> {
    let days = u32::try_from(dph(tank.hatch, on)).ok()?;
    let mut sum = DegreeDays { sum: 0.0, logged: 0, assumed: 0 };
    for day in tank.hatch.series(jiff::ToSpan::days(1)).take(days as usize) {
        if let Some(celsius) = register.temperatures.on(&tank.name, day) {
            sum.logged += 1;
            sum.sum += celsius;
        } else {
            sum.assumed += 1;
            sum.sum += tank.temperature_c?;
        }
    }
    Some(sum)
}

/// The days in which a fry can fill its bladder.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// First day, days post hatch.
    pub opens_dph: f64,
    /// Last day, days post hatch.
    pub closes_dph: f64,
    /// Where the two come from.
    pub source: String,
}

/// The window of a tank: the hatchery's own, else the profile's degree-days at the tank's temperatures, else
/// the profile's days. `None` when neither says.
pub fn window(register: &Register, tank: &Tank, profile: &Profile) -> Option<Window> {
    if let Some([opens_dph, closes_dph]) = register.settings.window_dph {
        return Some(Window { opens_dph, closes_dph, source: "frygauge.toml, window_dph".into() });
    }
    let by_heat = || {
        let (opens, closes) =
            (profile.window_opens_degree_days.as_ref()?, profile.window_closes_degree_days.as_ref()?);
        Some(Window {
            opens_dph: day_of(register, tank, opens.value)?,
            closes_dph: day_of(register, tank, closes.value)?,
            source: format!(
                "{} degree-days at this tank's temperatures; {}",
                degree_range(opens.value, closes.value),
                opens.source
            ),
        })
    };
    let by_day = || {
        let (opens, closes) = (profile.window_opens_dph.as_ref()?, profile.window_closes_dph.as_ref()?);
        let source = if opens.source == closes.source {
            opens.source.clone()
        } else {
            format!("opens: {}; closes: {}", opens.source, closes.source)
        };
        Some(Window { opens_dph: opens.value, closes_dph: closes.value, source })
    };
    by_heat().or_else(by_day)
}

fn degree_range(low: f64, high: f64) -> String {
    format!("{low:.0}-{high:.0}")
}

/// The age at which a tank has `wanted` degree-days, the last day taken in proportion.
fn day_of(register: &Register, tank: &Tank, wanted: f64) -> Option<f64> {
    let mut sum = 0.0;
    for (age, day) in (0..400).zip(tank.hatch.series(jiff::ToSpan::days(1))) {
        let celsius = register.temperatures.on(&tank.name, day).or(tank.temperature_c)?;
        if celsius > 0.0 && sum + celsius >= wanted {
            return Some(f64::from(age) + (wanted - sum) / celsius);
        }
        sum += celsius;
    }
    None
}
