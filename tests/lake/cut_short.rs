//! What a run that was cut short leaves is no hindrance to the next.

use voltwane::lake::Lake;
use voltwane::lake::tables::TABLES;

use super::{append_everywhere, assert_each_once, lake_place};
use crate::workplace::Workplace;

/// What may lie in the log of a table whose first commit was being written.
const LEFTOVERS: [&[&str]; 2] = [
    &[],
    &["00000000000000000000.json#1", "_commit_0b1e.json.tmp"],
];

#[tokio::test]
async fn a_table_whose_creation_was_cut_short_is_created_again() {
    for table in TABLES {
        for leftovers in LEFTOVERS {
            let place = Workplace::new();
            place.write(&format!("lake/{}/_delta_log/x", table.name), "");
            let log = place
                .path()
                .join("lake")
                .join(table.name)
                .join("_delta_log");
            std::fs::remove_file(log.join("x")).expect("made above");
            for name in leftovers {
                std::fs::write(log.join(name), "{\"commitInfo\":{").expect("writable");
            }
            let lake = Lake::open_or_create(&lake_place(&place)).await;
            let mut lake = lake
                .unwrap_or_else(|error| panic!("{}, left with {leftovers:?}: {error}", table.name));
            append_everywhere(&mut lake, 0..3).await;
            drop(lake);
            assert_each_once(&place, 3);
        }
    }
}

#[tokio::test]
async fn leftovers_of_a_killed_commit_do_no_harm() {
    let place = Workplace::new();
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    append_everywhere(&mut lake, 0..3).await;
    drop(lake);
    for table in TABLES {
        let folder = format!("lake/{}", table.name);
        place.write(
            &format!("{folder}/_delta_log/00000000000000000002.json#1"),
            "{",
        );
        place.write(&format!("{folder}/_delta_log/_commit_0b1e.json.tmp"), "");
        place.write(&format!("{folder}/part-00000-0b1e-c000.zstd.parquet"), "");
    }
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("the lake");
    append_everywhere(&mut lake, 2..5).await;
    drop(lake);
    assert_each_once(&place, 5);
}
