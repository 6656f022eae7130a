//! `events.csv`: a line an event.

use super::{Problems, Sheet, Tank};
use jiff::civil::{Date, Time};
use serde::{Deserialize, Serialize};

/// The word for every tank in `events.csv` and `temperatures.csv`.
pub const ALL_TANKS: &str = "all";

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The sprayer was moved; `value` says to where.
    SprayerMoved,
    /// The sprayer was cleaned or repaired.
    SprayerServiced,
    /// The surface was skimmed.
    SurfaceSkimmed,
    /// The outlet screen was changed; `value` is the new opening in millimetres.
    ScreenChanged,
    /// The feed was changed; `value` says to what.
    FeedChanged,
    /// The light was changed; `value` says to what.
    LightChanged,
    /// Dead fry were counted; `number` is how many since the last count.
    Deaths,
    /// The living fry were counted or estimated; `number` is how many.
    Survivors,
    /// The fish were graded; `value` is the bar spacing in millimetres.
    Graded,
    /// Something failed: pump, light, oxygen.
    Fault,
    /// Anything else; `note` says what.
    Other,
}

impl What {
    /// Every kind, in the order people are told of them.
    pub const ALL: [Self; 11] = [
        Self::SprayerMoved,
        Self::SprayerServiced,
        Self::SurfaceSkimmed,
        Self::ScreenChanged,
        Self::FeedChanged,
        Self::LightChanged,
        Self::Deaths,
        Self::Survivors,
        Self::Graded,
        Self::Fault,
        Self::Other,
    ];

    /// The word in the column.
    pub fn name(self) -> &'static str {
        match self {
            Self::SprayerMoved => "sprayer moved",
            Self::SprayerServiced => "sprayer serviced",
            Self::SurfaceSkimmed => "surface skimmed",
            Self::ScreenChanged => "screen changed",
            Self::FeedChanged => "feed changed",
            Self::LightChanged => "light changed",
            Self::Deaths => "deaths counted",
            Self::Survivors => "survivors counted",
            Self::Graded => "graded",
            Self::Fault => "fault",
            Self::Other => "other",
        }
    }

    /// Whether it has a `number`.
    fn counts(self) -> bool {
        matches!(self, Self::Deaths | Self::Survivors)
    }
}

/// A husbandry event.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Day.
    pub date: Date,
    /// Time of day, if noted.
    pub time: Option<Time>,
    /// A tank, or [`ALL_TANKS`].
    pub tank: String,
    /// What happened.
    pub what: What,
    /// To what, in the words of the file.
    pub value: String,
    /// The count of [`What::Deaths`] and [`What::Survivors`].
    pub number: Option<u64>,
    /// Free words.
    pub note: String,
    /// Initials.
    pub who: String,
}

impl Event {
    /// The event in a few words: `sprayer moved to mid`.
    pub fn label(&self) -> String {
        match (self.what, self.value.as_str()) {
            (What::Other, _) if !self.note.is_empty() => self.note.clone(),
            (What::Deaths, _) => format!("{} dead", self.number.unwrap_or(0)),
            (What::Survivors, _) => format!("{} alive", self.number.unwrap_or(0)),
            (_, "") => self.what.name().into(),
            (What::ScreenChanged | What::Graded, mm) => format!("{}, {mm} mm", self.what.name()),
            (_, value) => format!("{} to {value}", self.what.name()),
        }
    }
}

pub(super) fn read(sheet: &Sheet, tanks: &[Tank], problems: &mut Problems) -> Vec<Event> {
    sheet.expect(
        &["date", "tank", "what"],
        &["time", "value", "number", "note", "who"],
        "free words go into note",
        problems,
    );
    let words: Vec<&str> = What::ALL.into_iter().map(What::name).collect();
    let mut events = Vec::new();
    for row in sheet.rows() {
        row.needed("date", problems);
        let date = row.date("date", problems);
        let tank = row.needed("tank", problems);
        let word = row.needed("what", problems);
        let what = word.and_then(|word| {
            let found = What::ALL.into_iter().find(|w| w.name() == word.to_lowercase().replace('_', " "));
            if found.is_none() {
                let hint = format!("one of: {}; anything else is `other` with a note", words.join(", "));
                problems.add(row.problem("what", format!("unknown event `{word}`"), &hint));
            }
            found
        });
        let time = row.text("time").and_then(|text| {
            let time = text.parse::<Time>().ok().filter(|_| text.len() >= 5 && text.as_bytes()[2] == b':');
            if time.is_none() {
                problems.add(row.problem("time", format!("`{text}` is not a time"), "write it as 07:30"));
            }
            time
        });
        if let Some(name) = tank
            && name != ALL_TANKS
        {
            match tanks.iter().find(|t| t.name == name) {
                None => problems.add(row.problem(
                    "tank",
                    format!("{name} is not registered"),
                    "add it to tanks.csv, or write all",
                )),
                Some(tank) if date.is_some_and(|d| d < tank.hatch) => {
                    let what = format!("before {name} hatched on {}", tank.hatch);
                    problems.add(row.problem("date", what, "check the date here and in tanks.csv"));
                }
                Some(_) => {}
            }
        }
        let mut number = None;
        if what.is_some_and(What::counts) {
            row.needed("number", problems);
            number = row.count("number", problems);
            if tank == Some(ALL_TANKS) {
                problems.add(row.problem("tank", "a count belongs to one tank", "give a row for each tank"));
            }
        } else if matches!(what, Some(What::ScreenChanged | What::Graded)) {
            row.positive("value", problems);
        }
        if let (Some(date), Some(tank), Some(what)) = (date, tank, what) {
            events.push(Event {
                date,
                time,
                tank: tank.into(),
                what,
                value: row.text("value").unwrap_or_default().into(),
                number,
                note: row.text("note").unwrap_or_default().into(),
                who: row.text("who").unwrap_or_default().into(),
            });
        }
    }
    // The order of the file among events of one moment: a spreadsheet is filled from top to bottom.
    events.sort_by_key(|e| (e.date, e.time));
    events
}
