//! Several writers at once: nothing is doubled, nothing lost.

use std::process::Child;
use std::time::{Duration, Instant};

use voltwane::lake::Lake;
use voltwane::lake::append::Append;
use voltwane::lake::tables::TABLES;

use super::releases::{contents, first_release};
use super::{append_everywhere, assert_each_once, facts, lake_place};
use crate::workplace::{NOW, Workplace};

const WEATHER: &str = "depot,day,mean_temperature_c,max_temperature_c\n\
                       Yard,2026-01-01,1,4\nYard,2026-01-02,2,5\nYard,2026-01-03,3,6\n";

fn start_load(place: &Workplace, told: &str) -> Child {
    let told = std::fs::File::create(place.path().join(told)).expect("a file can be made");
    place.start_telling(&["load", "--lake", "lake", "weather.csv"], told.into())
}

fn weather_rows(place: &Workplace) -> Option<u64> {
    place.sql(&[], "SELECT COUNT(*) AS kept FROM lake.depot_weather")[0]["kept"].as_u64()
}

#[test]
fn two_loads_of_the_same_dumps_at_once_add_each_fact_once() {
    let place = Workplace::new();
    place.write("weather.csv", WEATHER);
    let mut loads = [start_load(&place, "first"), start_load(&place, "second")];
    for load in &mut loads {
        assert!(load.wait().expect("it ends").success());
    }
    assert_eq!(weather_rows(&place), Some(3));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_waits_for_another_and_says_so_and_then_sees_what_that_added() {
    let place = Workplace::new();
    let dumps = place.write("weather.csv", WEATHER);
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    let mut waits = start_load(&place, "told");
    let patience = Instant::now() + Duration::from_secs(120);
    let mut told = String::new();
    while !told.contains("waiting") && Instant::now() < patience {
        assert_eq!(
            waits.try_wait().expect("known"),
            None,
            "it went ahead: {told}"
        );
        std::thread::sleep(Duration::from_millis(50));
        told = place.read("told");
    }
    assert!(
        told.contains("waiting for another load of the lake"),
        "{told}"
    );
    let holder = format!("(process {}, began 2", std::process::id());
    assert!(told.contains(&holder), "{told}");

    let now = NOW.parse().expect("an instant");
    voltwane::intake::load::load(
        &mut lake,
        &[dumps],
        &voltwane::settings::Limits::default(),
        now,
        &mut |_| {},
    )
    .await
    .expect("loaded");
    // The lock is given back at the commit, not only when the lake is let go.
    assert!(waits.wait().expect("it ends").success());
    assert_eq!(weather_rows(&place), Some(3));
    drop(lake);
}

#[tokio::test(flavor = "multi_thread")]
async fn facts_added_since_the_lake_was_opened_are_not_added_again_even_without_a_lock() {
    let place = Workplace::new();
    let mut slow = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    let mut append = Append::new(&mut slow, "slow");
    for table in TABLES {
        append
            .rows(table.name, &facts(table, 0..10))
            .await
            .expect("taken");
    }
    // Another file of that name is another lock: so writers on two machines know nothing of each other.
    std::fs::remove_file(place.path().join("lake/.voltwane-lock")).expect("a lock");
    let mut quick = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("the lake");
    append_everywhere(&mut quick, 5..12).await;
    append_everywhere(&mut quick, 12..14).await;
    append.commit().await.expect("committed");
    assert_each_once(&place, 14);
}

/// Starts the program with these arguments.
#[test]
fn four_loads_of_different_files_at_once_lose_and_double_nothing() {
    let place = Workplace::new();
    let names = ["a.csv", "b.csv", "c.csv", "d.csv"];
    for name in names {
        place.write(name, WEATHER.replace("Yard", name));
    }
    let loads = names.map(|name| place.start(&["load", "--lake", "lake", name]));
    for mut load in loads {
        assert!(load.wait().expect("it ends").success());
    }
    assert_eq!(weather_rows(&place), Some(12));
    let distinct = "SELECT COUNT(DISTINCT row_hash) AS n FROM lake.depot_weather";
    assert_eq!(place.sql(&[], distinct)[0]["n"].as_u64(), Some(12));
}

#[test]
fn two_weeklies_beside_a_load_tell_the_week_once_and_lose_nothing() {
    let undisturbed = first_release();
    let load = ["load", "--lake", "lake", "dumps"];
    undisturbed.run_expecting(1, &load);
    let place = first_release();
    let weekly = |out| {
        [
            "weekly",
            "--lake",
            "lake",
            "--as-of",
            "2026-06-28",
            "--out",
            out,
        ]
    };
    let mut running = [
        (place.start(&weekly("one")), 0),
        (place.start(&load), 1),
        (place.start(&weekly("two")), 0),
    ];
    for (command, code) in &mut running {
        assert_eq!(command.wait().expect("it ends").code(), Some(*code));
    }
    assert_eq!(contents(&place), contents(&undisturbed));
    let told = place.sql(
        &[],
        "SELECT COUNT(*) AS rows, COUNT(DISTINCT CONCAT(vin, position)) AS batteries
         FROM risk_week WHERE week = '2026-W26'",
    );
    assert!(told[0]["rows"].as_u64() > Some(0), "{told:?}");
    assert_eq!(told[0]["rows"], told[0]["batteries"]);
    // Each run is there whole.
    let runs = place.sql(
        &[],
        "SELECT COUNT(*) AS rows FROM lake.risk_week WHERE run_id IS NOT NULL GROUP BY run_id",
    );
    assert!(
        runs.iter().all(|run| run["rows"] == told[0]["rows"]),
        "{runs:?}"
    );
}
