//! Every aggregate answers the same for one partition, for sixteen, and when it runs out of memory
//! and its partial states go by the disk.

use std::sync::Arc;

use datafusion::arrow::array::{ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch};
use datafusion::arrow::compute::concat_batches;
use datafusion::datasource::MemTable;
use datafusion::physical_plan::{ExecutionPlan, collect};
use datafusion::prelude::SessionContext;
use voltwane::tables::functions::aggregates;

use super::{all_finite, arguments, rows, session};

/// Rows a group has; every tenth group or so is a great one.
const SIZES: [usize; 12] = [1, 5, 40, 3000, 40, 300, 5, 40, 300, 40, 1, 300];

/// Rows a group has where memory is short: a group whose state alone fills it cannot be helped.
const SMALL: [usize; 6] = [1, 40, 5, 120, 40, 5];

/// Memory a collected column has where memory is short: less than half of what it takes.
const NARROW_BYTES: usize = 200_000;

/// Numbers that look drawn at random and are the same each time.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, below: u64) -> f64 {
        // Knuth's MMIX multiplier; the high bits are the good ones.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % below) as f64
    }
}

/// Lives of `groups` groups, dealt out to so many partitions.
fn deal(sizes: &[usize], groups: usize, partitions: usize) -> Vec<Vec<RecordBatch>> {
    let mut numbers = Numbers(7);
    let mut drawn: Vec<(i64, [f64; 4], bool)> = Vec::new();
    for group in 0..groups {
        for row in 0..sizes[group % sizes.len()] {
            let entry = numbers.next(60);
            let exit = entry + numbers.next(90) + 0.5;
            let unit = (row / 3) as f64;
            let failed = numbers.next(3) == 0.0;
            let cause = if failed { numbers.next(3) + 1.0 } else { 0.0 };
            drawn.push((group as i64, [unit, entry, exit, cause], failed));
        }
    }
    let of = |partition: usize| {
        let own = || drawn.iter().skip(partition).step_by(partitions);
        let number = |at: usize| -> ArrayRef {
            Arc::new(own().map(|row| Some(row.1[at])).collect::<Float64Array>())
        };
        let group = own().map(|row| Some(row.0)).collect::<Int64Array>();
        let failed = own().map(|row| Some(row.2)).collect::<BooleanArray>();
        RecordBatch::try_from_iter([
            ("g", Arc::new(group) as ArrayRef),
            ("unit", number(0)),
            ("entry", number(1)),
            ("exit", number(2)),
            ("cause", number(3)),
            ("failed", Arc::new(failed)),
        ])
        .expect("columns of one length")
    };
    (0..partitions)
        .map(|partition| {
            let whole = of(partition);
            let starts = (0..whole.num_rows()).step_by(512);
            let batch = |from: usize| whole.slice(from, 512.min(whole.num_rows() - from));
            starts.map(batch).collect()
        })
        .collect()
}

fn with_lives(
    context: SessionContext,
    sizes: &[usize],
    groups: usize,
    partitions: usize,
) -> SessionContext {
    let dealt = deal(sizes, groups, partitions);
    let schema = dealt[0][0].schema();
    let table = MemTable::try_new(schema, dealt).expect("partitions of one schema");
    context
        .register_table("life", Arc::new(table))
        .expect("a free name");
    context
}

fn by_group(aggregate: &str) -> String {
    let arguments = arguments(aggregate);
    format!("SELECT g, COUNT(*) AS rows, {aggregate}({arguments}) AS answer FROM life GROUP BY g")
}

fn whole(batches: &[RecordBatch]) -> RecordBatch {
    concat_batches(&batches[0].schema(), batches).expect("batches of one schema")
}

#[tokio::test]
async fn partitions_do_not_matter() {
    let one = with_lives(session(1, None), &SIZES, 24, 1);
    let sixteen = with_lives(session(16, None), &SIZES, 24, 16);
    for aggregate in aggregates() {
        let name = aggregate.function.name();
        let sql = format!("{} ORDER BY g", by_group(name));
        let (alone, split) = (
            whole(&rows(&one, &sql).await),
            whole(&rows(&sixteen, &sql).await),
        );
        assert_eq!(alone.num_rows(), 24, "{name}");
        assert!(alone == split, "{name} depends on the partitions");
        all_finite(alone.column(2), name);
        let sql = format!("SELECT {name}({}) FROM life", arguments(name));
        let (alone, split) = (
            whole(&rows(&one, &sql).await),
            whole(&rows(&sixteen, &sql).await),
        );
        assert!(
            alone == split,
            "{name} of the whole table depends on the partitions"
        );
    }
}

fn spills(plan: &dyn ExecutionPlan) -> usize {
    let own = plan.metrics().and_then(|metrics| metrics.spill_count());
    let below = plan.children().into_iter().map(|plan| spills(&**plan));
    own.unwrap_or(0) + below.sum::<usize>()
}

#[tokio::test]
async fn spilling_does_not_matter() {
    let roomy = with_lives(session(1, None), &SMALL, 600, 1);
    for aggregate in aggregates() {
        let name = aggregate.function.name();
        let columns = arguments(name).split(',').count();
        let narrow = session(2, Some(columns * NARROW_BYTES));
        let narrow = with_lives(narrow, &SMALL, 600, 2);
        let sql = format!("{} ORDER BY g", by_group(name));
        let expected = whole(&rows(&roomy, &sql).await);
        let frame = narrow.sql(&by_group(name)).await.expect("a query");
        let plan = frame.create_physical_plan().await.expect("a plan");
        let parts = collect(plan.clone(), narrow.task_ctx()).await;
        let parts = parts.unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(spills(&*plan) > 0, "{name} did not spill");
        let spilt = whole(&parts);
        let order = datafusion::arrow::compute::sort_to_indices(spilt.column(0), None, None);
        let order = order.expect("groups can be put in order");
        let spilt = datafusion::arrow::compute::take_record_batch(&spilt, &order);
        assert!(
            spilt.expect("rows") == expected,
            "{name} depends on spilling"
        );
    }
}
