//! Years of weekly loads: the files stay few and the log short, by themselves.

use std::path::Path;

use voltwane::lake::Lake;
use voltwane::lake::tables::TABLES;

use super::{append_everywhere, assert_each_once, lake_place};
use crate::workplace::Workplace;

/// Files with that ending below a folder.
fn count(folder: &Path, ending: &str) -> usize {
    std::fs::read_dir(folder)
        .expect("readable")
        .flatten()
        .map(|entry| match entry.path() {
            path if path.is_dir() => count(&path, ending),
            path => usize::from(path.to_string_lossy().ends_with(ending)),
        })
        .sum()
}

#[tokio::test]
async fn twenty_five_loads_leave_few_files_and_a_checkpoint_and_double_nothing() {
    let place = Workplace::new();
    for week in 0..25 {
        let mut lake = Lake::open_or_create(&lake_place(&place))
            .await
            .expect("a lake");
        // Each load brings two rows that are there and two that are new.
        append_everywhere(&mut lake, 2 * week..2 * week + 4).await;
        drop(lake);
    }
    assert_each_once(&place, 52);
    let lake = Lake::open(&lake_place(&place)).await.expect("the lake");
    for table in TABLES {
        let folder = place.path().join("lake").join(table.name);
        let named = lake.data_files(table).expect("known");
        // Two years, of which each is made one file when it has eight.
        assert!(named < 16, "{}: {named} files", table.name);
        let checkpoints = count(&folder.join("_delta_log"), "checkpoint.parquet");
        assert!(checkpoints > 0, "{}", table.name);
    }
}
