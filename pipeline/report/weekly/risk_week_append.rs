//! Keeps what a report said in the lake, so that it can be held against what happened.

use std::sync::Arc;

use arrow::array::{ArrayRef, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow::datatypes::Date32Type;
use chrono::{DateTime, Utc};
use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::super::style::Units;
use super::ReportError;
use crate::sections::ranking::rows::RiskRow;
use lake::append::Append;
use lake::tables::table;
use lake::{Lake, LakeError};
use tables::Analysis;

#[derive(Deserialize)]
struct Run {
    run_id: Option<String>,
}

/// Appends the ranking to `risk_week` as a run of its own, which counts for its week from then on. What
/// the week's newest run said already, word for word and with the same settings, is not said again.
pub async fn append(
    lake: &mut Lake,
    analysis: &Analysis,
    week: &str,
    ranking: &[RiskRow],
    now: DateTime<Utc>,
) -> Result<(), ReportError> {
    let design =
        table("risk_week").ok_or_else(|| LakeError::NoSuchTable("risk_week".to_owned()))?;
    // Rounded as told: a last bit that differs between two runs is not another statement.
    let rounded = |value: Option<f64>| value.map(|value| (value * 1e6).round() / 1e6);
    let known: Vec<&RiskRow> = ranking
        .iter()
        .filter(|row| {
            row.chance.is_some() && row.chance_lower.is_some() && row.chance_upper.is_some()
        })
        .collect();
    let text = |value: &dyn Fn(&RiskRow) -> String| {
        Arc::new(
            known
                .iter()
                .map(|row| Some(value(row)))
                .collect::<StringArray>(),
        ) as ArrayRef
    };
    let number = |value: &dyn Fn(&RiskRow) -> Option<f64>| {
        Arc::new(
            known
                .iter()
                .map(|row| rounded(value(row)))
                .collect::<Float64Array>(),
        ) as ArrayRef
    };
    let settings = format!("{:?}", analysis.settings());
    let settings = first_digits(&Sha256::digest(settings));
    let mut said = Sha256::new();
    said.update(format!("{} {settings} ", analysis.as_of()));
    for (at, row) in known.iter().enumerate() {
        let between = if at > 0 { "\n" } else { "" };
        said.update(format!(
            "{between}{} {} {:?} {:?} {:?} {} {} {} {}",
            row.vin,
            row.position,
            rounded(row.chance),
            rounded(row.chance_lower),
            rounded(row.chance_upper),
            row.rank,
            row.action,
            row.why(Units::Metric),
            row.model_version
        ));
    }
    let said = first_digits(&said.finalize());
    let newest: Vec<Run> = analysis
        .rows_with(
            "SELECT run_id FROM risk_week WHERE week = $week LIMIT 1",
            &[("week", week)],
        )
        .await?;
    let is_said = |run: &Run| {
        let id = run.run_id.as_deref().unwrap_or_default();
        id.split(' ').nth(1) == Some(said.as_str())
    };
    if newest.iter().any(is_said) {
        return Ok(());
    }
    let instant = now.format("%Y-%m-%dT%H:%M:%S%.6fZ");
    let run_id = format!("{week} {said} {instant}");
    let rows = known.len();
    let as_of = Date32Type::from_naive_date(analysis.as_of());
    let columns: Vec<ArrayRef> = vec![
        text(&|_| week.to_owned()),
        Arc::new(Date32Array::from(vec![as_of; rows])),
        text(&|row| row.vin.clone()),
        text(&|row| row.position.clone()),
        number(&|row| row.chance),
        number(&|row| row.chance_lower),
        number(&|row| row.chance_upper),
        Arc::new(Int64Array::from(vec![
            analysis.settings().run.horizon_days;
            rows
        ])),
        Arc::new(known.iter().map(|row| row.rank).collect::<Int64Array>()),
        text(&|row| row.action.clone()),
        // As it was told is text: the reasons in words, in units that do not change with the reader.
        text(&|row| row.why(Units::Metric)),
        text(&|row| row.model_version.clone()),
        text(&|_| run_id.clone()),
        text(&|_| settings.clone()),
    ];
    let batch = RecordBatch::try_new(design.intake_schema(), columns).map_err(|source| {
        LakeError::Shape {
            table: design.name,
            source,
        }
    })?;
    let mut append = Append::new(lake, format!("weekly {instant}"));
    append.rows(design.name, &batch).await?;
    append.commit().await?;
    Ok(())
}

/// The first 8 hexadecimal digits.
fn first_digits(digest: &[u8]) -> String {
    let first = digest.iter().take(4);
    first.map(|byte| format!("{byte:02x}")).collect()
}
