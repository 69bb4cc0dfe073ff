//! The weekly report: the same week gives the same bytes and says it once.

use super::{place_with_lake, shown, small_fleet};

#[test]
fn the_same_week_twice_gives_the_same_bytes() {
    let place = place_with_lake();
    place.run_expecting(0, &["weekly", "--lake", "lake", "--out", "one"]);
    let said = place.sql(&[], "SELECT * FROM lake.risk_week ORDER BY row_hash");
    place.run_expecting(0, &["weekly", "--lake", "lake", "--out", "two"]);
    let files = |out: &str| {
        let root = place.path().join(out);
        let mut files: Vec<(String, Vec<u8>)> = walkdir::WalkDir::new(&root)
            .into_iter()
            .filter_map(Result::ok)
            .filter(|entry| entry.file_type().is_file())
            .map(|entry| {
                let name = entry
                    .path()
                    .strip_prefix(&root)
                    .expect("below")
                    .display()
                    .to_string();
                (name, std::fs::read(entry.path()).expect("readable"))
            })
            .collect();
        files.sort();
        files
    };
    let (one, two) = (files("one"), files("two"));
    assert!(one.iter().any(|(name, _)| name == "2026-W26/report.md"));
    assert!(one.iter().any(|(name, _)| name == "2026-W26/ranking.csv"));
    assert!(one.iter().any(|(name, _)| name.ends_with(".svg")));
    for ((name, one), (_, two)) in one.iter().zip(&two) {
        assert!(one == two, "{name} differs between two runs");
    }
    assert_eq!(one.len(), two.len());
    assert!(!said.is_empty());
    assert_eq!(
        place.sql(&[], "SELECT * FROM lake.risk_week ORDER BY row_hash"),
        said
    );
}

#[test]
fn a_report_of_the_future_is_refused() {
    let place = small_fleet();
    let output = place.run(&["weekly", "--lake", "lake", "--as-of", "2031-01-01"]);
    insta::assert_snapshot!(shown(&output));
}

#[test]
fn a_past_week_can_be_looked_back_from() {
    let place = place_with_lake();
    // The quarter that is foretold ends within the year.
    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2025-09-07"]);
    let report = place.read("reports/2025-W36/report.md");
    assert!(report.contains("2025-09-07"));
    assert!(
        !report.contains("2025-09-08"),
        "a day that had not come yet"
    );
    assert!(!report.contains("2026-"), "a year that had not come yet");
}
