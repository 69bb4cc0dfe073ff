//! Whole commands as a user meets them: exit code, stdout, stderr, at a pinned present.

mod bad_input;
mod catalogue;
mod closed_pipe;
mod edges_of_time;
mod exit_codes;
mod interrupted;
mod limits;
mod load;
mod sample;
mod screening;
mod settings;
mod sql;
mod weekly;

use std::process::Output;
use std::sync::OnceLock;

use crate::workplace::Workplace;

/// A small invented fleet's dumps and its loaded lake, made once for the tests that only read it.
pub fn small_fleet() -> &'static Workplace {
    static PLACE: OnceLock<Workplace> = OnceLock::new();
    PLACE.get_or_init(|| {
        let place = Workplace::new();
        place.run_expecting(
            0,
            &[
                "synthesize",
                "--vehicles",
                "60",
                "--weeks",
                "80",
                "--seed",
                "11",
                "--out",
                "dumps",
            ],
        );
        place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
        place
    })
}

/// The command's exit code, stdout and stderr as one text.
pub fn shown(output: &Output) -> String {
    format!(
        "exit code {}\n-- stdout\n{}-- stderr\n{}",
        output
            .status
            .code()
            .map_or_else(|| "none".to_owned(), |code| code.to_string()),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// A report in the folder `reports` of a place with a lake.
pub const WEEKLY: [&str; 7] = [
    "weekly",
    "--lake",
    "lake",
    "--as-of",
    "2026-06-28",
    "--out",
    "reports",
];

/// Copies the small fleet's lake into a place of the test's own.
pub fn place_with_lake() -> Workplace {
    let place = Workplace::new();
    copy_folder(
        &small_fleet().path().join("lake"),
        &place.path().join("lake"),
    );
    place
}

pub fn copy_folder(from: &std::path::Path, to: &std::path::Path) {
    for entry in walkdir::WalkDir::new(from)
        .into_iter()
        .filter_map(Result::ok)
    {
        let inside = entry.path().strip_prefix(from).expect("below the folder");
        let target = to.join(inside);
        if entry.file_type().is_dir() {
            std::fs::create_dir_all(&target).expect("a folder can be made");
        } else {
            std::fs::copy(entry.path(), &target).expect("a file can be copied");
        }
    }
}

#[test]
fn help_says_what_each_command_does() {
    let place = Workplace::new();
    for command in ["load", "weekly", "sql", "check", "synthesize"] {
        let output = place.run(&[command, "--help"]);
        insta::assert_snapshot!(format!("help_{command}"), shown(&output));
    }
    insta::assert_snapshot!("help", shown(&place.run(&["--help"])));
}

#[test]
fn a_command_that_is_not_there_is_code_2() {
    let place = Workplace::new();
    assert_eq!(place.run(&["weakly"]).status.code(), Some(2));
    assert_eq!(place.run(&[]).status.code(), Some(2));
}
