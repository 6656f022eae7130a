//! Fish in tanks, tanks in arms; before, after and control.

use frygauge::stats::Level;
use frygauge::stats::beta_binomial;
use frygauge::stats::cluster::{self, Anova, Count};
use frygauge::stats::logistic::{self, Link};
use frygauge::stats::moments::Moments;
use frygauge::stats::permutation::{self, Permutation};
use frygauge::stats::t_test::{self, TTest, Variances};
use nalgebra::DMatrix;

use crate::case::{Answer, Row, data};

/// The arms of a row: from its lists, or from the data file in the file's order of arms.
fn arms(row: &Row) -> Vec<Vec<Count>> {
    if row.inputs.get("y1").is_some() {
        return ["1", "2"].map(|i| counts(&row.list(&format!("y{i}")), &row.list(&format!("n{i}")))).to_vec();
    }
    let file = row.file().unwrap();
    if file == "liang1992_copd.csv" {
        let rows = data(file);
        let of = |name: &str| -> Vec<f64> { rows.iter().map(|r| r[name].parse().unwrap()).collect() };
        return vec![counts(&of("x"), &of("n"))];
    }
    let rows = data(file);
    let key = if rows[0].contains_key("arm") { "arm" } else { "group" };
    let wanted = row.inputs.get("group").and_then(|g| g.as_str());
    let mut names: Vec<&str> = rows.iter().map(|r| r[key].as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names.retain(|n| wanted.is_none_or(|w| w == *n));
    names
        .iter()
        .map(|name| {
            rows.iter()
                .filter(|r| r[key] == *name)
                .map(|r| Count { successes: r["y"].parse().unwrap(), n: r["n"].parse().unwrap() })
                .collect()
        })
        .collect()
}

fn counts(y: &[f64], n: &[f64]) -> Vec<Count> {
    y.iter().zip(n).map(|(y, n)| Count { successes: *y, n: *n }).collect()
}

fn slices(arms: &[Vec<Count>]) -> Vec<&[Count]> {
    arms.iter().map(Vec::as_slice).collect()
}

fn t_value(t: &TTest, quantity: &str) -> Option<f64> {
    Some(match quantity {
        "diff" | "est" | "mean" => t.difference,
        "se" => t.se,
        "df" => t.df,
        "t" => t.t,
        "p" => t.p,
        "lower" => t.interval.low,
        "upper" => t.interval.high,
        _ => return None,
    })
}

fn anova_value(a: Option<Anova>, quantity: &str) -> Option<f64> {
    a.map(|a| match quantity {
        "MSC" => a.between,
        "MSW" => a.within,
        "m0" => a.m0,
        _ => a.icc,
    })
}

fn permutation_value(p: &Permutation, quantity: &str) -> Option<f64> {
    Some(match quantity {
        "n_splits" | "n_flips" => p.arrangements as f64,
        "count_two_sided" => p.as_extreme as f64,
        "count_ge" => (p.p_greater * p.arrangements as f64).round(),
        "p_two_sided" => p.p,
        "p_greater" => p.p_greater,
        _ => return None,
    })
}

fn transformed(arms: &[Vec<Count>], f: impl Fn(&Count) -> f64) -> Vec<Vec<f64>> {
    arms.iter().map(|a| a.iter().map(&f).collect()).collect()
}

pub fn answer(row: &Row) -> Answer {
    let q = row.quantity.as_str();
    let method = row.method.as_str();
    let level = row.level();
    if method.contains("GLMM") || method.contains("logistic-normal") {
        return Answer::NotCovered(
            "not offered: rejects too often with few tanks; the tank's share is the unit",
        );
    }
    if method.starts_with("beta-binomial ML") {
        let fit = beta_binomial::fit_one(&arms(row)[0]).unwrap();
        let phi = fit.phi;
        let value = match q {
            "mu" => fit.mean(),
            "logit_mu" => fit.coefficients[0],
            "se_logit_mu" => fit.standard_errors[0],
            "phi" => phi,
            "se_phi" => fit.phi_se.unwrap(),
            "theta" => phi / (1.0 - phi),
            "alpha" => fit.mean() * (1.0 - phi) / phi,
            "beta" => (1.0 - fit.mean()) * (1.0 - phi) / phi,
            _ => fit.log_likelihood,
        };
        // Two optimisers on a flat surface, and standard errors by differences; alpha and beta magnify the error of phi.
        return Answer::within(Some(value), if q == "loglik" { 1e-9 } else { 5e-5 });
    }
    if method.starts_with("ratio estimator") {
        let arm = &arms(row)[0];
        let r = cluster::ratio(arm).unwrap();
        return Answer::of(match q {
            "k" => Some(arm.len() as f64),
            "n" => Some(r.n),
            "y" => Some((r.share * r.n).round()),
            "p" => Some(r.share),
            "var_ratio" => Some(r.variance),
            "se_ratio" => Some(r.variance.sqrt()),
            "var_binom" => Some(r.binomial_variance),
            "deff" => r.design_effect(),
            _ => r.effective_n(),
        });
    }
    if method.starts_with("ANOVA ICC") {
        return Answer::of(anova_value(cluster::anova(&slices(&arms(row))), q));
    }
    if method == "beta-binomial likelihood-ratio" {
        return beta_binomial_test(row);
    }
    if method.starts_with("Rao-Scott") {
        let arms = arms(row);
        let result =
            cluster::rao_scott(&slices(&arms), method.contains("pooled deff") || row.id.ends_with("-pooled"));
        let letters = ["deff_C", "deff_H", "deff_L", "deff_M"];
        return Answer::of(match q {
            "X2" => result.map(|r| r.0.statistic),
            "df" => Some((arms.len() - 1) as f64),
            "p" => result.map(|r| r.0.p),
            "deff1" => result.map(|r| r.1[0]),
            "deff2" => result.map(|r| r.1[1]),
            letter => result.map(|r| r.1[letters.iter().position(|l| *l == letter).unwrap()]),
        });
    }
    if method.starts_with("Donner") {
        let (chi, c, a) = cluster::donner(&slices(&arms(row))).unwrap();
        return Answer::of(match q {
            "X2_adj" => Some(chi.statistic),
            "p_adj" => Some(chi.p),
            "C1" => Some(c[0]),
            "C2" => Some(c[1]),
            other => anova_value(Some(a), other),
        });
    }
    if method.starts_with("Pearson") {
        let arms = arms(row);
        let chi = cluster::naive_chi_square(&slices(&arms)).unwrap();
        let total = |i: usize| -> (f64, f64) {
            (arms[i].iter().map(|c| c.successes).sum(), arms[i].iter().map(|c| c.n).sum())
        };
        return Answer::of(Some(match q {
            "p1" => total(0).0 / total(0).1,
            "p2" => total(1).0 / total(1).1,
            "y1" => total(0).0,
            "n1" => total(0).1,
            "y2" => total(1).0,
            "n2" => total(1).1,
            "X2" => chi.statistic,
            _ => chi.p,
        }));
    }
    if method.starts_with("Wilson on n/xi") {
        let arms = arms(row);
        let (interval, xi) = cluster::clustered_wilson(&arms[0], level).unwrap();
        return Answer::of(Some(match q {
            "x" => arms[0].iter().map(|c| c.successes).sum(),
            "n" => arms[0].iter().map(|c| c.n).sum(),
            "icc" => cluster::anova(&slices(&arms)).unwrap().icc,
            "xi" => xi,
            "lower" => interval.low,
            _ => interval.high,
        }));
    }
    if method.contains("Welch t on") || method.contains("pooled t on") || method.contains("_t_on_") {
        let arms = arms(row);
        let values = if method.contains("logit") {
            transformed(&arms, |c| ((c.successes + 0.5) / (c.n - c.successes + 0.5)).ln())
        } else if method.contains("arcsin") {
            transformed(&arms, |c| (c.successes / c.n).sqrt().asin())
        } else {
            transformed(&arms, |c| c.successes / c.n)
        };
        let welch = method.to_lowercase().contains("welch");
        let variances = if welch { Variances::Welch } else { Variances::Pooled };
        return Answer::of(t_value(
            &t_test::two_groups(&values[0], &values[1], variances, level).unwrap(),
            q,
        ));
    }
    if method.starts_with("exact permutation") || method == "perm_on_p" {
        let shares = transformed(&arms(row), |c| c.successes / c.n);
        return Answer::of(permutation_value(&permutation::two_groups(&shares[0], &shares[1]).unwrap(), q));
    }
    if method.starts_with("exact two-sample permutation") {
        let (a, b) = (row.list("a"), row.list("b"));
        let p = permutation::two_groups(&a, &b).unwrap();
        let t = t_test::two_groups(&a, &b, Variances::Welch, level).unwrap();
        return Answer::of(permutation_value(&p, q).or_else(|| t_value(&t, q)));
    }
    if method.starts_with("one-sample sign-flip") {
        let d = row.list("diff");
        let p = permutation::sign_flip(&d).unwrap();
        let t = t_test::one_group(&d, level).unwrap();
        return Answer::of(match q {
            "sum" => Some(d.iter().sum()),
            "p_t" => Some(t.p),
            _ => permutation_value(&p, q).or_else(|| t_value(&t, q)),
        });
    }
    if method.starts_with("smallest attainable two-sided exact") {
        let (a, b) = (row.count("tanks_a") as usize, row.count("tanks_b") as usize);
        return Answer::of(Some(match q {
            "splits" => permutation::choose(a + b, a),
            "min_p" => permutation::smallest_two_group_p(a, b),
            _ => return Answer::NotCovered("not used: the two-sided count is"),
        }));
    }
    if method.starts_with("smallest attainable two-sided sign-flip") {
        return Answer::of(Some(permutation::smallest_sign_flip_p(row.count("tanks") as usize)));
    }
    if method.starts_with("binomial GLM") || method.starts_with("quasi") {
        return lirat(row);
    }
    if method.starts_with("beta-binomial regression") {
        return beta_binomial_regression(row);
    }
    Answer::NotCovered("no such method here")
}

/// Indicator columns for the levels of a factor, the first level being the intercept.
fn indicators(levels: &[usize], most: usize) -> DMatrix<f64> {
    DMatrix::from_fn(levels.len(), most, |i, j| if j == 0 || levels[i] == j { 1.0 } else { 0.0 })
}

fn lirat_data() -> (DMatrix<f64>, Vec<Count>) {
    let rows = data("lirat_iron_teratology.csv");
    let levels: Vec<usize> = rows.iter().map(|r| r["grp"].parse::<usize>().unwrap() - 1).collect();
    let counts = rows
        .iter()
        .map(|r| Count { successes: r["R"].parse().unwrap(), n: r["N"].parse().unwrap() })
        .collect();
    (indicators(&levels, 4), counts)
}

/// Which coefficient `b0`, `se2`, … means: the groups are numbered 1 to 4, the first is the intercept `0`.
fn coefficient(quantity: &str) -> usize {
    quantity.trim_start_matches(['b', 's', 'e']).parse::<usize>().unwrap().saturating_sub(1)
}

fn lirat(row: &Row) -> Answer {
    let (design, counts) = lirat_data();
    let y: Vec<f64> = counts.iter().map(|c| c.successes).collect();
    let n: Vec<f64> = counts.iter().map(|c| c.n).collect();
    let fit = logistic::fit(&design, &y, &n, Link::Logit).unwrap();
    let scale = if row.method.starts_with("quasi") { fit.dispersion().unwrap().sqrt() } else { 1.0 };
    // statsmodels stops once the deviance moves by less than 1e-8 and takes its errors from the weights before that step.
    Answer::within(
        match row.quantity.as_str() {
            "phi" => fit.dispersion(),
            "df" => Some(fit.df as f64),
            q if q.starts_with("se") => fit.standard_error(coefficient(q)).map(|s| s * scale),
            q => Some(fit.coefficients[coefficient(q)]),
        },
        2e-6,
    )
}

fn beta_binomial_regression(row: &Row) -> Answer {
    let lirat = row.file() == Some("lirat_iron_teratology.csv");
    let (design, counts) = if lirat {
        lirat_data()
    } else {
        let rows = data("crowder_orobanche.csv");
        let design = DMatrix::from_fn(rows.len(), 4, |i, j| {
            let (seed, root) = (rows[i]["seed"] == "O75", rows[i]["root"] == "CUCUMBER");
            f64::from(u8::from([true, seed, root, seed && root][j]))
        });
        let counts = rows
            .iter()
            .map(|r| Count { successes: r["y"].parse().unwrap(), n: r["n"].parse().unwrap() })
            .collect();
        (design, counts)
    };
    let fit = beta_binomial::fit(&design, &counts).unwrap();
    let index = |q: &str| if lirat { coefficient(q) } else { q[1..].parse().unwrap() };
    // Two optimisers that stop where the likelihood is flat to 1e-10 agree on coefficients to some 1e-6, on their errors to 1e-4.
    match row.quantity.as_str() {
        "loglik" => Answer::of(Some(fit.log_likelihood)),
        "rho" | "phi" => Answer::within(Some(fit.phi), 2e-6),
        q if q.starts_with("se") => Answer::within(Some(fit.standard_errors[index(q)]), 1e-4),
        q => Answer::within(Some(fit.coefficients[index(q)]), 2e-6),
    }
}

fn beta_binomial_test(row: &Row) -> Answer {
    let arms = arms(row);
    let all: Vec<Count> = arms.concat();
    let null = beta_binomial::fit_one(&all).unwrap();
    let separate: f64 = arms.iter().map(|a| beta_binomial::fit_one(a).unwrap().log_likelihood).sum();
    let design = DMatrix::from_fn(all.len(), 2, |i, j| if j == 0 || i >= arms[0].len() { 1.0 } else { 0.0 });
    let common = beta_binomial::fit(&design, &all).unwrap();
    let (lr, p) = beta_binomial::likelihood_ratio(&null, &common, 1);
    let value = match row.quantity.as_str() {
        "ll_null" => null.log_likelihood,
        "ll_separate" => separate,
        "LR_2df" => 2.0 * (separate - null.log_likelihood),
        "ll_common_phi" => common.log_likelihood,
        "b0" => common.coefficients[0],
        "b1" => common.coefficients[1],
        "se_b1" => common.standard_errors[1],
        "phi" => common.phi,
        "LR_1df" => lr,
        "p_1df" => p,
        _ => return Answer::NotCovered("arms with an overdispersion each are fitted apart, without a test"),
    };
    Answer::within(Some(value), 2e-6)
}

pub fn baci(row: &Row) -> Answer {
    let (q, level) = (row.quantity.as_str(), Level::P95);
    if row.method.starts_with("2x2 BACI") {
        return Answer::NotCovered("refused: one control and one impact site rest on pseudo-replicates");
    }
    if row.method.starts_with("BACI on site") {
        let rows = data(row.file().unwrap());
        let mut sites: Vec<(&str, bool)> =
            rows.iter().map(|r| (r["Site"].as_str(), r["SiteClass"] == "Impact")).collect();
        sites.sort_unstable();
        sites.dedup();
        let change = |site: &str| {
            let mean = |period: &str| {
                let x: Vec<f64> = rows
                    .iter()
                    .filter(|r| r["Site"] == site && r["Period"] == period)
                    .map(|r| r["Density"].parse().unwrap())
                    .collect();
                Moments::of(&x).unwrap().mean()
            };
            mean("After") - mean("Before")
        };
        let control: Vec<f64> = sites.iter().filter(|s| !s.1).map(|s| change(s.0)).collect();
        let impact: Vec<f64> = sites.iter().filter(|s| s.1).map(|s| change(s.0)).collect();
        return Answer::of(t_value(&t_test::group_and_one(&control, impact[0], level).unwrap(), q));
    }
    if row.method == "paired t" {
        let d: Vec<f64> = row.list("a").iter().zip(row.list("b")).map(|(a, b)| a - b).collect();
        if let Some(q) = q.strip_prefix("signflip_") {
            // The reference flips the differences the other way round.
            let negated: Vec<f64> = d.iter().map(|v| -v).collect();
            return Answer::of(permutation_value(&permutation::sign_flip(&negated).unwrap(), q));
        }
        return Answer::of(t_value(&t_test::one_group(&d, level).unwrap(), q));
    }
    let (first, second) = if row.method.starts_with("BACIP") {
        let rows = data(row.file().unwrap());
        let of = |period: &str| -> Vec<f64> {
            rows.iter()
                .filter(|r| r["Period"] == period)
                .map(|r| r["Impact Site"].parse::<f64>().unwrap() - r["Control Site"].parse::<f64>().unwrap())
                .collect()
        };
        (of("After"), of("Before"))
    } else {
        let of = |key: &str| -> Vec<f64> {
            row.inputs[key]
                .as_array()
                .unwrap()
                .iter()
                .map(|pair| pair[1].as_f64().unwrap() - pair[0].as_f64().unwrap())
                .collect()
        };
        (of("treated_before_after"), of("control_before_after"))
    };
    for (prefix, variances) in [("pooled_", Variances::Pooled), ("welch_", Variances::Welch)] {
        if let Some(q) = q.strip_prefix(prefix) {
            return Answer::of(t_value(&t_test::two_groups(&first, &second, variances, level).unwrap(), q));
        }
    }
    Answer::of(permutation_value(&permutation::two_groups(&first, &second).unwrap(), q))
}
