//! `voltwane settings`: every value a run uses, and where it comes from.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::{Outcome, note, say, with_papers};
use ::settings::{Listed, Settings as Values};
use lake::Lake;

/// Show every setting with its default, unit, meaning and source
///
/// What is printed is itself a configuration: a value to be changed goes into the lake's voltwane.toml
/// without the # before it, below its section's name in brackets. What stands behind a # is the
/// default; the others were given in the file and line named beside them.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane settings\n  \
    voltwane settings --lake lake\n  \
    voltwane settings > voltwane.toml\n\n\
    Exit codes: 0 done, 1 done and a value cannot do what one may expect of it, 2 could not run.")]
pub struct Settings {
    /// Show the settings of this lake: a folder, or an address in an object store
    #[arg(long, value_name = "LAKE")]
    lake: Option<String>,

    /// Use this configuration instead of the lake's voltwane.toml
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,

    /// How the settings are printed
    #[arg(long, value_enum, default_value = "toml", value_name = "FORM")]
    format: Form,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Form {
    /// a configuration with comments
    Toml,
    /// one line a value
    Csv,
}

impl Settings {
    pub async fn run(self) -> anyhow::Result<Outcome> {
        let folder = match &self.lake {
            Some(lake) => with_papers(Lake::open(lake).await?).await?.papers(),
            None => None,
        };
        let values = Values::find(self.config.as_deref(), folder.as_deref())?;
        match self.format {
            Form::Toml => say(as_toml(&values.list()))?,
            Form::Csv => say(as_csv(&values.list())?)?,
        }
        let warnings = values.warnings();
        for warning in &warnings {
            note(format_args!("to look at: {warning}"));
        }
        Ok(match warnings.is_empty() {
            true => Outcome::Clean,
            false => Outcome::Findings,
        })
    }
}

/// The section and the rest of a key; a section of names is a section of its own.
fn parts(key: &str) -> (String, &str) {
    let (section, rest) = key.split_once('.').unwrap_or(("", key));
    match rest.split_once('.') {
        None => (section.to_owned(), rest),
        Some((map, names)) => match names.rsplit_once('.') {
            Some((name, last)) => (format!("{section}.{map}.{}", quoted(name)), last),
            None => (format!("{section}.{map}"), names),
        },
    }
}

/// A key of TOML as it must be written.
fn quoted(key: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    match !key.is_empty() && key.chars().all(bare) {
        true => key.to_owned(),
        false => toml::Value::String(key.to_owned()).to_string(),
    }
}

fn as_toml(listed: &[Listed]) -> String {
    let mut lines: Vec<String> = Vec::new();
    let mut last = String::new();
    let mut told = "";
    // A section's plain values stand before the tables below it.
    let mut order: Vec<&Listed> = listed.iter().collect();
    order.sort_by_key(|value| {
        let top = value.key.split('.').next();
        let at = listed.iter().position(|v| v.key.split('.').next() == top);
        (at, parts(&value.key).0.matches('.').count())
    });
    for value in order {
        let (section, name) = parts(&value.key);
        if section != last {
            lines.push(format!("\n[{section}]"));
            last = section;
        }
        if told != value.meaning {
            lines.extend(wrapped(value.meaning).map(|line| format!("# {line}")));
            told = value.meaning;
        }
        let plain = value.value.parse::<f64>().is_ok() || value.value.parse::<bool>().is_ok();
        let text = !plain;
        let written = match (text, value.value.as_str()) {
            (true, "not given") => String::new(),
            (true, text) => toml::Value::String(text.to_owned()).to_string(),
            (false, number) => number.to_owned(),
        };
        let beside = match &value.given {
            Some(place) => {
                let default = value.default.as_deref().unwrap_or("none");
                format!("{place}; default {default}")
            }
            None if written.is_empty() => "not given".to_owned(),
            None => "default".to_owned(),
        };
        let mark = if value.given.is_some() { "" } else { "# " };
        lines.push(format!(
            "{mark}{} = {written}  # {}; {beside}",
            quoted(name),
            value.must_be
        ));
    }
    lines.join("\n").trim_start().to_owned()
}

/// A text in lines of at most 100 characters.
fn wrapped(text: &str) -> impl Iterator<Item = String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        if let Some(line) = lines.last_mut() {
            if line.is_empty() {
                line.push_str(word);
            } else if line.len() + word.len() < 98 {
                line.push(' ');
                line.push_str(word);
            } else {
                lines.push(word.to_owned());
            }
        }
    }
    lines.into_iter()
}

fn as_csv(listed: &[Listed]) -> anyhow::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "setting", "value", "default", "unit", "must_be", "source", "meaning",
    ])?;
    for value in listed {
        let source = match &value.given {
            Some(place) => place.to_string(),
            None => "default".to_owned(),
        };
        writer.write_record([
            value.key.as_str(),
            &value.value,
            value.default.as_deref().unwrap_or_default(),
            value.unit,
            &value.must_be,
            &source,
            value.meaning,
        ])?;
    }
    let text = String::from_utf8(writer.into_inner()?)?;
    Ok(text.trim_end().to_owned())
}
