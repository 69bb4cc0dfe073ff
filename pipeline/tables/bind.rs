//! Settings as the parameters of queries: values are bound, never pasted into SQL.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use datafusion::scalar::ScalarValue;

use settings::Settings;

/// Every plain value under its own name, and `as_of`, as the queries read them.
pub fn parameters(settings: &Settings, as_of: NaiveDate) -> BTreeMap<String, ScalarValue> {
    let mut parameters = BTreeMap::new();
    if let Ok(toml::Value::Table(sections)) = toml::Value::try_from(settings) {
        for (_, section) in sections {
            let toml::Value::Table(entries) = section else {
                continue;
            };
            for (name, value) in entries {
                let value = match value {
                    toml::Value::Integer(value) => ScalarValue::Int64(Some(value)),
                    toml::Value::Float(value) => ScalarValue::Float64(Some(value)),
                    toml::Value::String(value) => ScalarValue::Utf8(Some(value)),
                    toml::Value::Boolean(value) => ScalarValue::Boolean(Some(value)),
                    _ => continue,
                };
                parameters.insert(name, value);
            }
        }
    }
    parameters.insert("as_of".to_owned(), day(Some(as_of)));
    parameters.insert(
        "observation_start".to_owned(),
        day(settings.run.observation_start),
    );
    parameters
}

fn day(date: Option<NaiveDate>) -> ScalarValue {
    ScalarValue::Date32(date.map(arrow::datatypes::Date32Type::from_naive_date))
}
