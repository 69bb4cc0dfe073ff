//! Repeatable bytes, bearable sizes, refused knobs.

use std::collections::BTreeMap;
use std::path::Path;

use voltwane::synthetic::{Scenario, SyntheticError, write_dumps};

use super::{DEMO, Fleet, Row};
use crate::workplace::bytes_below;

#[test]
fn the_same_seed_writes_the_same_bytes() {
    let scenario = Scenario::new(60, 60, 3);
    let (one, other) = (Fleet::write(&scenario), Fleet::write(&scenario));
    let (one, other) = (
        bytes_below(one.folder.path()),
        bytes_below(other.folder.path()),
    );
    assert!(one.len() > 40, "{} files", one.len());
    assert!(one == other);
}

/// The committed sample is what the smooth world with plain records has always written.
#[test]
fn the_sample_is_written_byte_for_byte() {
    let sample = bytes_below(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-lake/dumps"));
    let mut demo = bytes_below(DEMO.folder.path());
    demo.remove("truth.csv");
    assert!(sample.len() > 40, "{} files", sample.len());
    assert!(sample.keys().eq(demo.keys()));
    for (name, bytes) in &sample {
        assert!(demo[name] == *bytes, "{name} differs");
    }
}

#[test]
fn another_seed_writes_another_fleet() {
    let one = bytes_below(Fleet::write(&Scenario::new(60, 60, 3)).folder.path());
    let other = bytes_below(Fleet::write(&Scenario::new(60, 60, 4)).folder.path());
    for folder in [
        "register/north",
        "tests/mervane",
        "scans/tolbrax",
        "orders/corlund",
        "weather/",
    ] {
        let start = |files: &BTreeMap<String, Vec<u8>>| {
            files
                .iter()
                .find(|(name, _)| name.starts_with(folder))
                .map(|(_, bytes)| bytes.clone())
        };
        assert!(
            start(&one).is_some() && start(&one) != start(&other),
            "{folder} is the same"
        );
    }
}

#[test]
fn a_vehicle_does_not_depend_on_how_many_others_there_are() {
    let few = Fleet::write(&Scenario::new(30, 80, 5));
    let many = Fleet::write(&Scenario::new(90, 80, 5));
    let (few, many): (&[Row], &[Row]) = (few.truth("battery"), many.truth("battery"));
    assert!(few.len() >= 25, "{} lives", few.len());
    assert_eq!(few, &many[..few.len()]);
}

#[test]
fn the_demo_fleet_is_small() {
    let dumps: u64 = bytes_below(DEMO.folder.path())
        .iter()
        .filter(|(name, _)| name.as_str() != "truth.csv")
        .map(|(_, bytes)| bytes.len() as u64)
        .sum();
    assert!((1_000_000..6_000_000).contains(&dumps), "{dumps} bytes");
    let told = DEMO.summary.bytes as f64 / dumps as f64;
    assert!(
        (0.9..1.1).contains(&told),
        "the summary says {} of {dumps} bytes",
        DEMO.summary.bytes
    );
}

#[test]
fn the_truth_is_written_only_when_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    write_dumps(
        &Scenario::new(5, 10, 1),
        folder.path(),
        false,
        &mut |_, _| {},
    )
    .expect("a fleet");
    assert!(folder.path().join("mappings/corlund-tests.toml").exists());
    assert!(!folder.path().join("truth.csv").exists());
}

#[test]
fn progress_counts_the_vehicles() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut told = Vec::new();
    let scenario = Scenario::new(4, 10, 1);
    write_dumps(&scenario, folder.path(), false, &mut |done, all| {
        told.push((done, all))
    })
    .expect("a fleet");
    assert_eq!(told, [(1, 4), (2, 4), (3, 4), (4, 4)]);
}

#[test]
fn the_smallest_fleet_is_written() {
    let fleet = Fleet::write(&Scenario::new(1, 1, 1));
    assert_eq!(fleet.summary.vehicles, 1);
    assert!(
        fleet.summary.rows["depot_weather"] >= 7 * 8,
        "{:?}",
        fleet.summary.rows
    );
}

#[test]
fn knobs_out_of_range_are_refused_by_name() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused =
        |scenario: Scenario| match write_dumps(&scenario, folder.path(), false, &mut |_, _| {}) {
            Err(SyntheticError::Knob { knob, .. }) => knob,
            other => panic!("{other:?}"),
        };
    let fleet = || Scenario::new(10, 10, 1);
    assert_eq!(refused(Scenario::new(0, 10, 1)), "vehicles");
    assert_eq!(refused(Scenario::new(10, 0, 1)), "weeks");
    assert_eq!(
        refused(Scenario {
            flood_size_factor: f64::NAN,
            ..fleet()
        }),
        "flood_size_factor"
    );
    assert_eq!(
        refused(Scenario {
            shop_habit_factor: -1.0,
            ..fleet()
        }),
        "shop_habit_factor"
    );
    assert_eq!(
        refused(Scenario {
            scan_breadth_factor: 0.0,
            ..fleet()
        }),
        "scan_breadth_factor"
    );
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let blocked = folder.path().join("blocked");
    std::fs::write(&blocked, "a file, not a folder").expect("a file");
    let error =
        write_dumps(&Scenario::new(1, 1, 1), &blocked, true, &mut |_, _| {}).expect_err("refused");
    assert!(error.to_string().contains("blocked"), "{error}");
}
