//! Writers at once on an object store, where no lock is held: there a commit's entry lands only where none
//! of its version is yet.

use std::sync::{Arc, OnceLock};

use chrono::NaiveDate;
use deltalake::DeltaResult;
use deltalake::logstore::{
    ObjectStoreFactory, ObjectStoreRef, StorageConfig, logstore_factories, object_store_factories,
};
use futures::TryStreamExt;
use object_store::memory::InMemory;
use object_store::path::Path;
use object_store::{ObjectMeta, ObjectStore};
use settings::Settings;
use tables::Analysis;
use url::Url;
use voltwane::lake::Lake;
use voltwane::lake::tables::TABLES;

use super::append_everywhere;
use super::counted_store::CountedStore;

/// One store in memory for all that open `memory://`.
struct OneStore(ObjectStoreRef);

impl ObjectStoreFactory for OneStore {
    fn parse_url_opts(&self, url: &Url, _: &StorageConfig) -> DeltaResult<(ObjectStoreRef, Path)> {
        Ok((self.0.clone(), Path::from_url_path(url.path())?))
    }
}

/// A lake's place in the store of all these tests.
fn store_for(lake: &str) -> String {
    static STORE: OnceLock<ObjectStoreRef> = OnceLock::new();
    let store = STORE.get_or_init(|| Arc::new(InMemory::new())).clone();
    open_in(lake, "memory", store)
}

/// A lake's place in that store, which all that open the scheme share from now on.
fn open_in(lake: &str, scheme: &str, store: ObjectStoreRef) -> String {
    let all = Url::parse(&format!("{scheme}://")).expect("an address");
    object_store_factories().insert(all, Arc::new(OneStore(store)));
    format!("{scheme}:///{lake}")
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

/// What a load has to know of a lake is which facts are there: of data files it reads the columns of their hashes.
#[tokio::test(flavor = "multi_thread")]
async fn a_load_reads_the_hashes_of_what_is_there_and_no_more() {
    let store = Arc::new(CountedStore::default());
    let scheme = Url::parse("counted://").expect("an address");
    let memory = Url::parse("memory://").expect("an address");
    let factories = logstore_factories();
    let of_memory = factories.get(&memory).expect("a factory").value().clone();
    factories.insert(scheme, of_memory);
    let place = open_in("lake", "counted", store.clone());
    let mut lake = Lake::open_or_create(&place).await.expect("a lake");
    append_everywhere(&mut lake, 0..20_000).await;
    let files: Vec<_> = store.list(None).try_collect().await.expect("listed");
    let is_data = |file: &&ObjectMeta| file.location.as_ref().ends_with(".parquet");
    // Two hashes of eight bytes a row, and what a data file says of itself at its end.
    let least = 16 * 20_000 * TABLES.len() as u64;
    let most = least + 8_192 * files.iter().filter(is_data).count() as u64;

    let before = store.read();
    let mut lake = Lake::open_or_create(&place).await.expect("a lake");
    append_everywhere(&mut lake, 0..20_000).await;
    let again = store.read() - before;

    let before = store.read();
    let mut lake = Lake::open_or_create(&place).await.expect("a lake");
    append_everywhere(&mut lake, 20_000..20_001).await;
    let one_more = store.read() - before;
    assert!(
        (least..most).contains(&again),
        "{again} bytes, {least} to {most} expected"
    );
    // Of the years that a fact is not of, none.
    assert!(
        2 * one_more < again,
        "{one_more} bytes for a fact, {again} for all"
    );
}
