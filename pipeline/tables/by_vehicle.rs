//! Whether a query says something of each vehicle by itself, found from its plan.
//!
//! Such a query gives the same rows bucket by bucket of vehicles as for all at once: it joins kept tables
//! that lie by vehicle on the VIN, groups, numbers and sums within the VIN, and otherwise reads small
//! tables that are the same for every bucket. What cannot be shown to be so is taken to be of the fleet.

use std::collections::BTreeSet;

use datafusion::common::tree_node::TreeNode;
use datafusion::common::{Column, DFSchema, JoinType};
use datafusion::datasource::source_as_provider;
use datafusion::logical_expr::{Distinct, Expr, Join, LogicalPlan};

use super::kept::KeptTable;

/// What the rows of a plan rest on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reach {
    /// Nothing that lies by vehicle: the same rows for every bucket.
    Same,
    /// On one bucket; these columns are the VIN by which a row is in it.
    Vehicle(BTreeSet<usize>),
    /// On all vehicles together.
    Fleet,
}

/// What the rows of an optimised plan rest on.
pub fn reach(plan: &LogicalPlan) -> Reach {
    if has_subquery(plan) {
        return Reach::Fleet;
    }
    let inputs: Vec<Reach> = plan.inputs().into_iter().map(reach).collect();
    if let LogicalPlan::TableScan(scan) = plan {
        let Ok(provider) = source_as_provider(&scan.source) else {
            return Reach::Fleet;
        };
        return match provider.downcast_ref::<KeptTable>() {
            Some(_) if scan.fetch.is_some() => Reach::Fleet,
            Some(table) => match (&table.vins, &scan.projection) {
                (None, _) => Reach::Same,
                (Some(vins), None) => Reach::Vehicle(vins.clone()),
                (Some(vins), Some(columns)) => Reach::Vehicle(
                    (0..)
                        .zip(columns)
                        .filter(|(_, column)| vins.contains(column))
                        .map(|(at, _)| at)
                        .collect(),
                ),
            },
            None => Reach::Fleet,
        };
    }
    if inputs.iter().all(|input| *input == Reach::Same) {
        return Reach::Same;
    }
    let schemas: Vec<&DFSchema> = plan
        .inputs()
        .iter()
        .map(|input| &**input.schema())
        .collect();
    match (plan, inputs.as_slice()) {
        (LogicalPlan::Filter(_) | LogicalPlan::SubqueryAlias(_), [input]) => input.clone(),
        (LogicalPlan::Sort(sort), [input]) if sort.fetch.is_none() => input.clone(),
        (LogicalPlan::Distinct(Distinct::All(_)), [Reach::Vehicle(vins)]) if !vins.is_empty() => {
            Reach::Vehicle(vins.clone())
        }
        (LogicalPlan::Projection(projection), [Reach::Vehicle(vins)]) => {
            Reach::Vehicle(among(&projection.expr, vins, schemas[0]))
        }
        (LogicalPlan::Unnest(unnest), [Reach::Vehicle(vins)]) => Reach::Vehicle(
            (0..)
                .zip(&unnest.dependency_indices)
                .filter(|(_, input)| vins.contains(input))
                .map(|(at, _)| at)
                .collect(),
        ),
        (LogicalPlan::Aggregate(aggregate), [Reach::Vehicle(vins)]) => {
            let grouped = among(&aggregate.group_expr, vins, schemas[0]);
            match grouped.is_empty() {
                true => Reach::Fleet,
                false => Reach::Vehicle(grouped),
            }
        }
        (LogicalPlan::Window(window), [Reach::Vehicle(vins)]) => {
            let within = window.window_expr.iter().all(|one| match unaliased(one) {
                Expr::WindowFunction(function) => {
                    !among(&function.params.partition_by, vins, schemas[0]).is_empty()
                }
                _ => false,
            });
            match within {
                true => Reach::Vehicle(vins.clone()),
                false => Reach::Fleet,
            }
        }
        (LogicalPlan::Union(_), inputs) => inputs
            .iter()
            .cloned()
            .reduce(|a, b| match (a, b) {
                (Reach::Vehicle(a), Reach::Vehicle(b)) => {
                    Reach::Vehicle(a.intersection(&b).copied().collect())
                }
                _ => Reach::Fleet,
            })
            .unwrap_or(Reach::Fleet),
        (LogicalPlan::Join(join), [left, right]) => joined(join, left, right),
        _ => Reach::Fleet,
    }
}

/// What the rows of a join rest on, of sides that rest on these.
pub fn joined(join: &Join, left: &Reach, right: &Reach) -> Reach {
    use JoinType::{Full, Inner, Left, LeftAnti, LeftMark, LeftSemi, Right};
    use JoinType::{RightAnti, RightMark, RightSemi};
    // A NULL anywhere on the other side decides for all rows.
    if join.null_aware {
        return Reach::Fleet;
    }
    let width = join.left.schema().fields().len();
    let shifted =
        |vins: &BTreeSet<usize>| -> BTreeSet<usize> { vins.iter().map(|at| at + width).collect() };
    match (left, right) {
        (Reach::Vehicle(a), Reach::Vehicle(b)) => {
            let on_the_vin = join.on.iter().any(|(l, r)| {
                at(l, join.left.schema()).is_some_and(|at| a.contains(&at))
                    && at(r, join.right.schema()).is_some_and(|at| b.contains(&at))
            });
            if !on_the_vin {
                return Reach::Fleet;
            }
            // The side that may be missing has no VIN then.
            Reach::Vehicle(match join.join_type {
                Inner => a.iter().copied().chain(shifted(b)).collect(),
                Left | LeftSemi | LeftAnti | LeftMark => a.clone(),
                Right => shifted(b),
                RightSemi | RightAnti | RightMark => b.clone(),
                Full => BTreeSet::new(),
            })
        }
        (Reach::Vehicle(a), Reach::Same) => match join.join_type {
            Inner | Left | LeftSemi | LeftAnti | LeftMark => Reach::Vehicle(a.clone()),
            _ => Reach::Fleet,
        },
        (Reach::Same, Reach::Vehicle(b)) => match join.join_type {
            Inner | Right => Reach::Vehicle(shifted(b)),
            RightSemi | RightAnti | RightMark => Reach::Vehicle(b.clone()),
            _ => Reach::Fleet,
        },
        _ => Reach::Fleet,
    }
}

/// The places of those expressions that are a VIN of the input, as it stands.
fn among(expressions: &[Expr], vins: &BTreeSet<usize>, input: &DFSchema) -> BTreeSet<usize> {
    (0..)
        .zip(expressions)
        .filter(|(_, one)| at(one, input).is_some_and(|at| vins.contains(&at)))
        .map(|(place, _)| place)
        .collect()
}

/// The column of the input that an expression is.
fn at(expression: &Expr, input: &DFSchema) -> Option<usize> {
    match unaliased(expression) {
        Expr::Column(column) => index_of(column, input),
        _ => None,
    }
}

fn index_of(column: &Column, input: &DFSchema) -> Option<usize> {
    input.maybe_index_of_column(column)
}

fn unaliased(expression: &Expr) -> &Expr {
    match expression {
        Expr::Alias(alias) => unaliased(&alias.expr),
        other => other,
    }
}

/// Whether an expression of the node asks a query of its own, which would see one bucket.
fn has_subquery(plan: &LogicalPlan) -> bool {
    plan.expressions().iter().any(|expression| {
        expression
            .exists(|part| {
                Ok(matches!(
                    part,
                    Expr::ScalarSubquery(_)
                        | Expr::Exists(_)
                        | Expr::InSubquery(_)
                        | Expr::SetComparison(_)
                        | Expr::OuterReferenceColumn(..)
                ))
            })
            .unwrap_or(true)
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use arrow::datatypes::{DataType, Field, Schema};
    use datafusion::prelude::SessionContext;

    use super::*;

    async fn reach_of(sql: &str) -> Reach {
        let field = |name: &str, kind| Field::new(name, kind, true);
        let of_vehicles = Schema::new(vec![
            field("vin", DataType::Utf8),
            field("n", DataType::Int64),
        ]);
        let of_models = Schema::new(vec![
            field("model", DataType::Utf8),
            field("m", DataType::Int64),
        ]);
        let context = SessionContext::new();
        for (name, schema, vins) in [
            ("a", &of_vehicles, Some([0].into())),
            ("b", &of_vehicles, Some([0].into())),
            ("small", &of_models, None),
        ] {
            let table = KeptTable::new(Arc::new(schema.clone()), vins, Vec::new());
            context.register_table(name, Arc::new(table)).expect("new");
        }
        let plan = context.sql(sql).await.expect("SQL").into_parts();
        reach(&plan.0.optimize(&plan.1).expect("optimised"))
    }

    #[tokio::test]
    async fn what_is_joined_grouped_and_numbered_within_the_vin_is_of_each_vehicle() {
        for sql in [
            "SELECT vin, n + 1 AS more FROM a WHERE n > 2",
            "SELECT a.vin, b.n FROM a LEFT JOIN b ON b.vin = a.vin AND b.n = a.n",
            "SELECT vin, SUM(n) AS n FROM a GROUP BY vin",
            "SELECT DISTINCT vin, n FROM a",
            "SELECT vin, ROW_NUMBER() OVER (PARTITION BY vin ORDER BY n) AS place FROM a",
            "SELECT a.vin, s.m FROM a JOIN small s ON s.m = a.n",
            "SELECT a.vin FROM a LEFT ANTI JOIN b ON b.vin = a.vin",
            "SELECT vin FROM a UNION ALL SELECT vin FROM b",
            "WITH c AS (SELECT vin, MAX(n) AS n FROM a GROUP BY vin) SELECT c.vin FROM c JOIN b ON b.vin = c.vin",
        ] {
            assert_eq!(reach_of(sql).await, Reach::Vehicle([0].into()), "{sql}");
        }
        let without = reach_of("SELECT n FROM a").await;
        assert_eq!(without, Reach::Vehicle(BTreeSet::new()));
        assert_eq!(reach_of("SELECT SUM(m) FROM small").await, Reach::Same);
    }

    #[tokio::test]
    async fn what_looks_beyond_a_vehicle_is_of_the_fleet() {
        for sql in [
            "SELECT COUNT(*) FROM a",
            "SELECT n, MIN(vin) AS vin FROM a GROUP BY n",
            "SELECT vin, ROW_NUMBER() OVER (ORDER BY n) AS place FROM a",
            "SELECT a.vin FROM a JOIN b ON b.n = a.n",
            "SELECT a.vin FROM a FULL JOIN small s ON s.m = a.n",
            "SELECT s.model, a.vin FROM small s LEFT JOIN a ON s.m = a.n",
            "SELECT vin FROM a UNION ALL SELECT model FROM small",
            "SELECT vin FROM a LIMIT 3",
            "SELECT vin FROM a WHERE n > (SELECT MAX(n) FROM b)",
            "SELECT vin FROM a WHERE n NOT IN (SELECT n FROM b)",
            // Where the other side is missing the VIN is too, and all those are one group.
            "SELECT b.vin, COUNT(*) FROM a LEFT JOIN b ON b.vin = a.vin GROUP BY b.vin",
        ] {
            assert_eq!(reach_of(sql).await, Reach::Fleet, "{sql}");
        }
    }
}
