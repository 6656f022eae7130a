//! Tank and date of a photograph, when several places say them.
//!
//! Order: what was given on the command line, the sample sheet, the card in the photograph, the folder
//! names; the camera's clock last, and for the date only. Two places that name different tanks, or
//! different dates, are a [`Conflict`]: one of them is wrong and nobody but the crew knows which. The
//! clock is the exception, for many are never set: it fills a missing date and never contradicts, but a
//! difference is reported.

use jiff::civil::Date;
use std::fmt;

/// Where a label was read, in the order of precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LabelSource {
    /// Given on the command line.
    Given,
    /// The sample sheet.
    Sheet,
    /// The card in the photograph.
    Card,
    /// Names of the folders the photograph lies in.
    Folder,
    /// The camera's clock.
    Exif,
}

impl LabelSource {
    /// How messages call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Given => "command line",
            Self::Sheet => "sample sheet",
            Self::Card => "card",
            Self::Folder => "folder",
            Self::Exif => "camera clock",
        }
    }
}

/// What one place says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// The place.
    pub source: LabelSource,
    /// The tank it names.
    pub tank: Option<String>,
    /// The date it gives.
    pub date: Option<Date>,
}

/// Tank and date of a photograph, each with the place they come from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Label {
    /// The tank.
    pub tank: Option<(String, LabelSource)>,
    /// The date of the sample.
    pub date: Option<(Date, LabelSource)>,
    /// The camera clock's date, when it differs from the date used.
    pub clock_says: Option<Date>,
}

/// Two places that contradict each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// `tank` or `date`.
    pub what: &'static str,
    /// One place and what it says.
    pub first: (LabelSource, String),
    /// The other.
    pub second: (LabelSource, String),
}

impl fmt::Display for Conflict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, first, second } = self;
        // Debug form: what a card says may hold anything, and is shown escaped.
        write!(
            f,
            "{what} differs: {} says {:?}, {} says {:?}",
            first.0.name(),
            first.1,
            second.0.name(),
            second.1
        )
    }
}

impl std::error::Error for Conflict {}

/// The tank and date that `claims` agree on. Tanks are the same when they differ only in case and in
/// white space around them; the spelling of the first place is kept.
///
/// # Errors
/// [`Conflict`] when two places other than the camera's clock say different things.
///
/// ```
/// use frygauge::scale::labels::{Claim, LabelSource, reconcile};
/// let claim = |source, tank: &str| Claim { source, tank: Some(tank.into()), date: None };
/// let agreed = reconcile(&[claim(LabelSource::Folder, "p03"), claim(LabelSource::Card, "P03")]).unwrap();
/// assert_eq!(agreed.tank, Some(("P03".into(), LabelSource::Card)));
/// let error = reconcile(&[claim(LabelSource::Card, "P03"), claim(LabelSource::Folder, "P04")]).unwrap_err();
/// assert_eq!(error.to_string(), "tank differs: card says \"P03\", folder says \"P04\"");
/// ```
pub fn reconcile(claims: &[Claim]) -> Result<Label, Conflict> {
    let mut claims: Vec<&Claim> = claims.iter().collect();
    claims.sort_by_key(|c| c.source);
    let mut label = Label::default();
    for claim in claims {
        let source = claim.source;
        let tank =
            claim.tank.as_deref().map(str::trim).filter(|t| !t.is_empty() && source != LabelSource::Exif);
        if let Some(tank) = tank {
            match &label.tank {
                None => label.tank = Some((tank.to_owned(), source)),
                Some((said, by)) if said.to_lowercase() != tank.to_lowercase() => {
                    let (first, second) = ((*by, said.clone()), (source, tank.to_owned()));
                    return Err(Conflict { what: "tank", first, second });
                }
                Some(_) => {}
            }
        }
        if let Some(date) = claim.date {
            match label.date {
                None => label.date = Some((date, source)),
                Some((said, _)) if said == date => {}
                Some(_) if source == LabelSource::Exif => label.clock_says = Some(date),
                Some((said, by)) => {
                    let (first, second) = ((by, said.to_string()), (source, date.to_string()));
                    return Err(Conflict { what: "date", first, second });
                }
            }
        }
    }
    Ok(label)
}

#[cfg(test)]
mod tests {
    use super::{Claim, LabelSource, reconcile};
    use jiff::civil::date;

    fn claim(source: LabelSource, tank: Option<&str>, day: Option<i8>) -> Claim {
        Claim { source, tank: tank.map(Into::into), date: day.map(|d| date(2026, 5, d)) }
    }

    #[test]
    fn the_first_place_in_the_order_names_and_the_clock_fills_the_date() {
        let label = reconcile(&[
            claim(LabelSource::Exif, None, Some(2)),
            claim(LabelSource::Folder, Some(" P03"), None),
            claim(LabelSource::Sheet, Some("p03"), None),
        ])
        .unwrap();
        assert_eq!(label.tank, Some(("p03".into(), LabelSource::Sheet)));
        assert_eq!(label.date, Some((date(2026, 5, 2), LabelSource::Exif)));
        assert_eq!(label.clock_says, None);
    }

    #[test]
    fn a_wrong_clock_is_reported_and_another_date_is_a_conflict() {
        let card = claim(LabelSource::Card, None, Some(2));
        let label = reconcile(&[card.clone(), claim(LabelSource::Exif, None, Some(9))]).unwrap();
        assert_eq!((label.date.unwrap().0, label.clock_says), (date(2026, 5, 2), Some(date(2026, 5, 9))));
        let error = reconcile(&[claim(LabelSource::Folder, None, Some(3)), card]).unwrap_err();
        assert_eq!(error.to_string(), "date differs: card says \"2026-05-02\", folder says \"2026-05-03\"");
    }

    #[test]
    fn a_blank_card_leaves_the_tank_to_the_others() {
        let label = reconcile(&[
            claim(LabelSource::Card, Some(""), None),
            claim(LabelSource::Folder, Some("P04"), None),
        ])
        .unwrap();
        assert_eq!(label.tank, Some(("P04".into(), LabelSource::Folder)));
        assert_eq!(reconcile(&[]).unwrap().tank, None);
    }
}
