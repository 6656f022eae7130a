use super::*;

fn samples(rows: &[(&str, u64, u64)]) -> Vec<TankSample> {
    let mut text = String::from("tank,date,age_dph,called,inflated\n");
    for (tank, called, inflated) in rows {
        text += &format!("{tank},2026-04-29,9,{called},{inflated}\n");
    }
    TankSample::read(text.as_bytes()).unwrap()
}

fn design(rows: &[(&str, &str)]) -> Design {
    let mut text = String::from("tank,arm\n");
    for (tank, arm) in rows {
        text += &format!("{tank},{arm}\n");
    }
    Design::read(text.as_bytes()).unwrap()
}

/// Three tanks of 30 larvae an arm, reconstructed (not stated by the authors) from means and standard deviations in Kurata et al.
/// 2015, doi:10.1111/are.12277: film removed 5-19 h 26, 28, 29; 19-5 h 2, 3, 5 of 30. They report P < 0.001; Welch on the
/// reconstructed tanks gives t = 19.5, df 4, p = 4e-5.
#[test]
fn reconstructed_tuna_trial_agrees_with_its_reported_significance() {
    let s = samples(&[("a", 30, 26), ("b", 30, 28), ("c", 30, 29), ("d", 30, 2), ("e", 30, 3), ("f", 30, 5)]);
    let d =
        design(&[("d", "19-5"), ("e", "19-5"), ("f", "19-5"), ("a", "5-19"), ("b", "5-19"), ("c", "5-19")]);
    let c = compare(&s, &d, &Options::default()).unwrap();
    let contrast = &c.measures[0].contrasts[0];
    let t = contrast.t.unwrap();
    assert!((t.t - 19.5).abs() < 0.05 && (t.df - 4.0).abs() < 0.01 && t.p < 1e-3, "{t:?}");
    // Six tanks cannot give an exact p below .1, however far apart they are.
    let p = contrast.permutation.unwrap();
    assert_eq!((p.p, p.smallest_p), (0.1, 0.1));
}

/// Weil 1970 rats (aod): counting pups gives p = .003, litters p = .076 (Welch).
#[test]
fn counting_fish_would_manufacture_what_tanks_do_not_show() {
    let y = [
        [13, 12, 9, 9, 8, 8, 12, 11, 9, 9, 8, 11, 4, 5, 7, 7],
        [12, 11, 10, 9, 10, 9, 9, 8, 8, 4, 7, 4, 5, 3, 3, 0],
    ];
    let n = [
        [13, 12, 9, 9, 8, 8, 13, 12, 10, 10, 9, 13, 5, 7, 10, 10],
        [12, 11, 10, 9, 11, 10, 10, 9, 9, 5, 9, 7, 10, 6, 10, 7],
    ];
    let (mut table, mut arms) = (String::from("tank,called,inflated\n"), String::from("tank,arm\n"));
    for (i, arm) in ["treated", "control"].iter().enumerate() {
        let group = 1 - i;
        for k in 0..16 {
            table += &format!("{arm}{k},{},{}\n", n[group][k], y[group][k]);
            arms += &format!("{arm}{k},{arm}\n");
        }
    }
    let s = TankSample::read(table.as_bytes()).unwrap();
    let c = compare(&s, &Design::read(arms.as_bytes()).unwrap(), &Options::default()).unwrap();
    let t = c.measures[0].contrasts[0].t.unwrap();
    assert!((t.p - 0.0755).abs() < 1e-4 && (t.df - 19.29).abs() < 0.01);
    assert!(c.measures[0].design_effect.unwrap() > 2.0);
}

#[test]
fn one_tank_in_an_arm_is_described_without_interval_or_p() {
    let s = samples(&[("P01", 50, 45), ("P02", 50, 20), ("P03", 50, 25)]);
    let c = compare(&s, &design(&[("P01", "mid"), ("P02", "wall"), ("P03", "wall")]), &Options::default())
        .unwrap();
    let contrast = &c.measures[0].contrasts[0];
    assert!(contrast.t.is_none() && contrast.permutation.is_none());
    assert!(contrast.sentence.contains("one tank per treatment"), "{}", contrast.sentence);
    assert!(c.measures[0].arms[0].interval.is_none());
}

#[test]
fn the_sentence_says_points_limits_and_tanks() {
    let s =
        samples(&[("a", 50, 46), ("b", 50, 44), ("c", 50, 47), ("d", 50, 30), ("e", 50, 26), ("f", 50, 35)]);
    let d = design(&[("d", "wall"), ("e", "wall"), ("f", "wall"), ("a", "mid"), ("b", "mid"), ("c", "mid")]);
    let c = compare(&s, &d, &Options::default()).unwrap();
    insta::assert_snapshot!(c.measures[0].contrasts[0].sentence,
        @"Tanks of arm mid inflated 31 points more than tanks of arm wall, 95 % interval 11 to 51, 3 tanks an arm.");
}

#[test]
fn a_loss_is_said_with_limits_of_the_loss() {
    let s =
        samples(&[("a", 50, 46), ("b", 50, 44), ("c", 50, 47), ("d", 50, 30), ("e", 50, 26), ("f", 50, 35)]);
    let d = design(&[("a", "mid"), ("b", "mid"), ("c", "mid"), ("d", "wall"), ("e", "wall"), ("f", "wall")]);
    let c = compare(&s, &d, &Options::default()).unwrap();
    insta::assert_snapshot!(c.measures[0].contrasts[0].sentence,
        @"Tanks of arm wall inflated 31 points less than tanks of arm mid, 95 % interval 11 to 51, 3 tanks an arm.");
}

#[test]
fn all_or_none_inflated_and_ties_give_no_interval_of_no_width() {
    for inflated in [0, 50] {
        let s =
            samples(&[("a", 50, inflated), ("b", 50, inflated), ("c", 50, inflated), ("d", 50, inflated)]);
        let d = design(&[("a", "x"), ("b", "x"), ("c", "y"), ("d", "y")]);
        let c = compare(&s, &d, &Options::default()).unwrap();
        let contrast = &c.measures[0].contrasts[0];
        assert!(
            contrast.t.is_none() && contrast.refusal.as_ref().unwrap().contains("no tank-to-tank variation")
        );
        assert_eq!(contrast.permutation.unwrap().p, 1.0);
        assert!(c.measures[0].arms[0].refusal.is_some());
    }
}

#[test]
fn zero_fish_and_a_million_fish_do_no_harm() {
    let s = samples(&[
        ("a", 0, 0),
        ("b", 1_000_000, 999_999),
        ("c", 1_000_000, 500_000),
        ("d", 50, 20),
        ("e", 50, 30),
    ]);
    let d = design(&[("a", "x"), ("b", "x"), ("c", "x"), ("d", "y"), ("e", "y")]);
    let c = compare(&s, &d, &Options::default()).unwrap();
    assert!(c.warnings.iter().any(|w| w.contains("tank a has no called fish")));
    assert_eq!(c.measures[0].arms[0].tanks, 2);
    let json = serde_json::to_string(&c).unwrap();
    assert!(!json.contains("NaN") && !json.contains("inf\""));
}

#[test]
fn unknown_tanks_empty_arms_and_missing_dates_are_named() {
    let s = samples(&[("P01", 50, 45), ("P02", 50, 20)]);
    let e = compare(&s, &design(&[("P01", "a"), ("P09", "b")]), &Options::default()).unwrap_err();
    assert_eq!((e.row, e.column.as_deref()), (Some(3), Some("tank")));
    assert!(e.hint.contains("P01, P02"));
    let d =
        Design::read("tank,arm,before,after\nP01,a,2026-04-25,2026-04-29\nP02,b,,2026-04-29\n".as_bytes())
            .unwrap();
    let e = compare(&s, &d, &Options::default()).unwrap_err();
    assert!(e.what.contains("arm a has no tank with a sample"), "{e:?}");
    let e = Design::read("tank,arm,before\nP01,a,2026-04-25\n".as_bytes()).unwrap_err();
    assert!(e.what.contains("none after"));
    let e = compare(&s, &design(&[("P01", "a"), ("P02", "a")]), &Options::default()).unwrap_err();
    assert!(e.what.contains("one arm"));
    let twice = [samples(&[("P01", 5, 4)]), samples(&[("P01", 5, 4)])].concat();
    assert!(
        compare(&twice, &design(&[("P01", "a")]).with_order(&["a".into()]).unwrap(), &Options::default())
            .is_err()
    );
}

#[test]
fn hand_made_tables_are_refused_with_row_and_column() {
    for (table, column) in [
        ("tank,called,inflated\nP01,NaN,3\n", "called"),
        ("tank,called,inflated\nP01,5,6\n", "inflated"),
        ("tank,called,inflated\nP01,5,2.5\n", "inflated"),
        ("tank,called,inflated\nP01,-5,2\n", "called"),
        ("tank,called,inflated,mean_length_mm\nP01,5,2,inf\n", "mean_length_mm"),
        ("tank,called,inflated,date\nP01,5,2,yesterday\n", "date"),
        ("tank,called,inflated\n,5,2\n", "tank"),
    ] {
        let e = TankSample::read(table.as_bytes()).unwrap_err();
        assert_eq!((e.row, e.column.as_deref()), (Some(2), Some(column)), "{table}");
        assert!(!e.hint.is_empty());
    }
    assert!(TankSample::read("tank,called\nP01,5\n".as_bytes()).is_err());
}

fn dated(rows: &[(&str, &str, u64)]) -> Vec<TankSample> {
    let mut text = String::from("tank,date,age_dph,called,inflated\n");
    for (tank, date, inflated) in rows {
        let age = if *date == "2026-04-25" { 5 } else { 9 };
        text += &format!("{tank},{date},{age},100,{inflated}\n");
    }
    TankSample::read(text.as_bytes()).unwrap()
}

/// Three tanks an arm before and after, as in the reference rows (syn-baci-tanks): scipy gives a pooled difference .18667, p .0311.
#[test]
fn before_after_control_compares_the_changes() {
    let (b, a) = ("2026-04-25", "2026-04-29");
    let s = dated(&[
        ("t1", b, 20),
        ("t1", a, 85),
        ("t2", b, 25),
        ("t2", a, 88),
        ("t3", b, 15),
        ("t3", a, 90),
        ("c1", b, 22),
        ("c1", a, 70),
        ("c2", b, 18),
        ("c2", a, 75),
        ("c3", b, 24),
        ("c3", a, 66),
    ]);
    let mut text = String::from("tank,arm,before,after\n");
    for t in ["c1", "c2", "c3", "t1", "t2", "t3"] {
        let arm = if t.starts_with('c') { "left alone" } else { "moved" };
        text += &format!("{t},{arm},{b},{a}\n");
    }
    let d = Design::read(text.as_bytes()).unwrap();
    assert_eq!(d.kind(), Kind::BeforeAfterControl);
    let options = Options { variances: Variances::Pooled, ..Options::default() };
    let c = compare(&s, &d, &options).unwrap();
    let t = c.measures[0].contrasts[0].t.unwrap();
    assert!((t.difference - 0.186666666667).abs() < 1e-9 && (t.p - 0.0310677374).abs() < 1e-8);
    assert!(c.measures[0].contrasts[0].sentence.contains("rose 19 points more in arm moved"));
    assert!(!c.warnings.iter().any(|w| w.contains("ages differ")));

    // The same without controls: age is named as the other explanation, and the sign-flip floor of three tanks is .25.
    let only: Vec<TankSample> = s.iter().filter(|s| s.tank.starts_with('t')).cloned().collect();
    let d = Design::read("tank,arm,before,after\nt1,moved,2026-04-25,2026-04-29\nt2,moved,2026-04-25,2026-04-29\nt3,moved,2026-04-25,2026-04-29\n".as_bytes()).unwrap();
    let c = compare(&only, &d, &Options::default()).unwrap();
    assert_eq!(c.measures[0].contrasts[0].permutation.unwrap().smallest_p, 0.25);
    assert!(c.warnings.iter().any(|w| w.contains("cannot be told from age")));
}

#[test]
fn doses_have_a_trend_with_the_smallest_p_it_can_reach() {
    let s =
        samples(&[("a", 50, 5), ("b", 50, 8), ("c", 50, 30), ("d", 50, 33), ("e", 50, 46), ("f", 50, 44)]);
    let d = design(&[("a", "none"), ("b", "none"), ("c", "wall"), ("d", "wall"), ("e", "mid"), ("f", "mid")])
        .with_order(&["none".into(), "wall".into(), "mid".into()])
        .unwrap();
    let c = compare(&s, &d, &Options::default()).unwrap();
    let t = c.measures[0].trend.as_ref().unwrap();
    // 6!/(2!2!2!) = 90 orders; the reversed one ties.
    assert_eq!((t.permutation.arrangements, t.permutation.smallest_p), (90, 2.0 / 90.0));
    assert!(t.slope > 0.3 && t.sentence.contains("a step from arm none to arm mid"));
    assert!(design(&[("a", "none")]).with_order(&["wall".into()]).is_err());
}

#[test]
fn what_else_differs_is_warned_about() {
    let s = TankSample::read(
        "tank,age_dph,called,inflated,model,dip_depth\na,9,50,40,m1,top\nb,9,50,41,m1,top\nc,11,50,42,m2,bottom\nd,11,50,45,m2,bottom\n"
            .as_bytes(),
    )
    .unwrap();
    let d = design(&[("a", "x"), ("b", "x"), ("c", "y"), ("d", "y")]);
    let c = compare(&s, &d, &Options::default()).unwrap();
    for word in ["ages differ", "different depths", "different models", "survivors only", "2 tanks"] {
        assert!(c.warnings.iter().any(|w| w.contains(word)), "{word}: {:?}", c.warnings);
    }
}

#[test]
fn survival_counts_give_viability() {
    let s = samples(&[("a", 50, 45), ("b", 50, 46), ("c", 50, 48), ("d", 50, 49)]);
    let d = Design::read(
        "tank,arm,stocked,alive\na,x,3000,1500\nb,x,3000,1600\nc,y,3000,300\nd,y,3000,400\n".as_bytes(),
    )
    .unwrap();
    let c = compare(&s, &d, &Options::default()).unwrap();
    let v = c.measures.iter().find(|m| m.measure == Measure::Viability).unwrap();
    // Inflation is higher in y, yet far fewer fry live with a full bladder.
    assert!(c.measures[0].contrasts[0].difference > 0.0 && v.contrasts[0].difference < -0.3);
    assert!(!c.warnings.iter().any(|w| w.contains("survivors only")));
}

#[test]
fn blocks_pair_the_arms_and_unsure_fish_bound_the_difference() {
    let s = TankSample::read(
        "tank,called,inflated,unsure\na,40,30,10\nb,50,40,0\nc,50,38,0\nd,40,36,10\ne,50,46,0\nf,50,47,0\n"
            .as_bytes(),
    )
    .unwrap();
    let arms = "tank,arm,block\na,x,1\nb,x,2\nc,x,3\nd,y,1\ne,y,2\nf,y,3\n";
    let c = compare(&s, &Design::read(arms.as_bytes()).unwrap(), &Options::default()).unwrap();
    let contrast = &c.measures[0].contrasts[0];
    assert_eq!((contrast.unit, contrast.units.0, contrast.t.unwrap().df), ("block", 3, 2.0));
    let plain = arms.replace(",block", "").replace(",1", "").replace(",2", "").replace(",3", "");
    let c = compare(&s, &Design::read(plain.as_bytes()).unwrap(), &Options::default()).unwrap();
    let bounds = c.measures[0].contrasts[0].unsure_bounds.unwrap();
    // By hand: y with its ten taken for not inflated (.72) against x with its ten inflated (.80), and the reverse.
    let x = |a: f64| (a + 0.8 + 0.76) / 3.0;
    let y = |d: f64| (d + 0.92 + 0.94) / 3.0;
    assert!(
        (bounds.low - (y(0.72) - x(0.8))).abs() < 1e-12 && (bounds.high - (y(0.92) - x(0.6))).abs() < 1e-12
    );
}
