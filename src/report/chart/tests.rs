//! Charts say what they show, escape what users typed, and never draw a value that is none.

use super::*;

fn two_tanks() -> Chart {
    Chart::new("Inflation <by> tank", "P02 & P01 differ.").panel(
        Panel::new(Axis::categories("Tank", ["P01", "P<02>"]), Axis::percent("Inflated"))
            .points("a", [Point::new(0.0, 0.9).interval(0.8, 0.95), Point::new(1.0, 0.4).label("few fish")])
            .line("b", [Point::new(0.0, 0.5), Point::new(1.0, f64::NAN)])
            .level(0.8, "target"),
    )
}

#[test]
fn drawing_is_described_and_escaped() {
    let svg = two_tanks().to_svg();
    assert!(svg.contains("<title") && svg.contains("Inflation &lt;by&gt; tank"));
    assert!(svg.contains("<desc") && svg.contains("P02 &amp; P01 differ."));
    assert!(svg.contains("P&lt;02&gt;") && !svg.contains("P<02>"));
    assert!(!svg.contains("NaN") && !svg.contains("inf"));
}

#[test]
fn table_holds_every_number_drawn() {
    let table = two_tanks().table();
    assert_eq!(table.header, ["Series", "Tank", "Inflated", "Lower limit", "Upper limit", "Note"]);
    assert_eq!(table.rows[0], ["a", "P01", "90.0 %", "80.0 %", "95.0 %", ""]);
    assert_eq!(table.rows[1], ["a", "P<02>", "40.0 %", "", "", "few fish"]);
    assert_eq!(table.rows[2], ["b", "P01", "50.0 %", "", "", ""]);
    assert_eq!(table.rows[3], ["", "", "80.0 %", "", "", "target"]);
}

#[test]
fn histogram_counts_each_value_once() {
    let panel = Panel::new(Axis::number("Total length (mm)"), Axis::number("Fish")).histogram(
        "",
        0.5,
        &[5.0, 5.2, 5.5, 6.9, f64::NAN],
    );
    let bars: Vec<(f64, f64)> = panel.series[0].points.iter().map(|p| (p.x, p.y)).collect();
    assert_eq!(bars, [(5.25, 2.0), (5.75, 1.0), (6.75, 1.0)]);
}

#[test]
fn ticks_are_round_and_inside_the_range() {
    let axis = Axis::number("mm");
    let (low, high) = axis.range(4.3, 9.1);
    let words: Vec<String> = axis.ticks(low, high).into_iter().map(|t| t.1).collect();
    assert_eq!(words, ["4", "5", "6", "7", "8", "9", "10"]);
    let counts = Axis::counts("Fish");
    let words: Vec<String> = counts.ticks(0.0, 3.0).into_iter().map(|t| t.1).collect();
    assert_eq!(words, ["0", "1", "2", "3"], "no half fish");
    let days = Axis::days("Date", jiff::civil::date(2026, 4, 28));
    let words: Vec<String> = days.ticks(0.0, 4.0).into_iter().map(|t| t.1).collect();
    assert_eq!(words, ["04-28", "04-29", "04-30", "05-01", "05-02"]);
}

#[test]
fn empty_and_constant_series_still_draw() {
    let axes = || Panel::new(Axis::number("x"), Axis::number("y"));
    for panel in [axes(), axes().points("", []), axes().line("", [Point::new(3.0, 7.0)])] {
        let svg = Chart::new("t", "d").panel(panel).to_svg();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}
