//! The twelve photographs that come with the source are whole, small and marked as rendered.

use std::collections::BTreeSet;
use std::path::Path;

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images").join(name);
    csv::Reader::from_path(path).unwrap().records().map(Result::unwrap).collect()
}

#[test]
fn the_sheet_names_twelve_rendered_photographs_of_under_6_mb() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images");
    let sheet = rows("samples.csv");
    assert_eq!(sheet.len(), 12);
    let mut bytes = 0;
    for row in &sheet {
        let file = std::fs::read(folder.join(&row[0])).unwrap();
        bytes += file.len();
        let exif = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(&file)).unwrap();
        let says = exif.get_field(exif::Tag::ImageDescription, exif::In::PRIMARY).unwrap();
        assert!(says.display_value().to_string().contains("Rendered"), "{}", &row[0]);
    }
    assert!(bytes < 6_000_000, "{bytes}");
    let tanks: BTreeSet<&str> = sheet.iter().map(|r| &r[1]).collect();
    assert_eq!(tanks, BTreeSet::from(["P02", "P05", "P08", "P11"]));
    for kind in ["light-pad", "dark-dish", "pale-tray", "microscope"] {
        assert!(sheet.iter().any(|r| r[0].contains(kind)), "{kind}");
    }
}

#[test]
fn the_truth_shows_two_tanks_whose_sprayer_fails() {
    let truth = rows("truth.csv");
    let share = |tank: &str| {
        let fish: Vec<_> = truth.iter().filter(|r| r[0].starts_with(tank)).collect();
        fish.iter().filter(|r| &r[3] == "yes").count() as f64 / fish.len() as f64
    };
    assert!(share("P02") > 0.7 && share("P11") > 0.7);
    assert!(share("P05") < 0.4 && share("P08") < 0.4);
}

#[test]
fn fish_on_their_sides_are_seen_on_their_sides() {
    use frygauge::pipeline::{Settings, score};
    use frygauge::records::View;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images");
    let truth = rows("truth.csv");
    let options = frygauge::scale::Options::default();
    let settings =
        Settings { model: frygauge::bladder::Model::standard().unwrap(), scale: &options, strips: false };
    let place = |row: &csv::StringRecord| [7, 8].map(|i| row[i].parse::<f64>().unwrap());
    let (mut side, mut right) = (0, 0);
    for row in rows("samples.csv") {
        let bytes = std::fs::read(folder.join(&row[0])).unwrap();
        let photo = frygauge::photo::decode(&bytes, &row[0]).unwrap();
        let scored = score(&photo, &settings);
        // Under every light: a dark ground and a pupil are alike dark.
        assert!(scored.advice.iter().all(|a| a.rule != "not_on_their_side"), "{}", &row[0]);
        for fish in scored.fish.iter().map(|f| &f.fish) {
            let gap = |t: &&csv::StringRecord| {
                let [x, y] = place(t);
                (fish.midline[0][0] - x).hypot(fish.midline[0][1] - y)
            };
            let own = truth.iter().filter(|t| t[0] == row[0]).min_by(|a, b| gap(a).total_cmp(&gap(b)));
            if own.is_some_and(|t| gap(&t) < 40.0 && &t[6] == "side") {
                side += 1;
                right += usize::from(fish.view == View::Side);
            }
        }
    }
    assert!(side > 60 && right * 20 >= side * 19, "{right} of {side}");
}
