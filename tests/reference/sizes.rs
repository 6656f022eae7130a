//! Sample sizes and power.

use frygauge::stats::cluster::design_effect;
use frygauge::stats::sample_size::{
    ArmPlan, finite, fish_for_mean, fish_for_share, fish_to_exclude, round_up, tanks_for_difference,
    wilson_half_width,
};

use crate::case::{Answer, Row};

pub fn answer(row: &Row) -> Answer {
    let (q, level) = (row.quantity.as_str(), row.level());
    let method = row.method.as_str();
    if method.starts_with("smallest n with Wilson") {
        let (p, h, population) = (row.number("p"), row.number("half_width"), row.maybe("N"));
        let n = fish_for_share(p, h, population, level).unwrap();
        return match q {
            "n" => Answer::of(Some(n as f64)),
            "half_width_at_n" => Answer::of(Some(wilson_half_width(p, n as f64, population, level))),
            _ => {
                let n0 = level.z().powi(2) * p * (1.0 - p) / (h * h);
                Answer::of(Some(round_up(population.map_or(n0, |all| finite(n0, all))) as f64))
            }
        };
    }
    if method.starts_with("n0=z^2") {
        let n0 =
            row.number("z").powi(2) * row.number("p") * (1.0 - row.number("p")) / row.number("d").powi(2);
        let n = row.maybe("N").map_or(n0, |all| finite(n0, all));
        return Answer::of(Some(match q {
            "n0" => round_up(n0) as f64,
            "n" => round_up(n) as f64,
            "n0_raw" => n0,
            _ => n,
        }));
    }
    if method.starts_with("mean with fpc") {
        let n = finite((level.z() * row.number("S") / row.number("d")).powi(2), row.number("N"));
        return Answer::of(Some(if q == "n" { round_up(n) as f64 } else { n }));
    }
    if method.starts_with("n so that 0 of n") {
        return Answer::of(fish_to_exclude(row.number("p"), level).ok().map(|n| n as f64));
    }
    if method.starts_with("smallest n with t") {
        let (s, d) = (row.number("s"), row.number("d"));
        return Answer::of(Some(match q {
            "n" => fish_for_mean(s, d, level).unwrap() as f64,
            _ => round_up((level.z() * s / d).powi(2)) as f64,
        }));
    }
    if method.starts_with("tanks per arm") || method.starts_with("power of pooled t") {
        let plan = ArmPlan {
            first: row.number("p1"),
            second: row.number("p2"),
            fish: row.number("fish_per_tank"),
            icc: row.number("icc"),
            level,
        };
        // scipy's noncentral t is good to some 1e-8.
        return match q {
            "tanks_per_arm" => Answer::of(plan.tanks(0.8).ok().map(|t| t.0 as f64)),
            "power_at_k" => Answer::within(plan.tanks(0.8).ok().map(|t| t.1), 1e-7),
            "power" => Answer::within(plan.power(row.count("tanks_per_arm") as usize).ok(), 1e-7),
            "tanks_z_raw" => Answer::of(Some(plan.tanks_normal(0.8))),
            _ => Answer::of(Some(round_up(1.0 + plan.tanks_normal(0.8)) as f64)),
        };
    }
    if method.starts_with("two-sample t") && q == "n" {
        let n = tanks_for_difference(row.number("delta"), row.number("sd"), row.number("power"), level);
        return Answer::of(n.ok().map(|t| t.0 as f64));
    }
    if q == "deff" {
        let m = row.maybe("m").or_else(|| row.maybe("b").filter(|_| row.number("sd_b") == 0.0));
        let icc = row.maybe("icc").or_else(|| row.maybe("rho")).unwrap();
        if let Some(m) = m {
            return Answer::of(Some(design_effect(m, icc)));
        }
    }
    Answer::NotCovered("not offered: the plan is for one tank's share or mean, or for tanks an arm")
}
