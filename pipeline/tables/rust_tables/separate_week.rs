//! Which weeks' reports may be counted together against what came: the table separate_week.
//!
//! Reports of neighbouring weeks look at the same days, and one failure in them would count for each. So of the
//! reports whose days are over the newest is taken, then the next one whose days end before, and so on.

use chrono::{Days, NaiveDate};
use futures::FutureExt;
use serde::Deserialize;

use super::fits::{rows_of, text_column};
use super::{Computed, Rows};
use crate::{Analysis, AnalysisError};

pub const SEPARATE_WEEK: Computed = Computed {
    name: "separate_week",
    about: "One row is a week whose report's days are over and are days of no other such week's report.",
    reads: &["risk_week"],
    make: |analysis| separate_week(analysis).boxed(),
};

/// A week's report and the days it spoke of.
#[derive(Debug, Deserialize)]
struct Told {
    week: String,
    told_on: NaiveDate,
    horizon_days: u64,
}

async fn separate_week(analysis: &Analysis) -> Result<Rows, AnalysisError> {
    let reports: Vec<Told> = analysis
        .rows(
            "SELECT week, MAX(as_of) AS told_on, MAX(horizon_days) AS horizon_days FROM risk_week
             GROUP BY week ORDER BY told_on DESC, week DESC",
        )
        .await?;
    let separate = separate(&reports, analysis.as_of());
    rows_of(vec![(
        "week",
        text_column(separate.iter().map(|report| report.week.as_str())),
    )])
}

/// Of reports, the newest first, those whose days end before the days of the one taken before them begin.
fn separate(reports: &[Told], as_of: NaiveDate) -> Vec<&Told> {
    let mut next_begins = as_of;
    let mut taken = Vec::new();
    for report in reports {
        let over_on = report
            .told_on
            .checked_add_days(Days::new(report.horizon_days));
        if over_on.is_some_and(|day| day <= next_begins) {
            next_begins = report.told_on;
            taken.push(report);
        }
    }
    taken
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    #[test]
    fn of_weekly_reports_one_in_eight_counts() {
        let reports: Vec<Told> = (0..40)
            .map(|weeks_ago| Told {
                week: format!("{weeks_ago} weeks ago"),
                told_on: day("2026-06-28") - Days::new(7 * weeks_ago),
                horizon_days: 56,
            })
            .collect();
        let weeks: Vec<&str> = separate(&reports, day("2026-06-28"))
            .iter()
            .map(|report| report.week.as_str())
            .collect();
        let expected = [
            "8 weeks ago",
            "16 weeks ago",
            "24 weeks ago",
            "32 weeks ago",
        ];
        assert_eq!(weeks, expected);
    }

    #[test]
    fn without_a_report_whose_days_are_over_there_is_none() {
        let fresh = Told {
            week: "now".to_owned(),
            told_on: day("2026-06-21"),
            horizon_days: 56,
        };
        assert!(separate(&[fresh], day("2026-06-28")).is_empty());
        assert!(separate(&[], day("2026-06-28")).is_empty());
    }
}
