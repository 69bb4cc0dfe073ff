//! `screen` with a seller's dumps: the facts are read beside the lake, and neither the run nor its
//! sudden end leaves a mark on the lake or anywhere else.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::os::unix::fs::MetadataExt;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::place_with_lake;
use crate::reports::planner::table;
use crate::workplace::{NOW, Workplace};

/// A vehicle that the small fleet does not have.
const SELLERS: &str = "GB6HD4H2XRK000999";

/// A lake, a list, a seller's test and an empty folder for temporary files.
fn place() -> Workplace {
    let place = place_with_lake();
    place.write("list.csv", format!("vin\n{SELLERS}\n"));
    place.write(
        "seller/tests.csv",
        format!(
            "vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,rated_value,rated_standard,chemistry\n\
             {SELLERS},main,2026-06-20 10:00:00,12.7,100,CCA EN,600,EN,flooded\n"
        ),
    );
    std::fs::create_dir(place.path().join("tmp")).expect("a folder can be made");
    place
}

/// Starts the screening from a shell that first does `before`; the program keeps the shell's number.
fn start(place: &Workplace, before: &str) -> Child {
    let program = assert_cmd::cargo::cargo_bin("voltwane");
    let script = format!(
        "{before}\nexec '{}' screen --lake lake list.csv seller/tests.csv --as-of 2026-06-28",
        program.display()
    );
    Command::new("sh")
        .args(["-c", &script])
        .current_dir(place.path())
        .env("TMPDIR", place.path().join("tmp"))
        .env("VOLTWANE_NOW", NOW)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts")
}

/// Every file below the lake with what it holds and how many names it has.
fn files_of(folder: &Path) -> BTreeMap<String, (Vec<u8>, u64)> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|entry| entry.expect("an entry"))
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let about = entry.metadata().expect("about the file");
            let held = std::fs::read(entry.path()).expect("the file");
            let name = entry.path().display().to_string();
            (name, (held, about.nlink()))
        })
        .collect()
}

fn entries(folder: &Path) -> Vec<String> {
    std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect()
}

/// Waits until the screening has made its temporary folder; answers the folder's name.
fn temporary_folder(place: &Workplace) -> String {
    let started = Instant::now();
    while started.elapsed() < Duration::from_secs(60) {
        if let Some(name) = entries(&place.path().join("tmp")).pop() {
            return name;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    panic!("no temporary folder was made");
}

fn send(signal: &str, child: &Child) {
    let sent = Command::new("kill")
        .args([&format!("-{signal}"), &child.id().to_string()])
        .status()
        .expect("kill runs");
    assert!(sent.success());
}

#[test]
fn a_sellers_facts_are_read_and_the_lake_is_as_it_was() {
    let place = place();
    let before = files_of(&place.path().join("lake"));
    assert!(!before.is_empty());
    let status = start(&place, "").wait().expect("an end");
    assert_eq!(status.code(), Some(0));
    let rows = table(&place, "reports/screen-2026-06-28/screening.csv");
    assert_eq!(rows.len(), 1);
    assert!(
        rows[0]["battery_test"].contains("on 2026-06-20"),
        "{rows:?}"
    );
    assert!(files_of(&place.path().join("lake")) == before);
    assert!(before.values().all(|(_, names)| *names == 1));
    assert_eq!(entries(&place.path().join("tmp")), Vec::<String>::new());
    let known = place.sql(
        &[],
        &format!("SELECT vin FROM lake.battery_test WHERE vin = '{SELLERS}'"),
    );
    assert!(known.is_empty(), "{known:?}");
}

/// A fact that the lake has already counts once, whoever brings it again.
#[test]
fn what_the_lake_has_is_not_doubled_by_the_sellers_dumps() {
    let place = place();
    let tests = place.run_expecting(
        0,
        &[
            "sql",
            "--lake",
            "lake",
            "--format",
            "csv",
            "SELECT vin, tested_at, position, measured_value, measured_kind, rest_voltage_v, temperature_c,
                    surface_charge_removed, load_current_a, load_seconds, rated_value, rated_standard, chemistry,
                    date_code, source_verdict, shop, technician
             FROM lake.battery_test WHERE position = 'main' ORDER BY vin, tested_at",
        ],
    );
    let vin = tests
        .lines()
        .nth(1)
        .and_then(|line| line.split(',').next())
        .expect("a test")
        .to_owned();
    place.write("list.csv", format!("{vin}\n"));
    let screened = |dumps: &[&str]| {
        let mut all = vec!["screen", "--lake", "lake", "list.csv"];
        all.extend(dumps);
        all.extend(["--as-of", "2026-06-28"]);
        place.run_expecting(0, &all);
        place.read("reports/screen-2026-06-28/screen.md")
    };
    let alone = screened(&[]);
    place.write("again.csv", &tests);
    assert_eq!(screened(&["again.csv"]), alone);
}

/// Somebody foresees a folder's name and puts links there: to the lake's own files, and to a file of
/// the victim.
#[test]
fn a_folder_that_lies_in_wait_is_not_used() {
    let place = place();
    place.write("precious.txt", "precious");
    let before = files_of(&place.path().join("lake"));
    let trap = "d=\"$TMPDIR/voltwane-screen-$$\"; mkdir \"$d\"; \
                (cd lake; find . -type d -exec mkdir -p \"$d/{}\" \\;; find . -type f -exec ln {} \"$d/{}\" \\;); \
                ln -sf \"$PWD/precious.txt\" \"$d/voltwane.toml\"";
    let status = start(&place, trap).wait().expect("an end");
    assert_eq!(status.code(), Some(0));
    let contents = |files: BTreeMap<String, (Vec<u8>, u64)>| -> BTreeMap<String, Vec<u8>> {
        files
            .into_iter()
            .map(|(name, (held, _))| (name, held))
            .collect()
    };
    let after = files_of(&place.path().join("lake"));
    assert!(
        after.values().all(|(_, names)| *names == 2),
        "no trap was set"
    );
    assert!(contents(after) == contents(before));
    assert_eq!(place.read("precious.txt"), "precious");
}

#[test]
fn an_interrupted_screening_leaves_nothing_behind() {
    for (signal, code) in [("INT", 130), ("TERM", 143)] {
        let place = place();
        let before = files_of(&place.path().join("lake"));
        let mut child = start(&place, "");
        temporary_folder(&place);
        send(signal, &child);
        let status = child.wait().expect("an end");
        assert_eq!(status.code(), Some(code), "{signal}");
        assert_eq!(
            entries(&place.path().join("tmp")),
            Vec::<String>::new(),
            "{signal}"
        );
        assert!(files_of(&place.path().join("lake")) == before, "{signal}");
    }
}

/// Nothing can be cleaned up then, but what is left is the seller's facts alone, for nobody else to see.
#[test]
fn a_killed_screening_leaves_the_lake_as_it_was() {
    let place = place();
    let before = files_of(&place.path().join("lake"));
    let mut child = start(&place, "");
    let name = temporary_folder(&place);
    assert!(!name.contains(&child.id().to_string()), "{name}");
    let left = place.path().join("tmp").join(&name);
    let about = std::fs::metadata(&left).expect("the folder");
    assert_eq!(about.permissions().mode() & 0o777, 0o700);
    send("KILL", &child);
    child.wait().expect("an end");
    assert!(files_of(&place.path().join("lake")) == before);
    let status = start(&place, "").wait().expect("an end");
    assert_eq!(status.code(), Some(0));
    assert!(files_of(&place.path().join("lake")) == before);
}
