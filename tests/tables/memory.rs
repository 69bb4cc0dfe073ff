//! A run holds no more memory than its setting says: past it the program would end itself with a line,
//! so a run that is done has held to it.

use crate::workplace::Workplace;

/// Loads an invented fleet, and reports on it, within so many MiB.
fn runs_within(vehicles: &str, memory_mb: &str) {
    let place = Workplace::new();
    let fleet = [
        "synthesize",
        "--vehicles",
        vehicles,
        "--weeks",
        "156",
        "--seed",
        "3",
        "--out",
        "dumps",
    ];
    place.run_expecting(0, &fleet);
    place.write(
        "memory.toml",
        format!("[limits]\nmemory_mb = {memory_mb}\nquery_seconds = 100000\n"),
    );
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let within = ["--lake", "lake", "--config", "memory.toml"];
    place.run_expecting(0, &[&["weekly"], &within[..]].concat());
    let question = "SELECT COUNT(*) FROM battery_risk WHERE chance > 0.1";
    place.run_expecting(0, &[&["sql"], &within[..], &[question]].concat());
}

#[test]
#[ignore = "minutes: cargo test --release --test voltwane memory -- --ignored"]
fn two_thousand_vehicles_take_512_mib() {
    runs_within("2000", "512");
}

#[test]
#[ignore = "minutes: cargo test --release --test voltwane memory -- --ignored"]
fn twenty_thousand_vehicles_take_2_gib() {
    runs_within("20000", "2048");
}
