//! What the card's symbol says: `FRYGAUGE/1/D90/P03/2026-05-02`.
//!
//! Five parts between slashes: the word `FRYGAUGE`; the version of this format, `1`; the id of the card's
//! layout; the tank, empty on a blank card; the date of the sample (ISO 8601), empty or left out on a card
//! used again. In the tank every byte of UTF-8 other than `0-9`, `A-Z`, `-` and `.` is written as `%` and
//! two upper-case hex digits (RFC 3986), which keeps the symbol in its compact alphanumeric mode.
//! Readers must refuse other versions rather than guess.

use super::Geometry;
use jiff::civil::Date;

const WORD: &str = "FRYGAUGE";
const VERSION: &str = "1";
/// Most characters a version 3 symbol holds at its lowest error correction (ISO/IEC 18004, table 7).
const MOST: usize = 77;

/// What a card says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Payload {
    /// Its layout.
    pub geometry: Geometry,
    /// The tank.
    pub tank: Option<String>,
    /// The date of the sample.
    pub date: Option<Date>,
}

/// What any symbol in a photograph turns out to be. Texts are as read: show them escaped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Symbol {
    /// A card.
    Card(Payload),
    /// A card of another version of the format.
    OtherVersion(String),
    /// A card's text with a layout, tank or date that cannot be read.
    Damaged(String),
    /// Something else: a feed bag, a phone number. Never followed.
    Foreign(String),
}

/// Why a card cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PayloadError {
    /// The tank's name does not fit the symbol.
    #[error("the name of tank {tank:?} is too long for the card's symbol ({length} of {MOST} characters)")]
    TooLong {
        /// The tank.
        tank: String,
        /// Characters needed.
        length: usize,
    },
    /// The tank's name holds a control character.
    #[error("the name of tank {0:?} holds a character that cannot be printed")]
    Unprintable(String),
}

impl Payload {
    /// The text of the symbol.
    ///
    /// # Errors
    /// [`PayloadError`] when the tank's name is too long or unprintable.
    ///
    /// ```
    /// use frygauge::scale::card::{Geometry, Payload, Symbol};
    /// let payload = Payload { geometry: Geometry::Dish90, tank: Some("P03".into()), date: None };
    /// let text = payload.text().unwrap();
    /// assert_eq!(text, "FRYGAUGE/1/D90/P03/");
    /// assert_eq!(Symbol::of(&text), Symbol::Card(payload));
    /// ```
    pub fn text(&self) -> Result<String, PayloadError> {
        let tank = self.tank.as_deref().unwrap_or_default();
        if tank.chars().any(char::is_control) {
            return Err(PayloadError::Unprintable(tank.to_owned()));
        }
        let date = self.date.map(|d| d.to_string()).unwrap_or_default();
        let text = format!("{WORD}/{VERSION}/{}/{}/{date}", self.geometry.id(), escape(tank));
        if text.len() > MOST {
            return Err(PayloadError::TooLong { tank: tank.to_owned(), length: text.len() });
        }
        Ok(text)
    }

    /// The symbol's modules, row by row, `true` is dark; the strongest error correction that fits.
    ///
    /// # Errors
    /// As [`Payload::text`].
    pub fn modules(&self) -> Result<Vec<bool>, PayloadError> {
        use qrcode::{EcLevel, QrCode, Version};
        let text = self.text()?;
        let fits = |level| QrCode::with_version(&text, Version::Normal(3), level).ok();
        let code = [EcLevel::Q, EcLevel::M, EcLevel::L].into_iter().find_map(fits).ok_or_else(|| {
            PayloadError::TooLong { tank: self.tank.clone().unwrap_or_default(), length: text.len() }
        })?;
        Ok(code.to_colors().into_iter().map(|c| c == qrcode::Color::Dark).collect())
    }
}

impl Symbol {
    /// What the text of a symbol is.
    pub fn of(text: &str) -> Self {
        let Some(rest) = text.strip_prefix(WORD).and_then(|r| r.strip_prefix('/')) else {
            return Self::Foreign(text.to_owned());
        };
        let mut parts = rest.split('/');
        if parts.next() != Some(VERSION) {
            return Self::OtherVersion(text.to_owned());
        }
        let parsed = || -> Option<Payload> {
            let geometry = Geometry::from_id(parts.next()?)?;
            let tank = unescape(parts.next().unwrap_or_default())?;
            let date = match parts.next().unwrap_or_default() {
                "" => None,
                date => Some(date.parse().ok()?),
            };
            let tank = (!tank.is_empty()).then_some(tank);
            parts.next().is_none().then_some(Payload { geometry, tank, date })
        };
        let mut parsed = parsed;
        parsed().map_or_else(|| Self::Damaged(text.to_owned()), Self::Card)
    }
}

fn escape(text: &str) -> String {
    use std::fmt::Write;
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_uppercase() || byte.is_ascii_digit() || b"-.".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

fn unescape(text: &str) -> Option<String> {
    let mut out = Vec::new();
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        if byte == b'%' {
            let [high, low] = [bytes.next()?, bytes.next()?].map(|b| char::from(b).to_digit(16));
            out.push((high? * 16 + low?) as u8);
        } else {
            out.push(byte);
        }
    }
    let text = String::from_utf8(out).ok()?;
    (!text.chars().any(char::is_control)).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::{Payload, Symbol};
    use crate::scale::card::Geometry;
    use jiff::civil::date;
    use proptest::prelude::*;

    #[test]
    fn only_a_card_of_this_version_is_a_card() {
        let full = Symbol::of("FRYGAUGE/1/S100/P03/2026-05-02");
        let payload =
            Payload { geometry: Geometry::Strip, tank: Some("P03".into()), date: Some(date(2026, 5, 2)) };
        assert_eq!(full, Symbol::Card(payload));
        assert!(matches!(Symbol::of("FRYGAUGE/1/D60//"), Symbol::Card(p) if p.tank.is_none()));
        assert!(matches!(Symbol::of("FRYGAUGE/2/D60/P03/"), Symbol::OtherVersion(_)));
        for bad in [
            "FRYGAUGE/1/D61/P03/",
            "FRYGAUGE/1/D60/P03/2026-13-01",
            "FRYGAUGE/1/D60/%0A/",
            "FRYGAUGE/1/D60/%F/",
            "FRYGAUGE/1/D60/a/2026-05-02/x",
            "FRYGAUGE/1",
        ] {
            assert!(matches!(Symbol::of(bad), Symbol::Damaged(_)), "{bad}");
        }
        for other in ["https://example.org", "FRYGAUGES", ""] {
            assert!(matches!(Symbol::of(other), Symbol::Foreign(_)), "{other}");
        }
    }

    #[test]
    fn names_that_do_not_fit_are_refused() {
        let named = |tank: &str| Payload { geometry: Geometry::Dish90, tank: Some(tank.into()), date: None };
        assert!(named(&"x".repeat(40)).text().is_err());
        assert!(named("a\u{7}").text().is_err());
        assert!(named(&"TANK-".repeat(8)).modules().is_ok());
    }

    proptest! {
        #[test]
        fn any_printable_tank_survives(tank in "[ -~äöüéß]{1,12}") {
            let payload = Payload { geometry: Geometry::Dish60, tank: Some(tank), date: Some(date(2026, 4, 30)) };
            if let Ok(text) = payload.text() {
                prop_assert_eq!(Symbol::of(&text), Symbol::Card(payload));
            }
        }
    }
}
