//! Writes the mapping file that reads a dialect back.

use std::fmt::Write;

use super::{Dialect, Form, Unit};

/// The mapping as TOML. The columns stand in the file's order, as joined dates need.
pub fn mapping_toml(dialect: &Dialect) -> String {
    let mut text = String::new();
    // Writing to a String does not fail.
    let _ = write_mapping(&mut text, dialect);
    text
}

fn write_mapping(text: &mut String, dialect: &Dialect) -> std::fmt::Result {
    writeln!(text, "kind = {}", quoted(dialect.kind))?;
    writeln!(text, "name = {}", quoted(dialect.name))?;
    if let Some(shop) = dialect.shop {
        writeln!(text, "shop = {}", quoted(shop))?;
    }
    writeln!(
        text,
        "delimiter = {}",
        quoted(&char::from(dialect.delimiter).to_string())
    )?;
    if dialect.decimal_mark != '.' {
        writeln!(
            text,
            "decimal_mark = {}",
            quoted(&dialect.decimal_mark.to_string())
        )?;
    }
    if let Some(mark) = dialect.thousands_mark {
        writeln!(text, "thousands_mark = {}", quoted(&mark.to_string()))?;
    }
    if dialect.time_zone != "UTC" {
        writeln!(text, "time_zone = {}", quoted(dialect.time_zone))?;
    }
    if dialect.windows_1252 {
        writeln!(text, "encoding = \"windows-1252\"")?;
    }
    if !dialect.constants.is_empty() {
        writeln!(text, "\n[constants]")?;
        for (field, value) in dialect.constants {
            writeln!(text, "{field} = {}", quoted(value))?;
        }
    }
    for column in dialect.columns() {
        writeln!(text, "\n[columns.{}]", quoted(column.header))?;
        if let Form::Idle(_) = column.form {
            writeln!(text, "ignore = true")?;
            continue;
        }
        writeln!(text, "field = {}", quoted(column.field))?;
        match column.form {
            Form::Time(pattern) => writeln!(text, "format = {}", quoted(pattern))?,
            Form::Number(Unit::Own(unit) | Unit::Finer(unit, _), _) => {
                writeln!(text, "unit = {}", quoted(unit))?
            }
            Form::Number(Unit::DegF, _) => writeln!(text, "unit = \"degF\"")?,
            Form::Number(Unit::Miles, _) => writeln!(text, "unit = \"mi\"")?,
            Form::Reading(unit, _, kind) => {
                writeln!(
                    text,
                    "unit = {}\nmeasured_kind = {}",
                    quoted(unit),
                    quoted(kind)
                )?;
            }
            Form::Hex => writeln!(text, "unit = \"hex\"")?,
            Form::Flag(..)
            | Form::Text
            | Form::Whole
            | Form::Idle(_)
            | Form::Number(Unit::None, _) => {}
        }
    }
    for (field, words) in dialect.words {
        writeln!(text, "\n[words.{field}]")?;
        for (shop, ours) in *words {
            writeln!(text, "{} = {}", quoted(shop), quoted(ours))?;
        }
    }
    for column in dialect.columns() {
        if let Form::Flag(yes, no) = column.form {
            writeln!(text, "\n[words.{}]", column.field)?;
            writeln!(text, "{} = \"yes\"\n{} = \"no\"", quoted(yes), quoted(no))?;
        }
    }
    Ok(())
}

/// A TOML basic string.
fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for character in text.chars() {
        match character {
            '"' | '\\' => {
                quoted.push('\\');
                quoted.push(character);
            }
            '\t' => quoted.push_str("\\t"),
            _ => quoted.push(character),
        }
    }
    quoted.push('"');
    quoted
}
