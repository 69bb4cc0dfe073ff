//! A lake that cannot be written, for want of room or of leave: a clear line, nothing half done, and the
//! same command goes through once it can be written.
#![cfg(unix)]

use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output};

use super::releases::{contents, first_release};
use crate::workplace::{NOW, Workplace, bytes_below};

const LOAD: &str = "load --lake lake dumps";

/// Runs the program from a shell that first does `before`.
fn run_after(place: &Workplace, before: &str, arguments: &str, uid: Option<u32>) -> Output {
    let program = assert_cmd::cargo::cargo_bin("voltwane");
    let mut shell = Command::new("sh");
    shell
        .args([
            "-c",
            &format!("{before}\nexec '{}' {arguments}", program.display()),
        ])
        .current_dir(place.path())
        .env("VOLTWANE_NOW", NOW);
    if let Some(uid) = uid {
        shell.uid(uid);
    }
    shell.output().expect("the shell starts")
}

/// The room a file may take stands for the room on the disk: a write past it fails like one on a full disk.
#[test]
fn where_there_is_no_room_a_load_says_so_and_the_next_one_is_whole() {
    let undisturbed = first_release();
    undisturbed.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let expected = contents(&undisturbed);
    let mut told = 0;
    for blocks in [1, 4, 7, 10, 14] {
        let place = first_release();
        let before = contents(&place);
        let output = run_after(
            &place,
            &format!("trap '' XFSZ; ulimit -f {blocks}"),
            LOAD,
            None,
        );
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if output.status.code() == Some(2) {
            told += 1;
            let last = said.lines().last().unwrap_or_default();
            assert!(
                last.starts_with("voltwane: ") && last.contains("no room"),
                "{blocks}: {said}"
            );
            let now = contents(&place);
            assert!(
                before.iter().all(|row| now.contains(row)),
                "{blocks}: a fact is gone"
            );
        }
        place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
        assert_eq!(contents(&place), expected, "{blocks}");
    }
    assert!(told >= 2, "only {told} of the loads were short of room");
}

#[test]
fn a_lake_that_may_only_be_read_is_read_and_a_load_says_so() {
    let place = first_release();
    open_to_all(place.path(), false);
    // Whoever may do everything becomes somebody who may not.
    let probe = place.path().join("lake/probe");
    let uid = std::fs::write(&probe, "").is_ok().then_some(65_534);
    let _ = std::fs::remove_file(&probe);
    let before = bytes_below(&place.path().join("lake"));
    let query = "sql --lake lake 'SELECT COUNT(*) AS n FROM vehicle'";
    let output = run_after(&place, "", query, uid);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    for command in [LOAD, "unload --lake lake 2026-07-01T07:00:00.000000Z"] {
        let output = run_after(&place, "", command, uid);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{command}: {said}");
        let last = said.lines().last().unwrap_or_default();
        assert!(
            last.contains("only reading is allowed there"),
            "{command}: {said}"
        );
        assert!(
            bytes_below(&place.path().join("lake")) == before,
            "{command} changed the lake"
        );
    }
    open_to_all(place.path(), true);
}

/// Lets all read everything below a folder, and write it or not.
fn open_to_all(folder: &Path, writable: bool) {
    for entry in walkdir::WalkDir::new(folder)
        .contents_first(true)
        .into_iter()
        .flatten()
    {
        let mode = match (entry.file_type().is_dir(), writable) {
            (true, true) => 0o777,
            (true, false) => 0o555,
            (false, true) => 0o666,
            (false, false) => 0o444,
        };
        std::fs::set_permissions(entry.path(), std::fs::Permissions::from_mode(mode))
            .expect("ours");
    }
}
