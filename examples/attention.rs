//! How often the rules of the morning report fire when nothing is wrong.
//!
//! `cargo run --release --example attention` simulates tanks that do as expected and writes
//! `src/season/attention-rates.csv`, which the report shows. Sampling noise is binomial; `dips differ`
//! adds a beta-binomial spread between dips of one tank (intraclass correlation 0.02).

use frygauge::season::attention::{
    EWMA_SIGMAS, EWMA_WEIGHT, Rule, Seen, below_band, drift, many_unsure, spread_grew,
};
use frygauge::season::band::{Band, BandSource, interpolated};
use frygauge::season::register::Expected;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Binomial, Distribution as _, Normal};

const TANKS: u32 = 20_000;
const FIRST_DPH: u32 = 4;
const DAYS: u32 = 14;
const FISH: u64 = 30;
const ICC: f64 = 0.02;
const SEED: u64 = 20260420;

/// A band like a season's: an example, not a norm.
const CURVE: [Expected; 4] = [
    Expected { dph: 4.0, low: 0.02, high: 0.10 },
    Expected { dph: 7.0, low: 0.25, high: 0.55 },
    Expected { dph: 9.0, low: 0.60, high: 0.85 },
    Expected { dph: 13.0, low: 0.85, high: 0.98 },
];

fn main() -> std::io::Result<()> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut out = format!(
        "# {TANKS} tanks of {DAYS} daily samples of {FISH} fish each; EWMA weight {EWMA_WEIGHT}, limits {EWMA_SIGMAS}; seed {SEED}\n\
         rule,case,per_tank_day,per_tank_season\n"
    );
    let mut line = |rule: Rule, case: &str, tally: &Tally| {
        out += &format!("{},{case},{:.4},{:.4}\n", rule.name(), tally.per_day(), tally.per_season());
    };
    for (place, at) in [("a tank at the band's lower end", 0.0), ("a tank in the middle of the band", 0.5)] {
        for (dips, icc) in [("", 0.0), (", dips differ", ICC)] {
            let (mut below, mut drifting) = (Tally::default(), Tally::default());
            for _ in 0..TANKS {
                let days: Vec<Seen> = (0..DAYS).filter_map(|d| sample(d, at, icc, &mut rng)).collect();
                below.tank(days.iter().map(below_band));
                drifting
                    .tank((1..=days.len()).map(|n| drift(&days[..n]).is_some_and(|(v, limit)| v < limit)));
            }
            line(Rule::BelowBand, &format!("{place}{dips}"), &below);
            line(Rule::Drift, &format!("{place}{dips}"), &drifting);
        }
    }
    let mut grew = Tally::default();
    for _ in 0..TANKS {
        let days: Vec<Seen> = (0..DAYS).map(|_| lengths(0.07, &mut rng)).collect();
        grew.tank((1..=days.len()).map(|n| spread_grew(&days[..n]).is_some()));
    }
    line(Rule::Spread, "spread that stays (CV 7 %)", &grew);
    for (case, share) in [("one in ten unsure", 0.1), ("one in five unsure", 0.2)] {
        let mut unsure = Tally::default();
        let binomial = Binomial::new(FISH, share).map_err(std::io::Error::other)?;
        for _ in 0..TANKS {
            unsure.tank((0..DAYS).map(|_| {
                let n = binomial.sample(&mut rng);
                many_unsure(&Seen { inflated: 0, called: FISH - n, unsure: n, band: None, spread: None })
            }));
        }
        line(Rule::Unsure, case, &unsure);
    }
    print!("{out}");
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/src/season/attention-rates.csv"), out)
}

/// Days and tanks on which a rule fired.
#[derive(Default)]
struct Tally {
    days: u64,
    fired: u64,
    tanks: u64,
    hit: u64,
}

impl Tally {
    fn tank(&mut self, fired: impl Iterator<Item = bool>) {
        let (mut days, mut hits) = (0, 0);
        for f in fired {
            days += 1;
            hits += u64::from(f);
        }
        self.days += days;
        self.fired += hits;
        self.tanks += 1;
        self.hit += u64::from(hits > 0);
    }
    fn per_day(&self) -> f64 {
        self.fired as f64 / self.days as f64
    }
    fn per_season(&self) -> f64 {
        self.hit as f64 / self.tanks as f64
    }
}

/// A sample of a tank whose true share lies `at` of the way up the band.
fn sample(day: u32, at: f64, icc: f64, rng: &mut ChaCha8Rng) -> Option<Seen> {
    let (low, high) = interpolated(&CURVE, f64::from(FIRST_DPH + day))?;
    let mean = low + at * (high - low);
    let share = if icc > 0.0 {
        let k = (1.0 - icc) / icc;
        Beta::new(mean * k, (1.0 - mean) * k).ok()?.sample(rng)
    } else {
        mean
    };
    let inflated = Binomial::new(FISH, share).ok()?.sample(rng);
    let band = Some(Band { low, high, source: BandSource::Hatchery });
    Some(Seen { inflated, called: FISH, unsure: 0, band, spread: None })
}

/// A sample of lengths with a coefficient of variation.
fn lengths(cv: f64, rng: &mut ChaCha8Rng) -> Seen {
    let normal = Normal::new(1.0, cv).unwrap_or_else(|_| unreachable!("a CV is above zero"));
    let values: Vec<f64> = (0..FISH).map(|_| normal.sample(rng)).collect();
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    Seen {
        inflated: 0,
        called: FISH,
        unsure: 0,
        band: None,
        spread: Some((values.len(), variance.sqrt() / mean)),
    }
}
