//! The sections that reports are made of, one folder each: its query, its rows, its lines, its sheet
//! and its template `section.md`, which a reader's own `NAME.md` comes before.
//!
//! A new section is a folder with a [`Section`] in it and one line in a report's list. Sections read
//! derived tables through a [`Reading`] and nothing else; rows that several need are read by the one
//! they are about. A section fails when its query or its template is not right.

pub mod data;
pub mod depot_sheet;
pub mod depots;
pub mod failure_rates;
pub mod floods;
pub mod glossary;
pub mod last_report;
pub mod lives;
pub mod method;
pub mod opening;
pub mod pick_list;
pub mod ranking;
pub mod recoveries;
pub mod test_first;

use std::future::Future;
use std::pin::Pin;

use chrono::Datelike;
use minijinja::{Value, context};
use serde::de::DeserializeOwned;

use super::ReportError;
use super::chart::Chart;
use super::document::Page;
use super::manner::Manner;
use super::table_files::Sheet;
use super::templates::Templates;
use super::words;
use tables::Analysis;

/// Rows of a list in the text; its file has all of them.
pub const LIST_ROWS: usize = 20;

/// One section of a report.
pub struct Section {
    /// Its folder, and its template `NAME.md`.
    pub name: &'static str,
    /// What is being worked on while it is made.
    pub doing: &'static str,
    pub make: for<'a> fn(&'a Reading<'a>) -> Making<'a>,
}

/// A section in the making.
pub type Making<'a> = Pin<Box<dyn Future<Output = Result<Part, ReportError>> + Send + 'a>>;

/// What a section is made from.
pub struct Reading<'a> {
    pub analysis: &'a Analysis,
    pub manner: &'a Manner,
    pub templates: &'a Templates,
}

impl Reading<'_> {
    /// The rows of a query.
    pub async fn rows<T: DeserializeOwned>(&self, sql: &str) -> Result<Vec<T>, ReportError> {
        Ok(self.analysis.rows(sql).await?)
    }

    /// The week reported on, such as 2026-W26.
    pub fn week(&self) -> String {
        let week = self.analysis.as_of().iso_week();
        format!("{}-W{:02}", week.year(), week.week())
    }

    /// A text from its template and what it holds; day, week, settings and version are at hand in
    /// every template.
    pub fn text(&self, template: &str, content: Value) -> Result<String, ReportError> {
        self.templates.render(
            template,
            context! {
                week => self.week(),
                as_of => self.analysis.as_of().to_string(),
                settings => self.analysis.settings(),
                version => env!("CARGO_PKG_VERSION"),
                shared => self.manner.shared(),
                ..content
            },
        )
    }

    /// The section of that text.
    pub fn part(&self, template: &str, content: Value) -> Result<Part, ReportError> {
        Ok(Part {
            markdown: self.text(template, content)?,
            ..Part::default()
        })
    }

    /// A cohort's name as the reader knows it.
    pub fn cohort(&self, kind: &str, cohort: &str) -> String {
        match kind {
            "heat" => words::heat::band(cohort, self.manner.units),
            "battery group" if cohort != "not known" => self.manner.battery_group(cohort),
            _ => cohort.to_owned(),
        }
    }
}

/// What a section gives to its report.
#[derive(Debug, Default)]
pub struct Part {
    pub markdown: String,
    pub charts: Vec<Chart>,
    pub tables: Vec<Sheet>,
    /// Pages to print, beside the report.
    pub pages: Vec<Page>,
    /// The report in a few lines, of the section that has it.
    pub short_version: Vec<String>,
}

impl Part {
    pub fn with_table(mut self, table: Sheet) -> Self {
        self.tables.push(table);
        self
    }

    pub fn with_charts(mut self, charts: impl IntoIterator<Item = Chart>) -> Self {
        self.charts.extend(charts);
        self
    }

    pub fn with_page(mut self, page: Page) -> Self {
        self.pages.push(page);
        self
    }

    pub fn with_short_version(mut self, lines: Vec<String>) -> Self {
        self.short_version = lines;
        self
    }

    /// Puts another section behind.
    fn append(&mut self, next: Part) {
        if !self.markdown.is_empty() {
            self.markdown.push('\n');
        }
        self.markdown.push_str(&next.markdown);
        self.charts.extend(next.charts);
        self.tables.extend(next.tables);
        self.pages.extend(next.pages);
        self.short_version.extend(next.short_version);
    }
}

/// All sections of a report, one after the other; `progress` hears what is being worked on.
pub async fn make(
    sections: &[Section],
    reading: &Reading<'_>,
    progress: &dyn Fn(&str),
) -> Result<Part, ReportError> {
    let mut whole = Part::default();
    for section in sections {
        progress(section.doing);
        whole.append((section.make)(reading).await?);
    }
    Ok(whole)
}

/// Charts as a template names them.
fn named(charts: &[Chart]) -> Vec<Value> {
    charts
        .iter()
        .map(|chart| context! { path => chart.path(), alternative => chart.alternative })
        .collect()
}

/// A name as a file's name takes it.
fn file_name(name: &str) -> String {
    name.chars()
        .map(|letter| match letter.is_ascii_alphanumeric() {
            true => letter.to_ascii_lowercase(),
            false => '-',
        })
        .collect()
}
