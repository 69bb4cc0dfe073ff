//! The sections that reports are made of, one folder each: its query, its rows, its lines, its sheet
//! and its template `section.md`, which a reader's own `NAME.md` comes before.
//!
//! A new section is a folder with a [`Section`] in it and one line in a report's list. Sections read
//! derived tables through a [`Reading`] and what the report is about, and nothing else; rows that
//! several need are read by the one they are about. A section fails when its query or its template is
//! not right.

pub mod appendix;
pub mod came_back;
pub mod cleared_unchecked;
pub mod codes_that_stay;
pub mod comeback_method;
pub mod comeback_months;
pub mod comeback_opening;
pub mod comeback_rates;
pub mod data;
pub mod data_in_full;
pub mod depot_lines;
pub mod depot_sheet;
pub mod depots;
pub mod doubtful_failures;
pub mod failure_rates;
pub mod flood_oddities;
pub mod floods;
pub mod glossary;
pub mod history_batteries;
pub mod history_corrections;
pub mod history_events;
pub mod history_now;
pub mod history_opening;
pub mod history_told;
pub mod history_vehicle;
pub mod last_report;
pub mod lines_not_used;
pub mod lives;
pub mod method;
pub mod next_quarter;
pub mod not_heard_of;
pub mod opening;
pub mod past_reports;
pub mod pick_list;
pub mod ranking;
pub mod recoveries;
pub mod repeat_batteries;
pub mod repeat_vehicles;
pub mod replaced_in_flood;
pub mod screen_details;
pub mod screen_method;
pub mod screen_opening;
pub mod screened;
pub mod test_first;
pub mod traction_or_supply;
pub mod trends;
pub mod untested_floods;

use std::future::Future;
use std::pin::Pin;

use chrono::{Datelike, Days, NaiveDate};
use minijinja::{Value, context};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::chart::Chart;
use super::chart::file_name;
use super::document::Page;
use super::style::ReportStyle;
use super::table_files::{Column, Kind, Sheet, column};
use super::templates::Templates;
use super::words;
use super::{ReportError, cells};
use tables::Analysis;

/// Rows of a list in the text; its file has all of them.
pub const LIST_ROWS: usize = 20;
/// How far back lists of what happened look.
pub const RECENT_DAYS: u64 = 91;
pub const YEAR_DAYS: u64 = 364;

/// One section of a report about `S`: nothing beyond the lake, or a vehicle, or a list of them.
pub struct Section<S: 'static = ()> {
    /// What is being worked on while it is made.
    pub doing: &'static str,
    /// Its texts, each with the name that a reader's own would have.
    pub templates: &'static [Template],
    pub make: for<'a> fn(&'a Reading<'a, S>) -> Making<'a>,
}

/// A text's name, such as `floods.md`, and the text as it is shipped.
pub type Template = (&'static str, &'static str);

/// The texts of all reports' sections.
pub fn templates() -> impl Iterator<Item = Template> {
    fn of<S>(sections: &'static [Section<S>]) -> impl Iterator<Item = Template> {
        sections
            .iter()
            .flat_map(|section| section.templates)
            .copied()
    }
    of(super::weekly::SECTIONS)
        .chain(of(super::comebacks::SECTIONS))
        .chain(of(super::screen::SECTIONS))
        .chain(of(super::history::SECTIONS))
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

/// All sections of a report, one after the other; `progress` hears what is being worked on.
pub async fn make<S>(
    sections: &[Section<S>],
    reading: &Reading<'_, S>,
    progress: &dyn Fn(&str),
) -> Result<Part, ReportError> {
    let mut whole = Part::default();
    for section in sections {
        progress(section.doing);
        whole.append((section.make)(reading).await?);
    }
    Ok(whole)
}

/// A share with its 95 % limits.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct Share {
    pub share: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

impl Share {
    /// "4.2 % (2.1–6.3 %)".
    pub fn said(share: Option<&Self>) -> String {
        match share {
            Some(share) => with_limits(share.share, share.lower, share.upper),
            None => with_limits(None, None, None),
        }
    }
}

fn with_limits(share: Option<f64>, lower: Option<f64>, upper: Option<f64>) -> String {
    match (share, lower, upper) {
        (Some(share), Some(lower), Some(upper)) => format!(
            "{} ({})",
            cells::per_cent(share),
            cells::per_cent_limits(lower, upper)
        ),
        _ => "not known".to_owned(),
    }
}

/// The columns that name the vehicle in a file.
fn vehicle_columns<'a, T: 'a>(
    style: &'a ReportStyle,
    vin: fn(&T) -> &str,
    unit_no: fn(&T) -> Option<&str>,
) -> Vec<Column<'a, T>> {
    vec![
        column("vin", Kind::Text, move |row: &T| style.vin(vin(row))),
        column("unit_no", Kind::Text, move |row: &T| {
            unit_no(row).map(|unit| style.unit(unit))
        }),
    ]
}

/// Charts as a template names them.
fn named(charts: &[Chart]) -> Vec<Value> {
    charts
        .iter()
        .map(|chart| context! { path => chart.path(), alternative => chart.alternative })
        .collect()
}

/// The folder of a vehicle's history, of the vehicle that the reader calls so.
pub fn history_folder(called: &str) -> String {
    format!("history-{}", file_name(called))
}
