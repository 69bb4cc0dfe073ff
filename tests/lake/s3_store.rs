//! A lake in a store that speaks the S3 protocol. `tests/lake/with_s3.py` runs these beside a server and names it
//! in the environment:
//!
//!     python3 tests/lake/with_s3.py cargo test --locked --test voltwane s3_store -- --ignored

use std::collections::BTreeMap;

use crate::workplace::{Workplace, bytes_below};

const NEEDS_A_SERVER: &str = "tests/lake/with_s3.py names a server in the environment";

/// An invented fleet's dumps of some weeks.
fn fleet(weeks: &str) -> Workplace {
    assert!(
        std::env::var("AWS_ENDPOINT_URL").is_ok(),
        "{NEEDS_A_SERVER}"
    );
    let place = Workplace::new();
    let sized = ["--vehicles", "25", "--weeks", weeks, "--seed", "8"];
    let mut arguments = vec!["synthesize", "--out", "dumps"];
    arguments.extend(sized);
    place.run_expecting(0, &arguments);
    place
}

/// How many rows some of the tables have, and how many of them differ.
fn counted(place: &Workplace, lake: &str) -> String {
    let query = "SELECT 'tests', COUNT(*), COUNT(DISTINCT row_hash) FROM lake.battery_test UNION ALL
                 SELECT 'codes', COUNT(*), COUNT(DISTINCT row_hash) FROM lake.trouble_code UNION ALL
                 SELECT 'orders', COUNT(*), COUNT(DISTINCT row_hash) FROM lake.work_order UNION ALL
                 SELECT 'set aside', COUNT(*), COUNT(DISTINCT row_hash) FROM lake.quarantine ORDER BY 1";
    place.run_expecting(0, &["sql", "--lake", lake, "--format", "csv", query])
}

#[test]
#[ignore = "needs a server: tests/lake/with_s3.py"]
fn every_command_says_the_same_of_a_lake_in_a_store() {
    let place = fleet("40");
    let some = "SELECT vin FROM lake.vehicle GROUP BY vin ORDER BY vin LIMIT 5";
    let mut said: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (lake, out) in [("lake", "here"), ("s3://lakes/north/same", "there")] {
        place.run_expecting(1, &["load", "--lake", lake, "dumps"]);
        place.run_expecting(0, &["weekly", "--lake", lake, "--out", out]);
        let list = place.run_expecting(0, &["sql", "--lake", lake, "--format", "csv", some]);
        place.write("list.csv", list);
        let screened = format!("{out}-screened");
        place.run_expecting(
            0,
            &["screen", "--lake", lake, "--out", &screened, "list.csv"],
        );
        for query in [
            "SELECT reason, COUNT(*) AS rows FROM lake.quarantine GROUP BY reason ORDER BY reason",
            "SELECT vin, position, chance FROM battery_chance ORDER BY vin, position LIMIT 20",
        ] {
            let answer = place.run_expecting(0, &["sql", "--lake", lake, "--format", "csv", query]);
            said.entry(lake).or_default().push(answer);
        }
        for command in ["check", "history", "comebacks", "loads"] {
            let output = place.run(&[command, "--lake", lake]);
            let told = String::from_utf8_lossy(&output.stdout).replace(lake, "LAKE");
            said.entry(lake).or_default().push(told);
        }
    }
    let mut said = said.into_values();
    assert_eq!(said.next(), said.next());
    for folder in ["", "-screened"] {
        let here = bytes_below(&place.path().join(format!("here{folder}")));
        let there = bytes_below(&place.path().join(format!("there{folder}")));
        let names: Vec<&String> = here.keys().collect();
        assert_eq!(names, there.keys().collect::<Vec<_>>());
        assert!(names.iter().any(|name| name.ends_with(".md")), "{names:?}");
        for (name, bytes) in &here {
            assert!(there[name] == *bytes, "{name} differs");
        }
    }
}

#[test]
#[ignore = "needs a server: tests/lake/with_s3.py"]
fn loads_at_once_lose_nothing_and_double_nothing() {
    let place = fleet("30");
    let lake = "s3://lakes/two-at-once";
    // One load after the other, here.
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let mut loads: Vec<_> = (0..3)
        .map(|_| place.start(&["load", "--lake", lake, "dumps"]))
        .collect();
    for load in &mut loads {
        let code = load.wait().expect("it ends").code();
        assert_eq!(code, Some(1), "some rows are quarantined");
    }
    assert_eq!(counted(&place, "lake"), counted(&place, lake));
}

#[test]
#[ignore = "needs a server: tests/lake/with_s3.py"]
fn the_papers_of_a_lake_in_a_store_are_its_own() {
    let place = fleet("30");
    let lake = "s3://lakes/with-papers";
    place.run_expecting(1, &["load", "--lake", lake, "dumps"]);
    let settings = |lake: &str| place.run(&["settings", "--lake", lake, "--format", "csv"]);
    let horizon = |output: &std::process::Output| {
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        let line = text.lines().find(|line| line.contains("run.horizon_days"));
        line.expect("the setting").to_owned()
    };
    let before = horizon(&settings(lake));
    put("with-papers/voltwane.toml", "[run]\nhorizon_days = 28\n");
    let after = horizon(&settings(lake));
    assert!(
        before.contains("56") && after.contains("28"),
        "{before} {after}"
    );
}

#[test]
#[ignore = "needs a server: tests/lake/with_s3.py"]
fn mappings_beside_the_tables_are_used() {
    let place = fleet("30");
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let mappings = place.path().join("dumps/mappings");
    for (name, bytes) in bytes_below(&mappings) {
        let text = String::from_utf8(bytes).expect("text");
        put(&format!("mapped/mappings/{name}"), &text);
    }
    std::fs::remove_dir_all(&mappings).expect("removed");
    let lake = "s3://lakes/mapped";
    place.run_expecting(1, &["load", "--lake", lake, "dumps"]);
    assert_eq!(counted(&place, "lake"), counted(&place, lake));
}

#[test]
#[ignore = "needs a server: tests/lake/with_s3.py"]
fn what_is_not_there_is_said_in_one_line() {
    let place = Workplace::new();
    for (lake, expected) in [
        ("s3://lakes/nothing-here", "is not a lake"),
        (
            "s3://no-such-bucket/lake",
            "the store has no bucket of that name",
        ),
        ("s3:///lake", "it names no bucket"),
        ("ftp://lakes/lake", "an address that starts with s3://"),
    ] {
        let output = place.run(&["check", "--lake", lake]);
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert_eq!(told.trim().lines().count(), 1, "{told}");
        assert!(told.contains(expected), "{told}");
    }
}

/// Puts a small file into the store's bucket `lakes`.
fn put(key: &str, text: &str) {
    let store = object_store::aws::AmazonS3Builder::from_env()
        .with_bucket_name("lakes")
        .build()
        .expect("a store");
    let path = object_store::path::Path::from(key);
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let bytes = object_store::PutPayload::from(text.to_owned());
    let put = async { object_store::ObjectStoreExt::put(&store, &path, bytes).await };
    runtime.block_on(put).expect("it is put");
}
