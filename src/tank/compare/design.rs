//! Which tank belongs to which arm.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::table::{self, TableError};

/// One tank of a design.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Assignment {
    /// Tank.
    pub tank: String,
    /// Arm, such as the sprayer's station.
    pub arm: String,
    /// Block: tanks that stand together, share a header or were stocked together.
    pub block: Option<String>,
    /// Date of the sample before the change.
    pub before: Option<Date>,
    /// Date of the sample to compare (after the change, if there was one).
    pub after: Option<Date>,
    /// Fry stocked.
    pub stocked: Option<u64>,
    /// Fry alive at the date compared.
    pub alive: Option<u64>,
    /// Depth of the dip, as noted.
    pub dip_depth: Option<String>,
    /// Line of the design file, for messages.
    pub row: Option<u64>,
}

/// Tanks in arms.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Design {
    /// The tanks in the order of the file.
    pub tanks: Vec<Assignment>,
    /// The arms from the least to the most of something, when they are doses; empty otherwise.
    pub order: Vec<String>,
    /// The arm others are compared with; the first arm otherwise.
    pub control: Option<String>,
}

impl Design {
    /// Reads a design file: columns `tank` and `arm`; optional `block`, `before`, `after`, `stocked`, `alive`, `dip_depth`.
    ///
    /// # Errors
    /// [`TableError`] for missing columns, empty cells, a tank named twice (a tank has one arm), dates that are not dates or
    /// stand the wrong way round, and more fry alive than stocked.
    ///
    /// ```
    /// use frygauge::tank::compare::Design;
    /// let file = "tank,arm\nP01,wall\nP02,mid\n";
    /// assert_eq!(Design::read(file.as_bytes()).unwrap().arms(), ["wall", "mid"]);
    /// let twice = Design::read("tank,arm\nP01,wall\nP01,mid\n".as_bytes()).unwrap_err();
    /// assert_eq!(twice.row, Some(3));
    /// ```
    pub fn read(source: impl Read) -> Result<Self, TableError> {
        let lines = table::read(source, &["tank", "arm"])?;
        let mut seen: BTreeMap<String, (u64, String)> = BTreeMap::new();
        let mut tanks = Vec::new();
        for line in &lines {
            let tank = line.required("tank")?.to_owned();
            let arm = line.required("arm")?.to_owned();
            if let Some((row, other)) = seen.get(&tank) {
                let what = if *other == arm {
                    format!("tank {tank} stands in rows {row} and {}", line.row)
                } else {
                    format!("tank {tank} is in arm {other} (row {row}) and in arm {arm}")
                };
                return Err(line.error("tank", what, "a tank belongs to one arm; name it once"));
            }
            seen.insert(tank.clone(), (line.row, arm.clone()));
            let (before, after) = (line.date("before")?, line.date("after")?);
            if let (Some(b), Some(a)) = (before, after)
                && b >= a
            {
                return Err(line.error("before", format!("{b} is not before {a}"), "exchange the dates"));
            }
            if before.is_some() && after.is_none() {
                return Err(line.error(
                    "after",
                    "a date before the change but none after",
                    "fill both or neither",
                ));
            }
            let (stocked, alive) = (line.count("stocked")?, line.count("alive")?);
            if let (Some(s), Some(a)) = (stocked, alive)
                && (a > s || s == 0)
            {
                return Err(line.error("alive", format!("{a} alive of {s} stocked"), "check the counts"));
            }
            tanks.push(Assignment {
                tank,
                arm,
                block: line.get("block").map(str::to_owned),
                before,
                after,
                stocked,
                alive,
                dip_depth: line.get("dip_depth").map(str::to_owned),
                row: Some(line.row),
            });
        }
        if tanks.is_empty() {
            return Err(TableError::whole("the design names no tank", "give one row a tank: tank, arm"));
        }
        Ok(Self { tanks, order: Vec::new(), control: None })
    }

    /// A design from each tank's treatment, as the register has it; tanks without one are left out.
    pub fn from_treatments<'a>(treatments: impl IntoIterator<Item = (&'a str, Option<&'a str>)>) -> Self {
        let tanks = treatments
            .into_iter()
            .filter_map(|(tank, arm)| {
                let arm = arm.map(str::trim).filter(|a| !a.is_empty())?;
                Some(Assignment {
                    tank: tank.to_owned(),
                    arm: arm.to_owned(),
                    block: None,
                    before: None,
                    after: None,
                    stocked: None,
                    alive: None,
                    dip_depth: None,
                    row: None,
                })
            })
            .collect();
        Self { tanks, order: Vec::new(), control: None }
    }

    /// Says which arms are doses of one thing, from the least to the most.
    ///
    /// # Errors
    /// [`TableError`] when the order does not name every arm exactly once.
    pub fn with_order(mut self, order: &[String]) -> Result<Self, TableError> {
        let have: BTreeSet<&str> = self.tanks.iter().map(|t| t.arm.as_str()).collect();
        let named: BTreeSet<&str> = order.iter().map(String::as_str).collect();
        if named.len() != order.len() || have != named {
            return Err(TableError::whole(
                format!("the order names {} but the arms are {}", order.join(", "), self.arms().join(", ")),
                "name every arm once, from the least to the most",
            ));
        }
        self.order = order.to_vec();
        Ok(self)
    }

    /// Says which arm the others are compared with.
    ///
    /// # Errors
    /// [`TableError`] when there is no such arm.
    pub fn with_control(mut self, control: &str) -> Result<Self, TableError> {
        if !self.tanks.iter().any(|t| t.arm == control) {
            return Err(TableError::whole(
                format!("no arm is called {control}"),
                format!("the arms are {}", self.arms().join(", ")),
            ));
        }
        self.control = Some(control.to_owned());
        Ok(self)
    }

    /// The arms: doses in their order, otherwise the control first and then as the tanks name them.
    pub fn arms(&self) -> Vec<String> {
        if !self.order.is_empty() {
            return self.order.clone();
        }
        let mut arms: Vec<String> = self.control.iter().cloned().collect();
        for t in &self.tanks {
            if !arms.contains(&t.arm) {
                arms.push(t.arm.clone());
            }
        }
        arms
    }

    /// Which comparison the design asks for.
    pub fn kind(&self) -> Kind {
        let dated = self.tanks.iter().any(|t| t.before.is_some());
        match (dated, self.arms().len()) {
            (true, 1) => Kind::BeforeAfter,
            (true, _) => Kind::BeforeAfterControl,
            (false, _) if !self.order.is_empty() => Kind::Doses,
            (false, _) => Kind::Parallel,
        }
    }
}

/// The comparison a design asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Arms side by side at one age.
    Parallel,
    /// Arms that are ordered doses at one age.
    Doses,
    /// Before and after a change, with control tanks.
    BeforeAfterControl,
    /// Before and after in the same tanks, without control tanks.
    BeforeAfter,
}

impl Kind {
    /// Words for a heading.
    pub fn title(self) -> &'static str {
        match self {
            Self::Parallel => "arms of tanks at one age",
            Self::Doses => "ordered arms of tanks at one age",
            Self::BeforeAfterControl => "before and after a change, with control tanks",
            Self::BeforeAfter => "before and after in the same tanks, without control tanks",
        }
    }
}
