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

use minijinja::{Value, context};
use serde::{Deserialize, Serialize};

use super::cells;
use super::chart::{Chart, file_name};
use super::section::{Part, Reading, Section};
use super::style::ReportStyle;
use super::table_files::{Column, Kind, column};

/// Rows of a list in the text; its file has all of them.
pub const LIST_ROWS: usize = 20;
/// How far back lists of what happened look.
pub const RECENT_DAYS: u64 = 91;
pub const YEAR_DAYS: u64 = 364;

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
