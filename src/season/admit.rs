//! Whether a photograph can be a sample of the tank and date it is said to be of.

use super::register::{Register, Tank};
use jiff::civil::Date;

/// Why not.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct Refusal {
    /// What does not fit.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// The registered tank of a sample; `today` is the date on which it is recorded.
///
/// # Errors
/// No tank or date; a tank that is not registered; a date before hatching or stocking, or in the future: most
/// often the camera's clock.
pub fn admit<'a>(
    register: &'a Register,
    tank: Option<&str>,
    date: Option<Date>,
    today: Date,
) -> Result<&'a Tank, Refusal> {
    let refuse = |what: String, hint: String| Err(Refusal { what, hint });
    let Some(name) = tank else {
        return refuse(
            "nothing says which tank it is a sample of".into(),
            "put it into a folder named after the tank and the date, use a sample sheet, or give --tank"
                .into(),
        );
    };
    let Some(date) = date else {
        return refuse(
            format!("nothing says when {name} was sampled"),
            "put it into a folder named after the tank and the date, use a sample sheet, or give --date"
                .into(),
        );
    };
    let Some(tank) = register.tank(name) else {
        let near = register.tanks.iter().find(|t| t.name.to_lowercase() == name.to_lowercase());
        let hint = match near {
            Some(near) => format!("the register writes it {}", near.name),
            None => "add it to tanks.csv, or correct the name on the photograph's folder or sheet".into(),
        };
        return refuse(format!("tank {name} is not registered"), hint);
    };
    let (after, what) = match tank.stocked {
        Some(stocked) => (stocked, "stocked"),
        None => (tank.hatch, "hatched"),
    };
    let wrong = if date < after {
        Some(format!("dated {date}, before {name} was {what} on {after}"))
    } else if date > today {
        Some(format!("dated {date}, which is in the future (today is {today})"))
    } else {
        None
    };
    let Some(wrong) = wrong else { return Ok(tank) };
    // A clock that is whole years off puts the sample into this season when they are taken away.
    let years_off = [-2_i16, -1, 1, 2].into_iter().find(|years| {
        let year = date.year() + years;
        date.with().year(year).build().is_ok_and(|d| d >= after && d <= today)
    });
    let hint = match years_off {
        Some(years) => {
            let way = if years > 0 { "behind" } else { "ahead" };
            let years = years.unsigned_abs();
            let s = if years == 1 { "" } else { "s" };
            format!(
                "the camera's clock seems {years} year{s} {way}: set it, and give --date for these photographs"
            )
        }
        None => "check the camera's clock, the date of the folder or sheet, and tanks.csv".into(),
    };
    refuse(wrong, hint)
}
