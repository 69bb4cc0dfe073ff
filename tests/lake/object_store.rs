//! Writers at once on an object store, where no lock is held: there a commit's entry lands only where none
//! of its version is yet.

use std::sync::Arc;

use chrono::NaiveDate;
use deltalake::DeltaResult;
use deltalake::logstore::{
    ObjectStoreFactory, ObjectStoreRef, StorageConfig, object_store_factories,
};
use object_store::memory::InMemory;
use object_store::path::Path;
use settings::Settings;
use tables::Analysis;
use url::Url;
use voltwane::lake::Lake;
use voltwane::lake::tables::TABLES;

use super::append_everywhere;

/// One store in memory for all that open `memory://`.
struct OneStore(ObjectStoreRef);

impl ObjectStoreFactory for OneStore {
    fn parse_url_opts(&self, url: &Url, _: &StorageConfig) -> DeltaResult<(ObjectStoreRef, Path)> {
        Ok((self.0.clone(), Path::from_url_path(url.path())?))
    }
}

/// A lake's place in a store of its own.
fn store_for(lake: &str) -> String {
    let place = format!("memory:///{lake}");
    let scheme = Url::parse("memory://").expect("an address");
    static STORE: std::sync::OnceLock<ObjectStoreRef> = std::sync::OnceLock::new();
    let store = STORE.get_or_init(|| Arc::new(InMemory::new())).clone();
    object_store_factories().insert(scheme, Arc::new(OneStore(store)));
    place
}

/// Each of the writers appends its facts, load by load, all writers at once.
async fn write_at_once(place: &str, writers: Vec<Vec<std::ops::Range<i32>>>) {
    let writing = writers.into_iter().map(|loads| {
        let place = place.to_owned();
        tokio::spawn(async move {
            for numbers in loads {
                let mut lake = Lake::open_or_create(&place).await.expect("a lake");
                append_everywhere(&mut lake, numbers).await;
            }
        })
    });
    for writer in writing.collect::<Vec<_>>() {
        writer.await.expect("it ends");
    }
}

/// Asserts that every table holds so many rows, no two alike.
async fn assert_each_once(place: &str, expected: u64) {
    let lake = Lake::open(place).await.expect("the lake");
    let today = NaiveDate::from_ymd_opt(2026, 7, 1).expect("a day");
    let analysis = Analysis::new(&lake, &[], None, None, today, Settings::default(), None);
    let analysis = analysis.await.expect("an analysis");
    for table in TABLES {
        let counts: Vec<serde_json::Value> = analysis
            .rows(&format!(
                "SELECT COUNT(*) AS kept, COUNT(DISTINCT row_hash) AS facts FROM lake.{}",
                table.name
            ))
            .await
            .expect("counted");
        assert_eq!(counts[0]["kept"].as_u64(), Some(expected), "{}", table.name);
        assert_eq!(
            counts[0]["facts"].as_u64(),
            Some(expected),
            "{}",
            table.name
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn writers_at_once_make_the_lake_and_add_each_fact_once() {
    let place = store_for("new");
    let writers = vec![vec![0..10, 8..14], vec![5..15], vec![10..20], vec![0..20]];
    write_at_once(&place, writers).await;
    assert_each_once(&place, 20).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn upkeep_beside_another_writer_loses_nothing() {
    let place = store_for("upkeep");
    let loads = |from: i32| {
        (0..12)
            .map(|load| from + 2 * load..from + 2 * load + 3)
            .collect()
    };
    write_at_once(&place, vec![loads(0), loads(1)]).await;
    assert_each_once(&place, 26).await;
}
