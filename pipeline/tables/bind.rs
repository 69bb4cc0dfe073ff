//! Settings as the parameters of queries: values are bound, never pasted into SQL.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use datafusion::scalar::ScalarValue;
use toml::Value;

use settings::{Bound, OPTIONS, Settings};

/// Every option that is one value under its own name, and `as_of`, as the queries read them. One that
/// was not given and has no default is null of its kind.
pub fn parameters(settings: &Settings, as_of: NaiveDate) -> BTreeMap<String, ScalarValue> {
    let mut parameters: BTreeMap<String, ScalarValue> = OPTIONS
        .iter()
        .filter(|option| option.is_parameter())
        .map(|option| {
            let value = settings.value(option.section, option.name);
            (option.name.to_owned(), parameter(option.bound, value))
        })
        .collect();
    parameters.insert("as_of".to_owned(), day(Some(as_of)));
    parameters
}

fn parameter(bound: Bound, value: Option<Value>) -> ScalarValue {
    match bound {
        Bound::Whole(..) => ScalarValue::Int64(value.as_ref().and_then(Value::as_integer)),
        Bound::Number(..) | Bound::Above(..) => {
            ScalarValue::Float64(value.as_ref().and_then(|value| {
                value
                    .as_float()
                    .or_else(|| value.as_integer().map(|whole| whole as f64))
            }))
        }
        Bound::YesNo => ScalarValue::Boolean(value.as_ref().and_then(Value::as_bool)),
        Bound::Day => day(value
            .as_ref()
            .and_then(Value::as_str)
            .and_then(|text| text.parse().ok())),
        Bound::Text | Bound::DepotLimits => {
            ScalarValue::Utf8(value.as_ref().and_then(Value::as_str).map(str::to_owned))
        }
    }
}

fn day(date: Option<NaiveDate>) -> ScalarValue {
    ScalarValue::Date32(date.map(arrow::datatypes::Date32Type::from_naive_date))
}
