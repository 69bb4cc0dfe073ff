//! A plan taken apart where it goes from each vehicle to the fleet and back.
//!
//! What a plan makes of each vehicle before it looks at all of them, and what it makes of all of them
//! before it is held against each, is made first and kept for the run, so that what is of each vehicle by
//! itself is made bucket by bucket, and the rest reads little. Parts that stand in a plan more than once
//! are made once.

use std::sync::Arc;

use arrow::datatypes::{Field, Schema, SchemaRef};
use datafusion::common::tree_node::TreeNode;
use datafusion::common::{Column, DFSchema};
use datafusion::datasource::provider_as_source;
use datafusion::error::DataFusionError;
use datafusion::execution::SessionState;
use datafusion::logical_expr::{Expr, LogicalPlan, LogicalPlanBuilder};
use futures::FutureExt;
use futures::future::BoxFuture;

use super::by_vehicle::{Reach, joined, reach};
use super::kept::{KeptTable, VEHICLE};
use super::making::Maker;
use super::partial_sums::{gathered, gathers};

/// The parts of one plan that were made.
pub struct Stages<'a> {
    maker: &'a Maker,
    state: &'a SessionState,
    made: Vec<(LogicalPlan, LogicalPlan)>,
}

impl<'a> Stages<'a> {
    pub fn new(maker: &'a Maker, state: &'a SessionState) -> Self {
        Self {
            maker,
            state,
            made: Vec::new(),
        }
    }

    /// The plan with its parts made.
    pub fn taken_apart<'s>(
        &'s mut self,
        plan: &'s LogicalPlan,
    ) -> BoxFuture<'s, Result<LogicalPlan, DataFusionError>> {
        async move {
            if reach(plan) != Reach::Fleet || plan.inputs().is_empty() {
                return Ok(plan.clone());
            }
            let mut inputs = Vec::new();
            for input in plan.inputs() {
                inputs.push(self.taken_apart(input).await?);
            }
            if let (LogicalPlan::Join(join), [left, right]) = (plan, &inputs[..]) {
                let (l, r) = (reach(left), reach(right));
                if let (Reach::Vehicle(_), Reach::Fleet) = (&l, &r) {
                    if let Some(vin) = lying(right, |other| joined(join, &l, other)) {
                        inputs[1] = self.made(right, Lie::By(vin)).await?;
                    }
                } else if let (Reach::Fleet, Reach::Vehicle(_)) = (&l, &r)
                    && let Some(vin) = lying(left, |other| joined(join, other, &r))
                {
                    inputs[0] = self.made(left, Lie::By(vin)).await?;
                }
            }
            let settled = with_inputs(plan, inputs.clone())?;
            if reach(&settled) != Reach::Fleet {
                return Ok(settled);
            }
            if let (LogicalPlan::Aggregate(aggregate), [input]) = (&settled, &inputs[..])
                && matches!(reach(input), Reach::Vehicle(_))
                && let Some(gathers) = gathers(aggregate)
            {
                let parts = self.made(&settled, Lie::AsTheyCome).await?;
                return gathered(aggregate, &gathers, parts);
            }
            for input in &mut inputs {
                if matches!(reach(input), Reach::Vehicle(_)) && is_work(input) {
                    *input = self.made(input, Lie::By(None)).await?;
                }
            }
            with_inputs(plan, inputs)
        }
        .boxed()
    }

    /// Makes a part and gives what reads it.
    async fn made(&mut self, part: &LogicalPlan, lie: Lie) -> Result<LogicalPlan, DataFusionError> {
        if let Some((_, reads)) = self.made.iter().find(|(made, _)| made == part) {
            return Ok(reads.clone());
        }
        let schema = numbered(part.schema());
        let table = match lie {
            Lie::By(vin) => self.maker.make(part, self.state, schema, vin).await?,
            Lie::AsTheyCome => {
                self.maker
                    .make_of_each_bucket(part, self.state, schema)
                    .await?
            }
        };
        let reads = read(&format!("part_{}", self.made.len()), table, part.schema())?;
        self.made.push((part.clone(), reads.clone()));
        Ok(reads)
    }
}

/// How the rows of a part lie.
enum Lie {
    /// By the vehicle in this column, where there is one.
    By(Option<usize>),
    /// Those made of a bucket in that bucket.
    AsTheyCome,
}

/// How a part of the fleet has to lie so that what joins it is of each vehicle: by a VIN of its own, or
/// whole; none where that does not help.
fn lying(part: &LogicalPlan, joined: impl Fn(&Reach) -> Reach) -> Option<Option<usize>> {
    let vins = (0..)
        .zip(part.schema().fields())
        .filter(|(_, field)| field.name() == VEHICLE)
        .map(|(at, _)| at);
    vins.map(Some).chain([None]).find(|vin| {
        let lies = match vin {
            Some(vin) => Reach::Vehicle([*vin].into()),
            None => Reach::Same,
        };
        joined(&lies) != Reach::Fleet
    })
}

/// Whether a plan does more than read, filter and name.
fn is_work(plan: &LogicalPlan) -> bool {
    plan.exists(|node| {
        Ok(!matches!(
            node,
            LogicalPlan::TableScan(_)
                | LogicalPlan::Filter(_)
                | LogicalPlan::Projection(_)
                | LogicalPlan::SubqueryAlias(_)
                | LogicalPlan::Union(_)
        ))
    })
    .unwrap_or(true)
}

fn with_inputs(
    plan: &LogicalPlan,
    inputs: Vec<LogicalPlan>,
) -> Result<LogicalPlan, DataFusionError> {
    plan.with_new_exprs(plan.expressions(), inputs)?
        .recompute_schema()
}

/// The columns by their places: two of a plan may have one name.
fn numbered(schema: &DFSchema) -> SchemaRef {
    let fields = schema.fields().iter().enumerate();
    Arc::new(Schema::new(
        fields
            .map(|(at, field)| Field::new(at.to_string(), field.data_type().clone(), true))
            .collect::<Vec<_>>(),
    ))
}

fn read(name: &str, table: KeptTable, schema: &DFSchema) -> Result<LogicalPlan, DataFusionError> {
    let columns = schema.iter().enumerate().map(|(at, (of, field))| {
        Expr::Column(Column::new(Some(name), at.to_string()))
            .alias_qualified(of.cloned(), field.name())
    });
    LogicalPlanBuilder::scan(name, provider_as_source(Arc::new(table)), None)?
        .project(columns.collect::<Vec<_>>())?
        .build()
}
