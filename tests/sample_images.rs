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
