//! The failures to expect in the coming 13 weeks, as a fan that opens with the weeks.

use chrono::NaiveDate;
use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::chart::{self, BandPoint, Chart, Scale, Trend};
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking ahead over the quarter",
    templates: &[("next_quarter.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

const FORECAST: &str = "SELECT * FROM failure_forecast ORDER BY week";

/// One of the coming weeks; all counts are up to its end.
#[derive(Debug, Deserialize, Serialize)]
struct Week {
    up_to: NaiveDate,
    failures: f64,
    failures_left_alone: f64,
    record_failures: f64,
    failures_lower: f64,
    failures_upper: f64,
    failures_lower_half: f64,
    failures_upper_half: f64,
}

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let weeks: Vec<Week> = reading.rows(FORECAST).await?;
    let fan = fan(&weeks, reading.analysis.as_of());
    let part = reading.part(
        "next_quarter.md",
        context! {
            last => weeks.last(),
            weeks => weeks.len(),
            charts => super::named(fan.as_slice()),
        },
    )?;
    Ok(part.with_charts(fan).with_table(sheet(&weeks)))
}

/// Failures so far week by week, from none today, within bands of 95 % and 50 %.
fn fan(weeks: &[Week], as_of: NaiveDate) -> Option<Chart> {
    let band = |limits: fn(&Week) -> (f64, f64)| -> Vec<BandPoint> {
        let today = BandPoint {
            day: as_of,
            value: 0.0,
            lower: 0.0,
            upper: 0.0,
        };
        let ahead = weeks.iter().map(|week| {
            let (lower, upper) = limits(week);
            BandPoint {
                day: week.up_to,
                value: week.failures,
                lower,
                upper,
            }
        });
        std::iter::once(today).chain(ahead).collect()
    };
    let last = weeks.last()?;
    chart::trend(
        "forecast",
        &format!(
            "Failures on the road from today up to each week's end while the plan is kept: {:.1} by {}, between {} and {} in 19 cases of 20 (the wide band), between {} and {} in every other case (the narrow one).",
            last.failures,
            last.up_to,
            last.failures_lower,
            last.failures_upper,
            last.failures_lower_half,
            last.failures_upper_half,
        ),
        &Trend {
            label: "failures from today on",
            line: &band(|week| (week.failures_lower, week.failures_upper)),
            inner: &band(|week| (week.failures_lower_half, week.failures_upper_half)),
            scale: Scale::Number,
            reach: 1.0,
            ..Trend::default()
        },
    )
}

fn sheet(rows: &[Week]) -> Sheet {
    Sheet::new(
        "forecast",
        rows,
        vec![
            column("up_to", Kind::Day, |row: &Week| row.up_to.to_string()),
            column("failures", Kind::Number(2), |row: &Week| row.failures),
            column("lower_95", Kind::Number(0), |row: &Week| row.failures_lower),
            column("upper_95", Kind::Number(0), |row: &Week| row.failures_upper),
            column("lower_50", Kind::Number(0), |row: &Week| {
                row.failures_lower_half
            }),
            column("upper_50", Kind::Number(0), |row: &Week| {
                row.failures_upper_half
            }),
            column("failures_left_alone", Kind::Number(2), |row: &Week| {
                row.failures_left_alone
            }),
        ],
    )
}
