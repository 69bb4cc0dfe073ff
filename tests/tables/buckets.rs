//! The rows of every derived table are the same whether vehicles lie in one bucket or in many.

use chrono::NaiveDate;
use lake::Lake;
use serde_json::Value;
use settings::Settings;
use tables::Analysis;
use tables::rust_tables::COMPUTED;

use crate::command::small_fleet;

/// A table's rows in some order. Sums of the whole fleet are taken in the order of the buckets, so
/// numbers are told to ten digits.
async fn rows(analysis: &Analysis, table: &str) -> Vec<String> {
    fn told(value: &mut Value) {
        match value {
            Value::Number(number) => {
                if let Some(number) = number.as_f64() {
                    *value = Value::String(format!("{number:.9e}"));
                }
            }
            Value::Array(values) => values.iter_mut().for_each(told),
            Value::Object(fields) => fields.values_mut().for_each(told),
            _ => {}
        }
    }
    let mut rows: Vec<Value> = analysis
        .rows(&format!("SELECT * FROM {table}"))
        .await
        .unwrap_or_else(|error| panic!("{table}: {error}"));
    rows.iter_mut().for_each(told);
    let mut rows: Vec<String> = rows.iter().map(ToString::to_string).collect();
    rows.sort();
    rows
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
        assert_eq!(rows_of_one, rows(&many, &table).await, "{table}");
        filled += usize::from(!rows_of_one.is_empty());
    }
    assert!(filled > 70, "{filled}");
}
