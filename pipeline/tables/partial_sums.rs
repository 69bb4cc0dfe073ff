//! Aggregates of the fleet that are gathered from those of its buckets: what is counted and summed of each bucket
//! is counted and summed of all, so only a few rows of each are held against the others.
//!
//! Only what is the same in every bit however vehicles lie in buckets is made so: sums of whole numbers,
//! counts, the least and the greatest. An average, a sum of fractions or a fit is of all rows at once.

use datafusion::common::{Column, Result};
use datafusion::functions_aggregate::expr_fn::{bool_and, bool_or, max, min, sum};
use datafusion::logical_expr::{Aggregate, Expr, LogicalPlan, LogicalPlanBuilder};

/// What gathers one column of the buckets' aggregates.
type Gather = fn(Expr) -> Expr;

/// How each aggregate is gathered, where all can be.
pub fn gathers(aggregate: &Aggregate) -> Option<Vec<Gather>> {
    let plain = |group: &Expr| !matches!(group, Expr::GroupingSet(_));
    if !aggregate.group_expr.iter().all(plain) {
        return None;
    }
    let types = aggregate.schema.fields().iter();
    let types = types.skip(aggregate.group_expr.len());
    let pairs = aggregate.aggr_expr.iter().zip(types);
    pairs
        .map(|(one, field)| gather(one, field.data_type().is_integer()))
        .collect()
}

fn gather(one: &Expr, whole: bool) -> Option<Gather> {
    let function = match one {
        Expr::Alias(alias) => return gather(&alias.expr, whole),
        Expr::AggregateFunction(function) => function,
        _ => return None,
    };
    if function.params.distinct || !function.params.order_by.is_empty() {
        return None;
    }
    match function.func.name() {
        "count" | "sum" if whole => Some(sum),
        "min" => Some(min),
        "max" => Some(max),
        "bool_and" => Some(bool_and),
        "bool_or" => Some(bool_or),
        _ => None,
    }
}

/// The aggregate from what `parts` reads, which is that aggregate of each bucket.
pub fn gathered(
    aggregate: &Aggregate,
    gathers: &[Gather],
    parts: LogicalPlan,
) -> Result<LogicalPlan> {
    let named: Vec<Column> = parts.schema().columns();
    let (groups, sums) = named.split_at(aggregate.group_expr.len());
    let columns = |of: &[Column]| of.iter().cloned().map(Expr::Column).collect::<Vec<_>>();
    let gathers = gathers.iter().zip(columns(sums));
    let gathered: Vec<Expr> = gathers.map(|(gather, column)| gather(column)).collect();
    let whole = LogicalPlanBuilder::from(parts)
        .aggregate(columns(groups), gathered)?
        .build()?;
    let back = whole.schema().columns().into_iter().zip(&named);
    let back: Vec<Expr> = back
        .map(|(found, name)| {
            Expr::Column(found).alias_qualified(name.relation.clone(), name.name.clone())
        })
        .collect();
    LogicalPlanBuilder::from(whole).project(back)?.build()
}

#[cfg(test)]
mod tests {
    use super::*;
    use datafusion::prelude::SessionContext;

    async fn can_be_gathered(aggregates: &str) -> bool {
        let context = SessionContext::new();
        let sql = format!(
            "SELECT kind, {aggregates} FROM (VALUES ('a', 1, 0.5, TRUE), ('b', 2, 0.25, FALSE)) AS t (kind, n, x, held)
             GROUP BY kind"
        );
        let plan = context.sql(&sql).await.expect("SQL").into_parts();
        let plan = plan.0.optimize(&plan.1).expect("optimised");
        let mut node = &plan;
        loop {
            match node {
                LogicalPlan::Aggregate(aggregate) => return gathers(aggregate).is_some(),
                other => node = other.inputs().first().expect("an aggregate"),
            }
        }
    }

    #[tokio::test]
    async fn counts_whole_sums_and_ends_are_gathered() {
        for aggregates in [
            "COUNT(*) AS c",
            "SUM(n) AS s, COUNT(x) AS c",
            "SUM(CASE WHEN held THEN 1 ELSE 0 END) AS s",
            "MIN(x) AS least, MAX(kind) AS last, BOOL_OR(held) AS any, BOOL_AND(held) AS every",
        ] {
            assert!(can_be_gathered(aggregates).await, "{aggregates}");
        }
    }

    #[tokio::test]
    async fn what_hangs_on_the_order_or_on_all_rows_is_not() {
        for aggregates in [
            "SUM(x) AS s",
            "AVG(n) AS mean",
            "COUNT(DISTINCT n) AS c, SUM(x) AS s",
            "SUM(n) AS s, MEDIAN(x) AS middle",
            "ARRAY_AGG(n ORDER BY x) AS list",
        ] {
            assert!(!can_be_gathered(aggregates).await, "{aggregates}");
        }
    }
}
