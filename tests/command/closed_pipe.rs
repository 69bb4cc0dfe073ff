//! Nobody reads stdout any more, as in `voltwane … | head`: the work is done all the same.

use std::process::{Command, Output, Stdio};

use super::small_fleet;
use crate::workplace::{NOW, Workplace};

/// Runs the program with a stdout (and stderr, if wanted) whose reader has gone.
fn run_unread(place: &Workplace, arguments: &[&str], stderr_too: bool) -> Output {
    let closed = || {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        Stdio::from(writer)
    };
    Command::new(assert_cmd::cargo::cargo_bin("voltwane"))
        .current_dir(place.path())
        .env("VOLTWANE_NOW", NOW)
        .args(arguments)
        .stdout(closed())
        .stderr(if stderr_too { closed() } else { Stdio::piped() })
        .spawn()
        .and_then(|child| child.wait_with_output())
        .expect("the program runs")
}

#[track_caller]
fn assert_quiet(output: &Output, code: i32) {
    let stderr = String::from_utf8_lossy(&output.stderr);
    assert!(
        !stderr.contains("panicked") && !stderr.contains("pipe"),
        "{stderr}"
    );
    assert_eq!(output.status.code(), Some(code), "{stderr}");
}

#[test]
fn a_load_is_whole_and_keeps_its_exit_code() {
    let place = Workplace::new();
    let dumps = small_fleet().path().join("dumps");
    let dumps = dumps.to_str().expect("a path");
    for stderr_too in [false, true] {
        let lake = format!("lake-{stderr_too}");
        let output = run_unread(&place, &["load", "--lake", &lake, dumps], stderr_too);
        // Rows in quarantine are findings, read or not.
        assert_quiet(&output, 1);
        let rows = place.run_expecting(
            0,
            &[
                "sql",
                "--lake",
                &lake,
                "--format",
                "csv",
                "SELECT COUNT(*) > 100 AS whole FROM work_order",
            ],
        );
        assert_eq!(rows, "whole\ntrue\n");
    }
    assert_quiet(&run_unread(&place, &["load", "--try", dumps], false), 0);
}

#[test]
fn what_writes_files_writes_them() {
    let place = Workplace::new();
    let fleet = [
        "synthesize",
        "--vehicles",
        "5",
        "--weeks",
        "10",
        "--out",
        "dumps",
    ];
    assert_quiet(&run_unread(&place, &fleet, false), 0);
    assert!(place.path().join("dumps/mappings").is_dir());
    assert_quiet(&run_unread(&place, &["manual", "--out", "man"], false), 0);
    assert!(place.read("man/voltwane.1").contains("weekly"));
    for answer in [&["completions", "bash"][..], &["--help"]] {
        assert_quiet(&run_unread(&place, answer, false), 0);
    }
}
