//! Rows read into values by the names of their columns.

use arrow::array::RecordBatch;
use arrow::json::writer::{JsonArray, WriterBuilder};
use serde::de::DeserializeOwned;

/// As text rows take several times what they hold, so few are text at a time.
const AT_A_TIME: usize = 4_096;

/// Gives each row as a value; days and instants are text.
pub fn each<T: DeserializeOwned>(
    batches: Vec<RecordBatch>,
    mut take: impl FnMut(T),
) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
    for batch in batches {
        for from in (0..batch.num_rows()).step_by(AT_A_TIME) {
            let some = batch.slice(from, AT_A_TIME.min(batch.num_rows() - from));
            let mut writer = WriterBuilder::new()
                .with_explicit_nulls(true)
                .build::<_, JsonArray>(Vec::new());
            writer.write(&some)?;
            writer.finish()?;
            let some: Vec<T> = serde_json::from_slice(&writer.into_inner())?;
            some.into_iter().for_each(&mut take);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use arrow::array::{ArrayRef, Int64Array, StringArray};
    use serde::Deserialize;
    use std::sync::Arc;

    #[derive(Debug, Deserialize, PartialEq)]
    struct Row {
        n: i64,
        text: Option<String>,
    }

    #[test]
    fn all_rows_are_read_in_their_order() {
        let count = 2 * AT_A_TIME as i64 + 5;
        let numbers = Int64Array::from_iter_values(0..count);
        let texts: StringArray = (0..count)
            .map(|n| (n % 3 > 0).then(|| n.to_string()))
            .collect();
        let columns: [(&str, ArrayRef); 2] = [("n", Arc::new(numbers)), ("text", Arc::new(texts))];
        let batch = RecordBatch::try_from_iter_with_nullable(
            columns.map(|(name, column)| (name, column, true)),
        )
        .expect("rows");
        let parts = vec![
            batch.slice(0, 7),
            batch.slice(7, 0),
            batch.slice(7, batch.num_rows() - 7),
        ];
        let mut rows: Vec<Row> = Vec::new();
        each(parts, |row| rows.push(row)).expect("values");
        assert_eq!(rows.len(), batch.num_rows());
        for (n, row) in (0..).zip(rows) {
            let text = (n % 3 > 0).then(|| n.to_string());
            assert_eq!(row, Row { n, text });
        }
    }
}
