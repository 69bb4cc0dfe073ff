//! A weekly report that is ended by SIGTERM: it ends at once, and leaves neither half a report nor anything
//! else behind.
#![cfg(unix)]

use std::path::Path;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

use super::{WEEKLY, place_with_lake};
use crate::workplace::Workplace;

/// A second of grace, and what a machine with other work may take on top.
const AT_ONCE: Duration = Duration::from_secs(5);

fn entries(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect()
}

/// Ends the run with SIGTERM; answers its code and how long it took to end.
fn terminate(mut child: Child) -> (Option<i32>, Duration) {
    let began = Instant::now();
    let sent = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
    (child.wait().expect("it ends").code(), began.elapsed())
}

#[test]
fn a_weekly_that_is_ended_while_it_reckons_or_writes_leaves_nothing_behind() {
    let undisturbed = place_with_lake();
    assert!(
        undisturbed
            .start(&WEEKLY)
            .wait()
            .expect("it ends")
            .success()
    );
    let whole = entries(&undisturbed.path().join("reports/2026-W26")).len();
    let told = |place: &Workplace| place.sql(&[], "SELECT vin FROM lake.risk_week").len();
    for is_writing in [false, true] {
        let place = place_with_lake();
        let mut child = place.start(&WEEKLY);
        let reports = place.path().join("reports");
        if is_writing {
            while entries(&reports).is_empty() && child.try_wait().expect("known").is_none() {
                std::thread::yield_now();
            }
        } else {
            std::thread::sleep(Duration::from_millis(300));
        }
        let (code, took) = terminate(child);
        // One that was done in the meantime has nothing to leave behind either.
        assert!(matches!(code, Some(143 | 0)), "{code:?}");
        assert!(is_writing || code == Some(143), "it was done at once");
        assert!(took < AT_ONCE, "it took {took:?}");
        let left = entries(&reports);
        let finished = ["2026-W26", "index.html", "latest"];
        assert!(
            left.iter().all(|name| finished.contains(&name.as_str())),
            "{left:?}"
        );
        if !left.is_empty() {
            assert_eq!(entries(&reports.join("2026-W26")).len(), whole);
        }
        let rows = told(&place);
        assert!(rows == 0 || rows == told(&undisturbed), "{rows} rows");
    }
}

#[test]
fn what_a_killed_weekly_left_beside_the_reports_is_removed_by_a_later_one() {
    let place = place_with_lake();
    let old = place.write("reports/.voltwane-report-killed/report.md", "half");
    let new = place.write("reports/.voltwane-report-running/report.md", "half");
    let folder = std::fs::File::open(old.parent().expect("a folder")).expect("a folder");
    let long_ago = std::time::SystemTime::now() - Duration::from_secs(2 * 86_400);
    folder.set_modified(long_ago).expect("its time can be set");
    assert!(place.start(&WEEKLY).wait().expect("it ends").success());
    assert!(!old.exists() && new.exists());
}
