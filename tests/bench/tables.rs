//! Seconds that each derived table takes by itself, what it reads being made before:
//!
//!     cargo bench --bench tables -- LAKE [voltwane.toml]
//!
//! Three runs, the best told, a line a table: its name and the seconds.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Instant;

use lake::Lake;
use settings::Settings;
use tables::Analysis;
use tables::rust_tables::COMPUTED;

const RUNS: usize = 3;

/// Every derived table after those that it reads.
fn in_order(analysis: &Analysis) -> Vec<String> {
    let queries = analysis.graph().iter();
    let queries = queries.map(|one| (one.name.clone(), one.reads.iter().cloned().collect()));
    let computed = COMPUTED.iter().map(|one| {
        let reads = one.reads.iter().map(|name| (*name).to_owned()).collect();
        (one.name.to_owned(), reads)
    });
    let mut waiting: BTreeMap<String, BTreeSet<String>> = computed.chain(queries).collect();
    let mut order = Vec::new();
    while !waiting.is_empty() {
        let ready = waiting
            .iter()
            .find(|(_, reads)| !reads.iter().any(|one| waiting.contains_key(one)))
            .map(|(name, _)| name.clone())
            .expect("no circle");
        waiting.remove(&ready);
        order.push(ready);
    }
    order
}

async fn seconds(lake: &Lake, settings: &Settings) -> Vec<(String, f64)> {
    let today = chrono::Utc::now().date_naive();
    let analysis = Analysis::new(lake, &[], None, None, today, settings.clone(), None);
    let analysis = analysis.await.expect("a lake that can be looked at");
    let mut taken = Vec::new();
    for table in in_order(&analysis) {
        analysis.make_below(&table).await.expect(&table);
        let began = Instant::now();
        let asked = format!("SELECT * FROM {table} LIMIT 0");
        analysis.query(&asked).await.expect(&table);
        taken.push((table, began.elapsed().as_secs_f64()));
    }
    taken
}

fn main() {
    let given: Vec<String> = std::env::args()
        .skip(1)
        .filter(|one| one != "--bench")
        .collect();
    let Some(place) = given.first().cloned() else {
        eprintln!("cargo bench --bench tables -- LAKE [voltwane.toml]");
        return;
    };
    let config = given.get(1).cloned();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(64 << 20)
        .build()
        .expect("a runtime");
    let asked = async move {
        let lake = Lake::open(&place).await.expect("a lake");
        let settings = Settings::find(config.as_deref().map(Path::new), None).expect("settings");
        let mut best: Vec<(String, f64)> = seconds(&lake, &settings).await;
        for _ in 1..RUNS {
            for (best, (_, again)) in best.iter_mut().zip(seconds(&lake, &settings).await) {
                best.1 = best.1.min(again);
            }
        }
        for (table, seconds) in best {
            println!("{table} {seconds:.4}");
        }
    };
    runtime.block_on(runtime.spawn(asked)).expect("done");
}
