//! Windows within a vehicle worked through at once.
//!
//! DataFusion keeps a state of every part of a window, so that rows go out before all are in. Parts here are the
//! few rows of a vehicle or a battery, and their states take longer than the rows; a bucket's rows find room
//! in memory together.

use std::sync::Arc;

use datafusion::common::tree_node::{Transformed, TreeNode};
use datafusion::error::Result;
use datafusion::physical_plan::windows::{BoundedWindowAggExec, WindowAggExec};
use datafusion::physical_plan::{ExecutionPlan, InputOrderMode};

/// The plan of a bucket with its windows over parts that lie together worked through at once.
pub fn worked_at_once(plan: Arc<dyn ExecutionPlan>) -> Result<Arc<dyn ExecutionPlan>> {
    let plan = plan.transform_up(|node| match node.downcast_ref::<BoundedWindowAggExec>() {
        Some(window) if window.input_order_mode == InputOrderMode::Sorted => {
            let (of, input) = (window.window_expr().to_vec(), Arc::clone(window.input()));
            let whole = WindowAggExec::try_new(of, input, !window.partition_keys().is_empty())?;
            Ok(Transformed::yes(Arc::new(whole) as Arc<dyn ExecutionPlan>))
        }
        _ => Ok(Transformed::no(node)),
    });
    Ok(plan?.data)
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::util::pretty::pretty_format_batches;
    use datafusion::physical_plan::{collect, displayable};
    use datafusion::prelude::{SessionConfig, SessionContext};

    #[tokio::test]
    async fn the_rows_are_the_same_in_the_same_order() {
        let config = SessionConfig::new().with_target_partitions(1);
        let context = SessionContext::new_with_config(config);
        let frame = context.sql(
            "WITH t AS (SELECT value / 3 AS vin, value * 7 % 5 AS n FROM generate_series(0, 20))
             SELECT vin, n, ROW_NUMBER() OVER w AS place, LAG(n) OVER w AS before, SUM(n) OVER w AS sum,
                    LAST_VALUE(n) IGNORE NULLS OVER w AS newest
             FROM t WINDOW w AS (PARTITION BY vin ORDER BY n)",
        );
        let frame = frame.await.expect("a plan");
        let plan = frame.create_physical_plan().await.expect("a plan");
        let whole = worked_at_once(Arc::clone(&plan)).expect("a plan");
        let told = displayable(whole.as_ref()).indent(false).to_string();
        assert!(
            told.contains("WindowAggExec") && !told.contains("Bounded"),
            "{told}"
        );
        let mut rows = Vec::new();
        for plan in [plan, whole] {
            let found = collect(plan, context.task_ctx()).await.expect("rows");
            rows.push(pretty_format_batches(&found).expect("text").to_string());
        }
        assert_eq!(rows[0], rows[1]);
        assert_eq!(rows[0].lines().count(), 25, "{}", rows[0]);
    }
}
