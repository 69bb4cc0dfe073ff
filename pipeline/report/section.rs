//! What a section of a report is: what it reads from, what it gives.

use std::future::Future;
use std::pin::Pin;

use chrono::{Datelike, Days, NaiveDate};
use futures::{StreamExt, stream};
use minijinja::context;
use minijinja::value::Value;
use serde::de::DeserializeOwned;

use super::ReportError;
use super::chart::Chart;
use super::once::Once;
use super::page::Paper;
use super::style::ReportStyle;
use super::table_files::Sheet;
use super::templates::{Template, Templates};
use super::words;
use tables::Analysis;

/// One section of a report about `S`: nothing beyond the lake, or a vehicle, or a list of them.
pub struct Section<S: 'static = ()> {
    /// What is being worked on while it is made.
    pub doing: &'static str,
    /// Its texts, each with the name that a reader's own would have.
    pub templates: &'static [Template],
    pub make: for<'a> fn(&'a Reading<'a, S>) -> Making<'a>,
}

/// A section in the making.
pub type Making<'a> = Pin<Box<dyn Future<Output = Result<Part, ReportError>> + Send + 'a>>;

/// What a section is made from.
pub struct Reading<'a, S = ()> {
    pub analysis: &'a Analysis,
    pub style: &'a ReportStyle,
    pub templates: &'a Templates,
    /// What the report is about, beyond the lake.
    pub about: &'a S,
    /// What several sections read.
    pub once: Once,
}

impl<S> Reading<'_, S> {
    /// The rows of a query.
    pub async fn rows<T: DeserializeOwned>(&self, sql: &str) -> Result<Vec<T>, ReportError> {
        Ok(self.analysis.rows(sql).await?)
    }

    /// The week reported on, such as 2026-W26.
    pub fn week(&self) -> String {
        let week = self.analysis.as_of().iso_week();
        format!("{}-W{:02}", week.year(), week.week())
    }

    /// The day so many days before the one looked back from.
    pub fn since(&self, days: u64) -> String {
        let first = self.analysis.as_of().checked_sub_days(Days::new(days));
        first.unwrap_or(NaiveDate::MIN).to_string()
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
                shared => self.style.shared(),
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
            "heat" => words::heat::band(cohort, self.style.units),
            "battery group" if cohort != "not known" => self.style.battery_group(cohort),
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

/// Sections, or documents of them, that are made side by side, so that the tables they read are: as many as a report
/// has, for what one waits for leaves room for another's.
pub const AT_A_TIME: usize = 24;

/// All sections of a report, one behind the other; `progress` hears what is being worked on.
pub async fn make<S>(
    sections: &[Section<S>],
    reading: &Reading<'_, S>,
    progress: &dyn Fn(&str),
) -> Result<Part, ReportError> {
    let mut whole = Part::default();
    let mut made = stream::iter(sections)
        .map(|section| (section.make)(reading))
        .buffered(AT_A_TIME);
    for section in sections {
        progress(section.doing);
        if let Some(part) = made.next().await {
            whole.append(part?);
        }
    }
    Ok(whole)
}

/// A page to print, beside a report.
#[derive(Debug, Clone)]
pub struct Page {
    /// Its files are `NAME.md` and `NAME.html`.
    pub name: &'static str,
    pub title: String,
    pub markdown: String,
    pub paper: Paper,
}
