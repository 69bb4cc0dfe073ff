//! The texts of reports: minijinja templates, shipped with the program, each replaceable by one of
//! the same name in the reader's own folder.
//!
//! What a `.md` template prints is made safe for Markdown, so no text from a dump can become mark-up:
//! only what a template itself writes, or marks `| safe`, is mark-up. A missing value prints as "not
//! known". It fails on a template that is not right and on a name it prints that is not there.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use minijinja::value::{Value, ValueKind};
use minijinja::{AutoEscape, Environment, ErrorKind, Output, State, UndefinedBehavior};

use super::style::ReportStyle;
use super::{ReportError, cells};
use settings::limits::count;
use trade::calendar::DAYS_A_YEAR;

/// A text's name, such as `floods.md`, and the text as it is shipped.
pub type Template = (&'static str, &'static str);

/// The templates of one run.
#[derive(Debug)]
pub struct Templates {
    environment: Environment<'static>,
    /// Steps that a template may take.
    steps: i64,
    shipped: Arc<[Template]>,
}

impl Templates {
    /// The shipped templates, those of the reader's folder before them.
    pub fn new(
        style: &ReportStyle,
        shipped: impl Iterator<Item = Template>,
    ) -> Result<Self, ReportError> {
        let shipped: Arc<[Template]> = shipped.collect();
        if let Some(folder) = &style.templates {
            check_folder(folder, &shipped)?;
        }
        let mut environment = Environment::new();
        // A template that goes round for ever ends with an error.
        environment.set_fuel(Some(count(style.limits.template_steps)));
        environment.set_trim_blocks(true);
        environment.set_lstrip_blocks(true);
        environment.set_keep_trailing_newline(true);
        environment.set_undefined_behavior(UndefinedBehavior::Strict);
        let own = style.templates.clone();
        let texts = Arc::clone(&shipped);
        environment.set_loader(move |name| load(own.as_ref(), &texts, name));
        environment.set_auto_escape_callback(|name| match name.ends_with(".md") {
            true => AutoEscape::Custom("markdown"),
            false => AutoEscape::None,
        });
        environment.set_formatter(print);
        add_filters(&mut environment, style);
        Ok(Self {
            environment,
            steps: style.limits.template_steps,
            shipped,
        })
    }

    /// Fills a template in.
    pub fn render(&self, name: &str, content: Value) -> Result<String, ReportError> {
        let text = self
            .environment
            .get_template(name)
            .and_then(|template| template.render(content))
            .map_err(|source| match source.kind() {
                ErrorKind::OutOfFuel => ReportError::TemplateSteps {
                    template: name.to_owned(),
                    steps: self.steps,
                },
                _ => ReportError::Template {
                    template: name.to_owned(),
                    source,
                },
            })?;
        Ok(tidy(&text))
    }

    /// The names of the shipped templates.
    pub fn shipped(&self) -> impl Iterator<Item = &'static str> {
        self.shipped.iter().map(|(name, _)| *name)
    }
}

/// That every text in the reader's folder is one that a report asks for, or that another may include.
fn check_folder(folder: &Path, shipped: &[Template]) -> Result<(), ReportError> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Err(ReportError::NoTemplates(folder.to_owned()));
    };
    for path in entries.flatten().map(|entry| entry.path()) {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let is_known = name.starts_with(['_', '.']) || shipped.iter().any(|(of, _)| *of == name);
        if name.ends_with(".md") && !is_known {
            return Err(ReportError::UnknownTemplate {
                path,
                names: shipped.iter().map(|(name, _)| *name).collect(),
            });
        }
    }
    Ok(())
}

fn load(
    own: Option<&PathBuf>,
    shipped: &[Template],
    name: &str,
) -> Result<Option<String>, minijinja::Error> {
    // A template's name is never a way out of its folder.
    if name.contains(['/', '\\']) || name.contains("..") {
        return Ok(None);
    }
    if let Some((folder, path)) = own
        .map(|folder| (folder, folder.join(name)))
        .filter(|(_, path)| path.exists())
    {
        let read = settings::text_file::read_within(folder, &path);
        return read.map(Some).map_err(|error| {
            minijinja::Error::new(
                ErrorKind::InvalidOperation,
                format!("{} could not be read", path.display()),
            )
            .with_source(error)
        });
    }
    Ok(shipped
        .iter()
        .find(|(of, _)| *of == name)
        .map(|(_, text)| (*text).to_owned()))
}

/// Prints one value: missing ones in words, text made safe where the template is Markdown.
fn print(
    out: &mut Output<'_>,
    state: &State<'_, '_>,
    value: &Value,
) -> Result<(), minijinja::Error> {
    if matches!(value.kind(), ValueKind::None) {
        out.write_str("not known")?;
        return Ok(());
    }
    let markdown = matches!(state.auto_escape(), AutoEscape::Custom("markdown"));
    match value.as_str() {
        Some(text) if markdown && !value.is_safe() => out.write_str(&cells::markdown(text))?,
        Some(text) => out.write_str(text)?,
        None if value.is_undefined() => return minijinja::escape_formatter(out, state, value),
        None => out.write_str(&value.to_string())?,
    }
    Ok(())
}

/// A filter over numbers that leaves a missing value missing.
fn over_numbers(
    written: impl Fn(f64) -> String + Send + Sync + 'static,
) -> impl Fn(Value) -> Result<Value, minijinja::Error> + Send + Sync + 'static {
    move |value: Value| match value.is_none() {
        true => Ok(value),
        false => f64::try_from(value).map(|number| Value::from_safe_string(written(number))),
    }
}

fn add_filters(environment: &mut Environment<'static>, style: &ReportStyle) {
    environment.add_filter("md", |text: String| {
        Value::from_safe_string(cells::markdown(&text))
    });
    environment.add_filter("thousands", over_numbers(cells::thousands));
    environment.add_filter("chance", over_numbers(cells::chance));
    environment.add_filter("per_cent", over_numbers(cells::per_cent));
    environment.add_filter("age", over_numbers(cells::age));
    environment.add_filter(
        "years",
        over_numbers(|days| format!("{:.1}", days / DAYS_A_YEAR)),
    );
    environment.add_filter("digits", |value: Value, digits: usize| {
        match value.is_none() {
            true => Ok(value),
            false => f64::try_from(value)
                .map(|number| Value::from_safe_string(format!("{number:.digits$}"))),
        }
    });
    let currency = style.currency.clone();
    environment.add_filter(
        "money",
        over_numbers(move |amount| cells::money(&currency, amount)),
    );
    let units = style.units;
    environment.add_filter(
        "temperature",
        over_numbers(move |celsius| units.temperature(celsius)),
    );
    environment.add_filter("distance", over_numbers(move |km| units.distance(km)));
    let named = style.clone();
    environment.add_filter("vin", move |vin: String| named.vin(&vin));
    let named = style.clone();
    environment.add_filter("unit", move |unit: String| named.unit(&unit));
    let named = style.clone();
    environment.add_filter("technician", move |technician: String| {
        named.technician(&technician)
    });
}

/// No more than one empty line at a stretch, none at the end, no spaces at a line's end, one space in
/// an empty cell.
fn tidy(text: &str) -> String {
    let mut tidied = String::with_capacity(text.len());
    let mut empty = true;
    for line in text.lines().map(str::trim_end) {
        if line.is_empty() && empty {
            continue;
        }
        empty = line.is_empty();
        match line.starts_with("| ") {
            true => tidied.push_str(&line.replace("|  |", "| |").replace("|  |", "| |")),
            false => tidied.push_str(line),
        }
        tidied.push('\n');
    }
    while tidied.ends_with("\n\n") {
        tidied.pop();
    }
    tidied
}
