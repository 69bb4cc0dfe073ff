//! A command that is killed at any moment and run again leaves what an undisturbed one leaves, and what
//! it leaves in between can be read: no fact lost, none doubled, no report torn.
//!
//! The short forms kill a few times. The long form, which prints what it counted:
//! `cargo test --test voltwane two_hundred_kills -- --ignored --nocapture`.

mod tries;

use std::time::{Duration, SystemTime};

use voltwane::lake::Lake;

use super::releases::first_release;
use super::{append_everywhere, lake_place};
use crate::command::WEEKLY;
use tries::{Moment, Victim};

const LOAD: [&str; 4] = ["load", "--lake", "lake", "dumps"];

/// A load into a new lake.
fn first_load() -> Victim {
    let place = first_release();
    std::fs::remove_dir_all(place.path().join("lake")).expect("removable");
    Victim::new("load", &LOAD, place)
}

/// A load into a lake of the first release, whose tables it brings up.
fn load_into_an_older_lake() -> Victim {
    Victim::new("load into an older lake", &LOAD, first_release())
}

/// A load after so many others that upkeep is due.
async fn load_with_upkeep(name: &'static str, loads_before: i32) -> Victim {
    let place = first_release();
    std::fs::remove_dir_all(place.path().join("lake")).expect("removable");
    for load in 0..loads_before {
        let mut lake = Lake::open_or_create(&lake_place(&place))
            .await
            .expect("a lake");
        // All of one year, that of most of the dumps.
        append_everywhere(&mut lake, 100 + 2 * load..102 + 2 * load).await;
    }
    // So long ago that what is left of it is cleared away.
    let long_ago = SystemTime::now() - Duration::from_secs(3 * 86_400);
    for entry in walkdir::WalkDir::new(place.path().join("lake"))
        .into_iter()
        .flatten()
    {
        if entry.file_type().is_file() {
            let file = std::fs::File::options().append(true).open(entry.path());
            file.and_then(|file| file.set_modified(long_ago))
                .expect("its time can be set");
        }
    }
    Victim::new(name, &LOAD, place)
}

/// Takes a load back, of three.
fn unload() -> Victim {
    let place = first_release();
    let load = [
        "load",
        "--lake",
        "lake",
        "--now",
        "2026-07-02T06:00:00Z",
        "dumps",
    ];
    place.run_expecting(1, &load);
    let first = ["unload", "--lake", "lake", "2026-07-01T07:00:00.000000Z"];
    Victim::new("unload", &first, place)
}

/// A report made anew for a week that has one, by other settings.
fn weekly() -> Victim {
    let place = first_release();
    place.run_expecting(0, &WEEKLY);
    place.write("other.toml", "[run]\nhorizon_days = 28\n");
    let other = [&WEEKLY[..], &["--config", "other.toml"]].concat();
    Victim::new("weekly", &other, place)
}

/// After each commit that the command makes.
fn after_each_commit(victim: &Victim) -> Vec<Moment> {
    (1..=victim.commits()).map(Moment::Commits).collect()
}

#[test]
fn a_load_killed_a_few_times_and_run_again_is_whole() {
    let load = first_load();
    load.kill(&load.moments(6, 60), 3).assert_harmless();
    let commits = after_each_commit(&load);
    let few: Vec<Moment> = commits.into_iter().step_by(4).collect();
    load.kill(&few, 1).assert_harmless();
}

#[test]
fn a_load_taken_back_in_part_is_taken_back_whole_by_the_next_try() {
    let unload = unload();
    let commits = after_each_commit(&unload);
    let few: Vec<Moment> = commits.into_iter().step_by(3).collect();
    unload.kill(&few, 2).assert_harmless();
}

#[tokio::test]
async fn upkeep_that_is_killed_loses_nothing() {
    let load = load_with_upkeep("load that makes few files of many", 7).await;
    let commits = after_each_commit(&load);
    let few: Vec<Moment> = commits.into_iter().skip(8).step_by(3).collect();
    load.kill(&few, 2).assert_harmless();
}

#[test]
fn a_killed_weekly_leaves_the_old_report_or_the_new_one() {
    let weekly = weekly();
    let mut moments = weekly.moments(2, 61);
    moments.push(Moment::Part(0.97));
    weekly.kill(&moments, 3).assert_harmless();
}

mod two_hundred_kills {
    use super::*;

    /// Kills at `number` moments drawn at random and after each commit, and says what it counted.
    fn kill_often(victim: &Victim, number: usize) {
        let at_random = victim.kill_at_random(number, 62);
        println!("at random, {at_random}");
        at_random.assert_harmless();
        assert!(
            2 * at_random.killed >= number,
            "too few were killed before they were done: {at_random}"
        );
        let commits = after_each_commit(victim);
        if !commits.is_empty() {
            let after_commits = victim.kill(&commits, 1);
            println!("after each commit, {after_commits}");
            after_commits.assert_harmless();
        }
    }

    #[test]
    #[ignore = "minutes: the long form"]
    fn of_a_first_load() {
        kill_often(&first_load(), 60);
    }

    #[test]
    #[ignore = "minutes: the long form"]
    fn of_a_load_into_an_older_lake() {
        kill_often(&load_into_an_older_lake(), 20);
    }

    #[tokio::test]
    #[ignore = "minutes: the long form"]
    async fn of_a_load_that_makes_few_files_of_many() {
        let name = "load that makes few files of many";
        kill_often(&load_with_upkeep(name, 7).await, 40);
    }

    #[tokio::test]
    #[ignore = "minutes: the long form"]
    async fn of_a_load_that_sums_up_the_log() {
        let name = "load that sums up the log";
        kill_often(&load_with_upkeep(name, 17).await, 30);
    }

    #[test]
    #[ignore = "minutes: the long form"]
    fn of_a_load_taken_back() {
        kill_often(&unload(), 40);
    }

    #[test]
    #[ignore = "minutes: the long form"]
    fn of_a_weekly() {
        kill_often(&weekly(), 40);
    }
}
