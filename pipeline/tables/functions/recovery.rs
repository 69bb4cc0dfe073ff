//! Recoveries in SQL: a vehicle's happenings in, its cases with their steps out.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Int64Array, ListArray, StringArray, StructArray,
    TimestampMicrosecondArray,
};
use arrow::buffer::OffsetBuffer;
use arrow::compute::cast;
use arrow::datatypes::{
    DataType, Field, FieldRef, Fields, Float64Type, TimeUnit, TimestampMicrosecondType,
};
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::{ColumnarValue, ScalarUDF, Signature, SimpleScalarUDF, Volatility};

use super::Documented;
use trade::recovery::{Case, Event, Happening, Rules, ScanSeen, cases};

const STEPS: [&str; 8] = [
    "opened_at",
    "supply_tested_at",
    "supply_restored_at",
    "codes_saved_at",
    "codes_cleared_at",
    "latched_cleared_at",
    "proven_at",
    "last_trouble_at",
];
const FLAGS: [&str; 5] = [
    "latched_seen",
    "latched_standing",
    "supply_codes_seen",
    "cleared_unsaved",
    "save_first",
];

fn instant() -> DataType {
    DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into()))
}

fn case_fields() -> Fields {
    let before = [
        Field::new("opened_by", DataType::Utf8, true),
        Field::new("next_step", DataType::Utf8, true),
        Field::new("comebacks", DataType::Int64, true),
    ];
    before
        .into_iter()
        .chain(STEPS.iter().map(|name| Field::new(*name, instant(), true)))
        .chain(
            FLAGS
                .iter()
                .map(|name| Field::new(*name, DataType::Boolean, true)),
        )
        .collect()
}

fn case_item() -> FieldRef {
    Arc::new(Field::new_list_field(DataType::Struct(case_fields()), true))
}

/// `recovery_cases(happenings, case_days, proven_days, proven_km)`.
pub fn recovery_cases() -> Documented<ScalarUDF> {
    Documented {
        function: ScalarUDF::from(SimpleScalarUDF::new_with_signature(
            "recovery_cases",
            Signature::any(4, Volatility::Immutable),
            DataType::List(case_item()),
            Arc::new(answer),
        )),
        signature: "recovery_cases(happenings, case_days, proven_days, proven_km)",
        about: "the recovery cases in a list of happenings, structs of event (flood, no-start, supply tested, supply restored, codes cleared, scan), began_at, done_at and, of a test, found_fit, of a scan, any_code, supply_code, latched_code, monitors_ready, km_since_clear: a list of structs, one a case with its steps, the next one, comebacks and the last trouble, to UNNEST",
    }
}

fn answer(arguments: &[ColumnarValue]) -> Result<ColumnarValue> {
    let arrays = ColumnarValue::values_to_arrays(arguments)?;
    let lists = arrays[0].as_list_opt::<i32>().ok_or_else(|| {
        DataFusionError::Plan("recovery_cases takes a list of happenings".to_owned())
    })?;
    let numbers = arrays[1..]
        .iter()
        .map(|array| cast(array, &DataType::Float64).map_err(DataFusionError::from))
        .collect::<Result<Vec<_>>>()?;
    let number = |at: usize, row: usize| numbers[at].as_primitive::<Float64Type>().value(row);
    let mut all: Vec<Case> = Vec::new();
    let mut lengths = Vec::with_capacity(lists.len());
    for row in 0..lists.len() {
        let before = all.len();
        if lists.is_valid(row) {
            let rules = Rules {
                case_days: number(0, row) as i64,
                proven_days: number(1, row) as i64,
                proven_km: number(2, row),
            };
            all.extend(cases(&happenings(&lists.value(row))?, &rules));
        }
        lengths.push(all.len() - before);
    }
    let list = ListArray::try_new(
        case_item(),
        OffsetBuffer::from_lengths(lengths),
        Arc::new(rows(&all)),
        None,
    )?;
    Ok(ColumnarValue::Array(Arc::new(list)))
}

/// Happenings out of their structs; one without an instant or of another kind is left out.
fn happenings(array: &ArrayRef) -> Result<Vec<Happening>> {
    let structs = array.as_struct_opt().ok_or_else(|| {
        DataFusionError::Plan("a happening of recovery_cases is a struct".to_owned())
    })?;
    let column = |name: &str, kind: &DataType| {
        let column = structs.column_by_name(name).ok_or_else(|| {
            DataFusionError::Plan(format!("a happening of recovery_cases has no {name}"))
        })?;
        cast(column, kind).map_err(DataFusionError::from)
    };
    let events = column("event", &DataType::Utf8)?;
    let began = column("began_at", &instant())?;
    let done = column("done_at", &instant())?;
    let found_fit = column("found_fit", &DataType::Boolean)?;
    let any_code = column("any_code", &DataType::Boolean)?;
    let supply_code = column("supply_code", &DataType::Boolean)?;
    let latched_code = column("latched_code", &DataType::Boolean)?;
    let ready = column("monitors_ready", &DataType::Boolean)?;
    let km = column("km_since_clear", &DataType::Float64)?;
    let flag = |array: &ArrayRef, row: usize| array.is_valid(row) && array.as_boolean().value(row);
    let at = |array: &ArrayRef, row: usize| {
        array
            .is_valid(row)
            .then(|| array.as_primitive::<TimestampMicrosecondType>().value(row))
    };
    let happening = |row: usize| {
        let event = match events.as_string::<i32>().value(row) {
            "flood" => Event::Flood,
            "no-start" => Event::NoStart,
            "supply tested" => Event::SupplyTested {
                fit: flag(&found_fit, row),
            },
            "supply restored" => Event::SupplyRestored,
            "codes cleared" => Event::CodesCleared,
            "scan" => Event::Scan(ScanSeen {
                any_code: flag(&any_code, row),
                supply_code: flag(&supply_code, row),
                latched_code: flag(&latched_code, row),
                monitors_ready: flag(&ready, row),
                km_since_clear: km
                    .is_valid(row)
                    .then(|| km.as_primitive::<Float64Type>().value(row)),
            }),
            _ => return None,
        };
        Some(Happening {
            began: at(&began, row)?,
            done: at(&done, row)?,
            event,
        })
    };
    Ok((0..structs.len()).filter_map(happening).collect())
}

fn rows(cases: &[Case]) -> StructArray {
    let opened_by: StringArray = cases
        .iter()
        .map(|case| Some(if case.by_flood { "flood" } else { "no-start" }))
        .collect();
    let next_step: StringArray = cases
        .iter()
        .map(|case| Some(case.next_step()?.as_str()))
        .collect();
    let comebacks: Int64Array = cases
        .iter()
        .map(|case| Some(i64::from(case.comebacks)))
        .collect();
    let steps: [fn(&Case) -> Option<i64>; 8] = [
        |case| Some(case.opened),
        |case| case.supply_tested,
        |case| case.supply_restored,
        |case| case.codes_saved,
        |case| case.codes_cleared,
        |case| case.latched_cleared,
        |case| case.proven,
        |case| Some(case.last_trouble),
    ];
    let flags: [fn(&Case) -> bool; 5] = [
        |case| case.latched_seen,
        |case| case.latched_standing,
        |case| case.supply_codes_seen,
        |case| case.cleared_unsaved,
        |case| case.save_first(),
    ];
    let mut columns: Vec<ArrayRef> = vec![
        Arc::new(opened_by),
        Arc::new(next_step),
        Arc::new(comebacks),
    ];
    for step in steps {
        let instants: TimestampMicrosecondArray = cases.iter().map(step).collect();
        columns.push(Arc::new(instants.with_timezone("UTC")));
    }
    for flag in flags {
        let answers: BooleanArray = cases.iter().map(|case| Some(flag(case))).collect();
        columns.push(Arc::new(answers));
    }
    StructArray::new(case_fields(), columns, None)
}
