//! The trade's rules in SQL: what a battery test says, what group a code is of, when a battery with
//! this date code was made.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, Date32Builder, Float64Builder, StringArray, StringBuilder,
    StructArray,
};
use arrow::datatypes::{DataType, Date32Type, Field, Fields, Float64Type, Int64Type};
use datafusion::error::Result;
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Volatility, create_udf};

use super::Documented;
use trade::battery::{TestReading, VerdictLimits, assess_with};
use trade::code_group::CodeGroups;
use trade::date_code::{DateCodeForm, read_date_code};
use trade::visit_reason;
use trade::words::{Chemistry, MeasuredKind, RatingStandard};

fn reading_fields() -> Fields {
    Fields::from(vec![
        Field::new("state_of_charge", DataType::Float64, true),
        Field::new("health", DataType::Float64, true),
        Field::new("health_sigma", DataType::Float64, true),
        Field::new("verdict", DataType::Utf8, true),
        Field::new("rule", DataType::Utf8, true),
    ])
}

/// `read_battery_test(...)`.
pub fn read_battery_test() -> Documented<ScalarUDF> {
    use DataType::{Boolean, Float64, Utf8};
    Documented {
        function: create_udf(
            "read_battery_test",
            vec![
                Float64, Float64, Boolean, Boolean, Float64, Utf8, Float64, Float64, Float64, Utf8,
                Utf8, Float64, Float64, Float64,
            ],
            DataType::Struct(reading_fields()),
            Volatility::Immutable,
            Arc::new(readings),
        ),
        signature: "read_battery_test(rest_voltage_v, temperature_c, temperature_compensated, surface_charge_removed, measured_value, measured_kind, load_current_a, load_seconds, rated_value, rated_standard, chemistry, instrument_factor, instrument_log_sigma, worn_below)",
        about: "state of charge, share of rated cranking ability at 25 °C and full charge with its sigma, verdict and the rule that gave it: a struct",
    }
}

fn readings(arguments: &[ColumnarValue]) -> Result<ColumnarValue> {
    let arrays = ColumnarValue::values_to_arrays(arguments)?;
    let number = |at: usize, row: usize| {
        let column = arrays[at].as_primitive::<Float64Type>();
        column.is_valid(row).then(|| column.value(row))
    };
    let text = |at: usize, row: usize| {
        let column = arrays[at].as_string::<i32>();
        column.is_valid(row).then(|| column.value(row))
    };
    let flag = |at: usize, row: usize| {
        let column = arrays[at].as_boolean();
        column.is_valid(row).then(|| column.value(row))
    };
    let rows = arrays.first().map_or(0, |column| column.len());
    let mut charge = Float64Builder::new();
    let mut health = Float64Builder::new();
    let mut sigma = Float64Builder::new();
    let mut verdict = StringBuilder::new();
    let mut rule = StringBuilder::new();
    for row in 0..rows {
        let kind = text(5, row).and_then(|word| MeasuredKind::parse(word).ok());
        let standard = text(9, row).and_then(|word| RatingStandard::parse(word).ok());
        let test = TestReading {
            rest_voltage_v: number(0, row),
            temperature_c: number(1, row),
            temperature_compensated: flag(2, row),
            surface_charge_removed: flag(3, row),
            measured: number(4, row).zip(kind),
            load: number(6, row).zip(number(7, row)),
            rated: number(8, row).zip(standard),
            instrument: number(11, row).zip(number(12, row)),
            chemistry: text(10, row).and_then(|word| Chemistry::parse(word).ok()),
        };
        let mut limits = VerdictLimits::default();
        if let Some(worn_below) = number(13, row) {
            limits.worn_below = worn_below;
        }
        let condition = assess_with(&test, &limits);
        charge.append_option(condition.state_of_charge);
        health.append_option(condition.health);
        sigma.append_option(condition.health_sigma);
        verdict.append_value(condition.verdict.as_str());
        rule.append_value(condition.rule);
    }
    let columns: Vec<ArrayRef> = vec![
        Arc::new(charge.finish()),
        Arc::new(health.finish()),
        Arc::new(sigma.finish()),
        Arc::new(verdict.finish()),
        Arc::new(rule.finish()),
    ];
    Ok(ColumnarValue::Array(Arc::new(StructArray::new(
        reading_fields(),
        columns,
        None,
    ))))
}

/// `code_group(code, failure_type)`, by the built-in ranges and the user's table.
pub fn code_group(groups: Arc<CodeGroups>) -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "code_group",
            vec![DataType::Utf8, DataType::Int64, DataType::Utf8],
            DataType::Utf8,
            Volatility::Immutable,
            Arc::new(move |arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let codes = arrays[0].as_string::<i32>();
                let types = arrays[1].as_primitive::<Int64Type>();
                let makes = arrays[2].as_string::<i32>();
                let mut answer = StringBuilder::new();
                for row in 0..codes.len() {
                    let failure_type = types
                        .is_valid(row)
                        .then(|| u8::try_from(types.value(row)).ok())
                        .flatten();
                    let make = makes.is_valid(row).then(|| makes.value(row));
                    answer.append_option(codes.is_valid(row).then(|| {
                        groups
                            .group_of_text(codes.value(row), failure_type, make)
                            .as_str()
                    }));
                }
                Ok(ColumnarValue::Array(Arc::new(answer.finish())))
            }),
        ),
        signature: "code_group(code, failure_type, make)",
        about: "supply voltage, lost communication, implausible signal or other, from the code's standard range and failure type and the lake's code_groups.toml",
    }
}

/// `date_code_month(code, tested_on)`.
pub fn date_code_month() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "date_code_month",
            vec![DataType::Utf8, DataType::Date32],
            DataType::Date32,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let codes = arrays[0].as_string::<i32>();
                let days = arrays[1].as_primitive::<Date32Type>();
                let mut answer = Date32Builder::new();
                for row in 0..codes.len() {
                    let made = (codes.is_valid(row) && days.is_valid(row))
                        .then(|| {
                            let seen_on = Date32Type::to_naive_date_opt(days.value(row))?;
                            let form = DateCodeForm::default();
                            let made = read_date_code(codes.value(row), &form, seen_on).ok()?;
                            Some(made.earliest)
                        })
                        .flatten();
                    answer.append_option(made.map(Date32Type::from_naive_date));
                }
                Ok(ColumnarValue::Array(Arc::new(answer.finish())))
            }),
        ),
        signature: "date_code_month(code, seen_on)",
        about: "first day of the month a battery with this date code was made, the latest that fits the day it was seen; null where the code is of no known form",
    }
}

/// `visit_reason(complaint)`.
pub fn visit_reason() -> Documented<ScalarUDF> {
    Documented {
        function: create_udf(
            "visit_reason",
            vec![DataType::Utf8],
            DataType::Utf8,
            Volatility::Immutable,
            Arc::new(|arguments| {
                let arrays = ColumnarValue::values_to_arrays(arguments)?;
                let reasons: StringArray = arrays[0]
                    .as_string::<i32>()
                    .iter()
                    .map(|text| Some(visit_reason::visit_reason(text?)?.as_str()))
                    .collect();
                Ok(ColumnarValue::Array(Arc::new(reasons)))
            }),
        ),
        signature: "visit_reason(complaint)",
        about: "what a visit was for by the words of the complaint: starting trouble, charging trouble, other trouble or planned; null where it says nothing",
    }
}
