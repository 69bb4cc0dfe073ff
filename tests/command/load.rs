//! Loading: every line is accounted for, nothing twice, nothing half.

use serde_json::Value;

use super::{copy_folder, small_fleet};
use crate::workplace::Workplace;

/// The rows of every fact table, without what names the load that brought them.
fn facts(place: &Workplace) -> Vec<(String, Vec<Value>)> {
    [
        "vehicle",
        "battery_test",
        "code_scan",
        "trouble_code",
        "work_order",
        "depot_weather",
        "quarantine",
    ]
    .into_iter()
    .map(|table| {
        let rows = place.sql(
            &[],
            &format!("SELECT * EXCEPT (load_id) FROM lake.{table} ORDER BY row_hash"),
        );
        (table.to_owned(), rows)
    })
    .collect()
}

fn log_totals(place: &Workplace) -> Vec<Value> {
    place.sql(
        &[],
        "SELECT file, SUM(rows_read) AS read, SUM(rows_added) AS added, \
         SUM(rows_already_there) AS already_there, SUM(rows_quarantined) AS quarantined \
         FROM load_log GROUP BY file ORDER BY file",
    )
}

#[test]
fn files_that_are_read_again_each_week_do_not_fill_the_log() {
    let place = Workplace::new();
    let weather = |depot: &str| format!("depot,day,mean_temperature_c\n{depot},2026-01-01,1\n");
    for depot in ["Yard", "Gate", "Dock"] {
        place.write(&format!("dumps/{depot}.csv"), weather(depot));
    }
    let load = || {
        place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
        log_totals(&place)
    };
    assert_eq!(load().len(), 3);
    let again = load();
    assert_eq!(again.len(), 4, "{again:?}");
    let together = again
        .iter()
        .find(|row| row["file"] == "3 files without anything new")
        .expect("one row for all");
    assert_eq!(together["already_there"], 3);
    place.write("dumps/Quay.csv", weather("Quay"));
    let with_new = load();
    assert_eq!(with_new.len(), 5, "{with_new:?}");
}

#[test]
fn every_line_read_is_added_or_known_or_quarantined() {
    let totals = log_totals(small_fleet());
    assert!(totals.len() > 30, "the fleet has many files");
    let mut quarantined = 0;
    for file in totals {
        let count = |name: &str| file[name].as_i64().expect("a count");
        assert_eq!(
            count("read"),
            count("added") + count("already_there") + count("quarantined"),
            "{file}"
        );
        quarantined += count("quarantined");
    }
    let kept = small_fleet().sql(
        &[],
        "SELECT COUNT(*) AS rows FROM quarantine WHERE row_loaded IS NOT TRUE",
    );
    assert_eq!(kept[0]["rows"].as_i64(), Some(quarantined));
}

#[test]
fn loading_again_adds_nothing() {
    let place = Workplace::new();
    copy_folder(small_fleet().path(), place.path());
    let before = facts(&place);
    let summary = place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let all = summary
        .lines()
        .find(|line| line.starts_with("| all "))
        .expect("a line of totals");
    let added = all.split('|').nth(4).map(str::trim);
    assert_eq!(added, Some("0"), "{all}");
    assert_eq!(facts(&place), before);
}

#[test]
fn an_overlapping_file_adds_only_what_is_new() {
    let header = "depot,day,mean_temperature_c,max_temperature_c\n";
    let place = Workplace::new();
    place.write(
        "a/weather.csv",
        format!("{header}Yard,2026-01-01,1,4\nYard,2026-01-02,2,5\n"),
    );
    place.write(
        "b/weather.csv",
        format!("{header}Yard,2026-01-02,2,5\nYard,2026-01-03,3,6\n"),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "a"]);
    let summary = place.run_expecting(0, &["load", "--lake", "lake", "b"]);
    insta::assert_snapshot!(summary);
    let days = place.sql(&[], "SELECT day FROM depot_weather ORDER BY day");
    assert_eq!(days.len(), 3);
}

#[test]
fn a_load_that_died_between_two_tables_is_made_whole_by_running_it_again() {
    let place = Workplace::new();
    copy_folder(small_fleet().path(), place.path());
    let whole = facts(&place);
    // As if it had died before these tables' commits: their data files are there, nothing names them.
    for table in ["work_order", "trouble_code", "quarantine", "load_log"] {
        let log = place.path().join("lake").join(table).join("_delta_log");
        std::fs::remove_file(log.join("00000000000000000001.json")).expect("the load's commit");
        for entry in std::fs::read_dir(&log).expect("a log").flatten() {
            // Checksums and hints of the commit that never was.
            if entry
                .file_name()
                .to_string_lossy()
                .starts_with("00000000000000000001")
            {
                std::fs::remove_file(entry.path()).expect("a file can be removed");
            }
        }
    }
    let half = place.sql(&[], "SELECT COUNT(*) AS rows FROM lake.work_order");
    assert_eq!(half[0]["rows"], 0);
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    assert_eq!(facts(&place), whole);
}

#[test]
fn a_killed_load_leaves_a_lake_that_can_be_loaded() {
    let place = Workplace::new();
    copy_folder(
        &small_fleet().path().join("dumps"),
        &place.path().join("dumps"),
    );
    let program = assert_cmd::cargo::cargo_bin("voltwane");
    let mut child = std::process::Command::new(program)
        .current_dir(place.path())
        .args(["load", "--lake", "lake", "dumps"])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the program starts");
    // Wait until it reads, then kill it: whatever it has done by then, the lake must be sound.
    let mut first = String::new();
    use std::io::BufRead;
    let stderr = child.stderr.take().expect("a pipe");
    std::io::BufReader::new(stderr)
        .read_line(&mut first)
        .expect("a line");
    assert!(first.starts_with("reading "), "{first}");
    child.kill().expect("it can be killed");
    child.wait().expect("it ends");
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    assert_eq!(facts(&place), facts(small_fleet()));
}
