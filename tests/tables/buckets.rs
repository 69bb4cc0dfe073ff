//! The rows of every derived table are the same whether vehicles lie in one bucket or in many.

use std::cmp::Ordering;

use chrono::NaiveDate;
use lake::Lake;
use serde_json::Value;
use settings::Settings;
use tables::Analysis;
use tables::rust_tables::COMPUTED;

use crate::command::small_fleet;

/// A row with its fractions apart: sums of the whole fleet are taken in the order of the buckets, so
/// those may differ in their last digits.
type Row = (String, Vec<f64>);

/// A table's rows in the order of their texts and whole numbers.
async fn rows(analysis: &Analysis, table: &str) -> Vec<Row> {
    fn apart(value: &mut Value, fractions: &mut Vec<f64>) {
        match value {
            Value::Number(number) if number.is_f64() => {
                fractions.extend(number.as_f64());
                *value = Value::Null;
            }
            Value::Array(values) => values.iter_mut().for_each(|one| apart(one, fractions)),
            Value::Object(fields) => fields.values_mut().for_each(|one| apart(one, fractions)),
            _ => {}
        }
    }
    let rows: Vec<Value> = analysis
        .rows(&format!("SELECT * FROM {table}"))
        .await
        .unwrap_or_else(|error| panic!("{table}: {error}"));
    let mut rows: Vec<Row> = rows
        .into_iter()
        .map(|mut row| {
            let mut fractions = Vec::new();
            apart(&mut row, &mut fractions);
            (row.to_string(), fractions)
        })
        .collect();
    rows.sort_by(|a, b| {
        let by_text = a.0.cmp(&b.0);
        by_text.then_with(|| a.1.partial_cmp(&b.1).unwrap_or(Ordering::Equal))
    });
    rows
}

#[track_caller]
fn assert_same(table: &str, one: &[Row], other: &[Row]) {
    assert_eq!(one.len(), other.len(), "{table}");
    for (a, b) in one.iter().zip(other) {
        assert_eq!(a.0, b.0, "{table}");
        assert_eq!(a.1.len(), b.1.len(), "{table}: {}", a.0);
        for (x, y) in a.1.iter().zip(&b.1) {
            // What is left of a difference of two like sums of money has no more digits than they.
            let near = (x - y).abs() <= 1e-7 + 1e-9 * x.abs();
            assert!(near, "{table}: {x} is {y} in {}", a.0);
        }
    }
}

#[tokio::test]
async fn every_table_is_the_same_in_one_bucket_and_in_many() {
    let place = small_fleet().path().join("lake");
    let lake = Lake::open(&place.display().to_string())
        .await
        .expect("a lake");
    let today = NaiveDate::from_ymd_opt(2026, 7, 1).expect("a day");
    let look = || Analysis::new(&lake, &[], None, None, today, Settings::default(), None);
    let one = look().await.expect("an analysis").in_buckets(1);
    let many = look().await.expect("an analysis").in_buckets(7);
    let queries: Vec<String> = one.graph().iter().map(|query| query.name.clone()).collect();
    let computed = COMPUTED.iter().map(|table| table.name.to_owned());
    let mut filled = 0;
    for table in queries.into_iter().chain(computed) {
        let rows_of_one = rows(&one, &table).await;
        assert_same(&table, &rows_of_one, &rows(&many, &table).await);
        filled += usize::from(!rows_of_one.is_empty());
    }
    assert!(filled > 70, "{filled}");
}
