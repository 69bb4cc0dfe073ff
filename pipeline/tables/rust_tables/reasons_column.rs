//! The column of reasons: a list of structs of a topic and a map of numbers by name.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, Float64Builder, ListArray, MapBuilder, MapFieldNames, StringArray, StringBuilder,
    StructArray,
};
use arrow::buffer::OffsetBuffer;
use arrow::datatypes::{DataType, Field, Fields};

use risk::reasons::Reason;

/// Reasons as a column, a row's list after the other.
pub fn reasons<'a>(rows: impl Iterator<Item = &'a [Reason]>) -> ArrayRef {
    let names = MapFieldNames {
        entry: "entries".to_owned(),
        key: "key".to_owned(),
        value: "value".to_owned(),
    };
    let mut numbers = MapBuilder::new(Some(names), StringBuilder::new(), Float64Builder::new());
    let (mut topics, mut lengths) = (Vec::new(), Vec::new());
    for reasons in rows {
        lengths.push(reasons.len());
        for reason in reasons {
            topics.push(reason.topic.as_str());
            for (name, number) in &reason.numbers {
                numbers.keys().append_value(name);
                numbers.values().append_value(*number);
            }
            // Keys and values were appended in pairs, so a map always closes.
            let _ = numbers.append(true);
        }
    }
    let columns: Vec<ArrayRef> = vec![
        Arc::new(StringArray::from(topics)),
        Arc::new(numbers.finish()),
    ];
    let fields: Fields = ["topic", "numbers"]
        .into_iter()
        .zip(&columns)
        .map(|(name, column)| Field::new(name, column.data_type().clone(), true))
        .collect();
    let item = Field::new_list_field(DataType::Struct(fields.clone()), true);
    Arc::new(ListArray::new(
        Arc::new(item),
        OffsetBuffer::from_lengths(lengths),
        Arc::new(StructArray::new(fields, columns, None)),
        None,
    ))
}
