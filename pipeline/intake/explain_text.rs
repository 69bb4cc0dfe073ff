//! An explanation as text for a terminal.

use std::fmt;

use super::explain::{ColumnExplanation, ColumnUse, Explanation, Recognised, TableExplanation};

/// Characters of a cell that are shown.
const SHOWN_CHARACTERS: usize = 24;

impl fmt::Display for Explanation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, table) in self.tables.iter().enumerate() {
            if number > 0 {
                writeln!(f)?;
            }
            write!(f, "{table}")?;
        }
        for why in &self.left_out {
            writeln!(f, "\nnot understood: {why}")?;
        }
        Ok(())
    }
}

impl fmt::Display for TableExplanation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.name)?;
        match &self.recognised {
            Recognised::By {
                kind,
                mapping,
                time_zone,
            } => {
                writeln!(
                    f,
                    "  {kind}, read by \"{mapping}\", local times in {time_zone}"
                )?;
            }
            Recognised::No { likely_kind, .. } => {
                writeln!(f, "  not recognised; it looks most like {likely_kind}")?;
            }
        }
        if !self.layout.is_empty() {
            writeln!(f, "  {}", self.layout)?;
        }
        writeln!(f)?;
        let rows: Vec<[String; 3]> = self.columns.iter().map(row).collect();
        let width = |index: usize| {
            rows.iter()
                .map(|row| row[index].chars().count())
                .max()
                .unwrap_or(0)
        };
        let (first, second) = (width(0), width(1));
        for [column, field, samples] in &rows {
            let line = format!("  {column:first$}  {field:second$}  {samples}");
            writeln!(f, "{}", line.trim_end())?;
        }
        self.without_column(f)?;
        match &self.recognised {
            Recognised::By { .. } => self.counts(f),
            Recognised::No { message, .. } => writeln!(f, "\n  {message}"),
        }
    }
}

impl TableExplanation {
    fn without_column(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (set, missing): (Vec<_>, Vec<_>) = self
            .without_column
            .iter()
            .partition(|(_, value)| !value.is_empty());
        if !set.is_empty() {
            let set: Vec<String> = set
                .iter()
                .map(|(field, value)| format!("{field} = {value}"))
                .collect();
            writeln!(f, "\n  set by the mapping: {}", set.join(", "))?;
        }
        if !missing.is_empty() {
            let names: Vec<&str> = missing.iter().map(|(field, _)| *field).collect();
            writeln!(f, "\n  fields without a column: {}", names.join(", "))?;
        }
        Ok(())
    }

    fn counts(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "\n  {} rows read", self.rows_read)?;
        for (table, rows) in &self.rows_good {
            writeln!(
                f,
                "  {rows} rows for {table}, less those the lake has already"
            )?;
        }
        writeln!(f, "  {} rows for quarantine", self.rows_quarantined)?;
        for reason in &self.reasons {
            writeln!(
                f,
                "    {} from line {} on: {}",
                reason.rows, reason.first_line, reason.example
            )?;
        }
        let good = self.rows_read.saturating_sub(self.rows_quarantined);
        match self.rows_read {
            0 => Ok(()),
            all => writeln!(
                f,
                "  {good} of {all} rows would load ({:.1} %)",
                // Rounded down, so that not all is never told as all.
                (good as f64 / all as f64 * 1000.0).floor() / 10.0
            ),
        }
    }
}

/// Column, use and samples of one line.
fn row(column: &ColumnExplanation) -> [String; 3] {
    let used = match &column.use_ {
        ColumnUse::Field { field, read_as } if read_as.is_empty() => (*field).to_owned(),
        ColumnUse::Field { field, read_as } => format!("{field} ({read_as})"),
        ColumnUse::Ignored => "ignored".to_owned(),
        ColumnUse::Unused {
            likely: Some(field),
        } => format!("not used; perhaps {field}"),
        ColumnUse::Unused { likely: None } => "not used".to_owned(),
    };
    let is_field = matches!(column.use_, ColumnUse::Field { .. });
    let sample = |(before, after): &(String, String)| match (before.is_empty(), is_field) {
        (true, false) => "(blank)".to_owned(),
        (true, true) if after.is_empty() => "(blank)".to_owned(),
        (true, true) => format!("(blank) -> {}", cut(after)),
        (false, false) => cut(before),
        (false, true) if before == after => cut(before),
        (false, true) if after.is_empty() => format!("{} -> not read", cut(before)),
        (false, true) => format!("{} -> {}", cut(before), cut(after)),
    };
    let samples: Vec<String> = column.samples.iter().map(sample).collect();
    [column.column.clone(), used, samples.join(" | ")]
}

fn cut(text: &str) -> String {
    match text.char_indices().nth(SHOWN_CHARACTERS) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}
