//! The invented season of Brackenmere Hatchery: twelve tanks of pikeperch, fourteen days.
//!
//! Everything here is made up; only the pace follows published figures: length 4.3 mm at hatch and about 5.6 mm at
//! 4 dph (Xu et al. 2017, doi 10.1007/s00343-017-6042-4; Szkudlarek & Zakes 2007), the bladder filling between
//! about 100 and 150 degree-days (striped bass at 17 °C: Martin-Robichaud & Peterson 1998, Aquacult. Res. 29:539-547),
//! and fish without gas growing more slowly.

use super::dice::Dice;
use super::{Rendered, Scene};
use crate::records::Lighting;
use jiff::ToSpan;
use jiff::civil::{Date, Time, date};
use std::fmt::Write as _;

/// Day of hatching of every tank.
pub const HATCH: Date = date(2026, 4, 20);

/// Water temperature in degrees Celsius.
pub const TEMPERATURE_C: f64 = 17.0;

/// Scale of every photograph of the season: one camera on a stand.
pub const PX_PER_MM: f64 = 28.0;

/// Age at the first sample, days post hatch.
const FIRST_DPH: i64 = 4;

/// Days sampled.
const DAYS: i64 = 14;

/// The tank that fails at 8 dph, and whose sprayer is moved that day.
pub const FAILING: &str = "P07";

/// The tank that lags behind in growth and filling.
pub const SLOW: &str = "P10";

/// The tank missed on two days.
pub const MISSED: &str = "P04";

/// A tank of the season: a row of the register.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoTank {
    /// Its name, `P01` to `P12`.
    pub tank: String,
    /// Where its sprayer stands at stocking: `wall`, `mid` or `none`.
    pub sprayer: &'static str,
    /// Volume in litres.
    pub volume_l: u32,
    /// Larvae stocked.
    pub stocked_number: u32,
    /// Opening of the outlet screen.
    pub screen_mm: f64,
}

/// Something that happened: a row of the event list.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoEvent {
    /// Day.
    pub date: Date,
    /// Time of day.
    pub time: Time,
    /// Tank, or `all`.
    pub tank: String,
    /// What happened.
    pub what: &'static str,
    /// To what.
    pub value: String,
    /// A count.
    pub number: Option<u32>,
    /// Initials.
    pub who: &'static str,
}

/// One tank dipped on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoSample {
    /// Tank.
    pub tank: String,
    /// Day.
    pub date: Date,
    /// Time the photograph was taken.
    pub time: Time,
    /// Age in days post hatch.
    pub age_dph: i64,
    /// True share inflated in the tank, of which the sample is a draw.
    pub share: f64,
    /// Total length of each fish in the sample.
    pub lengths_mm: Vec<f64>,
    /// Whether each holds gas.
    pub inflated: Vec<bool>,
    /// Seed of the photograph.
    pub seed: u64,
}

impl DemoSample {
    /// Path of the photograph in the season's folder, `TANK/DATE.jpg`.
    pub fn photo(&self) -> String {
        format!("{}/{}.jpg", self.tank, self.date)
    }

    /// Capture time as EXIF writes it.
    pub fn taken(&self) -> String {
        let (d, t) = (self.date, self.time);
        format!(
            "{:04}:{:02}:{:02} {:02}:{:02}:{:02}",
            d.year(),
            d.month(),
            d.day(),
            t.hour(),
            t.minute(),
            t.second()
        )
    }

    /// Draws the photograph: a light pad at [`PX_PER_MM`].
    pub fn photograph(&self) -> Rendered {
        let age = self.age_dph as f64;
        Scene::sample(&self.lengths_mm, &self.inflated, age, Lighting::Transmitted, PX_PER_MM, self.seed)
            .render()
    }
}

/// The whole season.
#[derive(Debug, Clone, PartialEq)]
pub struct Season {
    /// Register of tanks, by name.
    pub tanks: Vec<DemoTank>,
    /// Events, by time.
    pub events: Vec<DemoEvent>,
    /// Samples, by day and tank.
    pub samples: Vec<DemoSample>,
}

/// The Brackenmere season. The same `seed` gives the same season.
///
/// ```
/// let season = frygauge::render::season::brackenmere(1);
/// assert_eq!(season.tanks.len(), 12);
/// assert_eq!(season.samples.len(), 12 * 14 - 2);
/// ```
pub fn brackenmere(seed: u64) -> Season {
    let mut dice = Dice::new(seed, 7);
    let tanks: Vec<DemoTank> = (1..=12)
        .map(|i| DemoTank {
            tank: format!("P{i:02}"),
            sprayer: match i {
                3 | 12 => "none",
                2 | 5 | 7 | 8 | 11 => "wall",
                _ => "mid",
            },
            volume_l: 340,
            stocked_number: 8000 + 100 * dice.count(0, 20) as u32,
            screen_mm: 0.5,
        })
        .collect();
    let mut samples = Vec::new();
    for (i, tank) in tanks.iter().enumerate() {
        let course = Course::draw(&mut dice, tank);
        for day in 0..DAYS {
            let age = FIRST_DPH + day;
            if tank.tank == MISSED && (age == 9 || age == 10) {
                continue;
            }
            samples.push(course.sample(&mut dice, tank, i, age, seed));
        }
    }
    samples.sort_by(|a, b| (a.date, &a.tank).cmp(&(b.date, &b.tank)));
    let events = events(&mut dice, &tanks);
    Season { tanks, events, samples }
}

/// How one tank does.
struct Course {
    /// Age at which half of those that will fill have filled, dph.
    half_at: f64,
    /// Spread of that age, days.
    spread: f64,
    /// Share that fills in the end.
    most: f64,
    /// Growth relative to the other tanks.
    pace: f64,
    /// Coefficient of variation of length at the start.
    uneven: f64,
}

impl Course {
    fn draw(dice: &mut Dice, tank: &DemoTank) -> Self {
        let (most, half_at) = match tank.sprayer {
            "wall" => (0.90, 7.6),
            "mid" => (0.94, 7.3),
            _ => (0.42, 8.4),
        };
        let slow = tank.tank == SLOW;
        Self {
            half_at: half_at + 0.35 * dice.normal() + if slow { 2.2 } else { 0.0 },
            spread: dice.within(0.7, 1.0),
            most: (most + 0.03 * dice.normal()).clamp(0.1, 0.98),
            pace: (1.0 + 0.03 * dice.normal()) * if slow { 0.86 } else { 1.0 },
            uneven: dice.within(0.045, 0.065),
        }
    }

    /// True share inflated at an age. In the failing tank the sprayer clogs at 6 dph, so that by 8 dph hardly more
    /// have filled; moved that day, it clears the film, and those still able to fill do so.
    fn share(&self, tank: &DemoTank, age: f64) -> f64 {
        let curve = |t: f64| self.most / (1.0 + (-(t - self.half_at) / self.spread).exp());
        if tank.tank != FAILING {
            return curve(age);
        }
        let stuck = curve(6.0);
        if age <= 6.0 {
            return curve(age);
        }
        // Late starters: fewer of them, and none after the window.
        let late = 0.45 / (1.0 + (-(age - 10.5) / 0.8).exp());
        stuck + if age > 8.0 { late } else { 0.01 * (age - 6.0) }
    }

    fn sample(&self, dice: &mut Dice, tank: &DemoTank, index: usize, age: i64, seed: u64) -> DemoSample {
        let t = age as f64;
        let share = self.share(tank, t);
        let n = dice.count(27, 33);
        let mean = (4.3 + 0.32 * t + 0.0075 * t * t) * (1.0 + (self.pace - 1.0) * (t / 14.0).min(1.0));
        let cv = self.uneven + 0.0035 * t;
        let mut lengths_mm = Vec::new();
        let mut inflated = Vec::new();
        for _ in 0..n {
            let gas = dice.chance(share);
            let lag = if gas { 1.0 } else { 1.0 - 0.006 * (t - 6.0).max(0.0) };
            // From two weeks on a few pull ahead: the future cannibals.
            let jump = if age >= 14 && dice.chance(0.03) { dice.within(1.25, 1.45) } else { 1.0 };
            let length = mean * lag * jump * (cv * dice.normal()).exp();
            lengths_mm.push((length * 1000.0).round() / 1000.0);
            inflated.push(gas);
        }
        let minutes = 12 * index as i16 + dice.count(0, 9) as i16;
        DemoSample {
            tank: tank.tank.clone(),
            date: HATCH.saturating_add(age.days()),
            time: Time::constant(7 + (minutes / 60) as i8, (minutes % 60) as i8, dice.count(0, 59) as i8, 0),
            age_dph: age,
            share,
            lengths_mm,
            inflated,
            seed: super::dice::mix(seed ^ (1000 * index as u64 + age as u64)),
        }
    }
}

fn events(dice: &mut Dice, tanks: &[DemoTank]) -> Vec<DemoEvent> {
    let on = |age: i64| HATCH.saturating_add(age.days());
    let at = |hour: i8, minute: i8| Time::constant(hour, minute, 0, 0);
    let event = |date, time, tank: &str, what, value: &str, number, who| DemoEvent {
        date,
        time,
        tank: tank.to_string(),
        what,
        value: value.to_string(),
        number,
        who,
    };
    let mut list = vec![
        event(on(FIRST_DPH), at(9, 0), "all", "feed changed", "brine shrimp, newly hatched", None, "AK"),
        event(on(8), at(10, 40), FAILING, "sprayer moved", "mid", None, "MR"),
        event(on(8), at(10, 55), FAILING, "surface skimmed", "", None, "MR"),
        event(on(15), at(11, 5), "P01", "screen changed", "0.8", None, "AK"),
    ];
    for tank in tanks {
        for age in FIRST_DPH..FIRST_DPH + DAYS {
            let base = if tank.tank == FAILING || tank.sprayer == "none" { 60.0 } else { 30.0 };
            let dead = (base * (0.35 * dice.normal()).exp() * (1.0 + 0.05 * age as f64)) as u32;
            list.push(event(on(age), at(16, 30), &tank.tank, "deaths counted", "", Some(dead), "JT"));
        }
    }
    list.sort_by(|a, b| (a.date, a.time, &a.tank).cmp(&(b.date, b.time, &b.tank)));
    list
}

impl Season {
    /// The register of tanks as CSV.
    pub fn tanks_csv(&self) -> String {
        let mut out = String::from(
            "tank,species,volume_l,hatch_date,stocked_date,stocked_number,temperature_c,screen_mm,sprayer,notes\n",
        );
        for t in &self.tanks {
            let stocked = HATCH.saturating_add(1.day());
            let _ = writeln!(
                out,
                "{},pikeperch,{},{HATCH},{stocked},{},{TEMPERATURE_C},{},{},invented",
                t.tank, t.volume_l, t.stocked_number, t.screen_mm, t.sprayer
            );
        }
        out
    }

    /// The events as CSV.
    pub fn events_csv(&self) -> String {
        let mut out = String::from("date,time,tank,what,value,number,note,who\n");
        for e in &self.events {
            let number = e.number.map(|n| n.to_string()).unwrap_or_default();
            let value = if e.value.contains(',') { format!("\"{}\"", e.value) } else { e.value.clone() };
            let _ = writeln!(
                out,
                "{},{:02}:{:02},{},{},{value},{number},,{}",
                e.date,
                e.time.hour(),
                e.time.minute(),
                e.tank,
                e.what,
                e.who
            );
        }
        out
    }

    /// The sample sheet as CSV.
    pub fn samples_csv(&self) -> String {
        let mut out = String::from("photo,tank,date,hatch\n");
        for s in &self.samples {
            let _ = writeln!(out, "{},{},{},{HATCH}", s.photo(), s.tank, s.date);
        }
        out
    }

    /// Keeps only the first `days` days of samples and events.
    pub fn keep_days(&mut self, days: i64) {
        let last = HATCH.saturating_add((FIRST_DPH + days - 1).days());
        self.samples.retain(|s| s.date <= last);
        self.events.retain(|e| e.date <= last);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_season_tells_its_story() {
        let season = brackenmere(2026);
        let share = |tank: &str, age: i64| {
            season.samples.iter().find(|s| s.tank == tank && s.age_dph == age).map(|s| s.share)
        };
        // Fails at 8 dph where the others are half way, and catches up in part after its sprayer is moved.
        let others: Vec<f64> = ["P02", "P05", "P08", "P11"].iter().filter_map(|t| share(t, 8)).collect();
        let failing = share(FAILING, 8).unwrap();
        assert!(others.iter().all(|o| *o > failing + 0.2), "{failing} {others:?}");
        assert!(share(FAILING, 13).unwrap() > failing + 0.25);
        assert!(share(SLOW, 9).unwrap() < share("P09", 9).unwrap() - 0.2);
        assert_eq!((share(MISSED, 9), share(MISSED, 10)), (None, None));
        assert!(season.samples.iter().all(|s| (27..=33).contains(&s.lengths_mm.len())));
        let moved: Vec<_> = season.events.iter().filter(|e| e.what == "sprayer moved").collect();
        assert_eq!((moved.len(), moved[0].tank.as_str()), (1, FAILING));
        assert_eq!(season, brackenmere(2026));
    }

    #[test]
    fn a_photograph_of_the_season_holds_its_sample() {
        let season = brackenmere(2026);
        let sample = &season.samples[0];
        let truth = sample.photograph().truth;
        assert_eq!(truth.fish.len(), sample.lengths_mm.len());
        let gas: Vec<bool> = truth.fish.iter().map(|f| f.inflated).collect();
        assert_eq!(gas, sample.inflated);
    }
}
