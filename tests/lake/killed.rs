//! A load that is killed at any moment and run again leaves what an undisturbed load leaves.
//!
//! The short form kills a few times. The long form: `cargo test --test voltwane two_hundred_kills --
//! --ignored`.

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::releases::{contents, first_release};
use crate::workplace::{NOW, Workplace};

/// Starts a load, kills it after that time unless it is done.
fn load_and_kill(place: &Workplace, after: Duration) {
    let mut load = Command::new(assert_cmd::cargo::cargo_bin("voltwane"))
        .args(["load", "--lake", "lake", "dumps"])
        .current_dir(place.path())
        .env("VOLTWANE_NOW", NOW)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    std::thread::sleep(after);
    // SIGKILL on Unix: nothing is tidied up. One that is done already cannot be killed.
    let _ = load.kill();
    load.wait().expect("it ends");
}

/// A place with the dumps and no lake.
fn dumps_only() -> Workplace {
    let place = first_release();
    std::fs::remove_dir_all(place.path().join("lake")).expect("removable");
    place
}

fn kill_and_compare(kills: usize, kills_a_lake: usize) {
    let undisturbed = dumps_only();
    let began = Instant::now();
    undisturbed.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let whole = began.elapsed();
    let expected = contents(&undisturbed);
    let mut moments = ChaCha8Rng::seed_from_u64(60);
    for _ in 0..kills / kills_a_lake {
        let place = dumps_only();
        let mut killed = Vec::new();
        for _ in 0..kills_a_lake {
            let after = whole.mul_f64(moments.random_range(0.05..1.0));
            killed.push(after);
            load_and_kill(&place, after);
        }
        place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
        assert_eq!(contents(&place), expected, "killed after {killed:?}");
    }
}

#[test]
fn a_load_killed_a_few_times_and_run_again_is_whole() {
    kill_and_compare(6, 3);
}

#[test]
#[ignore = "minutes: the long form"]
fn two_hundred_kills() {
    kill_and_compare(200, 4);
}
