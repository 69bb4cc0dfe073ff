//! The past year by week: failures, worn batteries, tests, open recoveries, told against came.

use chrono::NaiveDate;
use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section, with_limits};
use crate::ReportError;
use crate::cells;
use crate::chart::{self, BandPoint, Chart, Scale, Trend};
use crate::table_files::{Kind, Sheet, column};

/// The section.
pub const SECTION: Section = Section {
    doing: "looking back over the year",
    templates: &[("trends.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// The weeks that the page's table names; the file has all.
const NAMED_WEEKS: [i64; 5] = [0, 13, 26, 39, 52];

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let mut weeks: Vec<Week> = reading
        .rows("SELECT * FROM fleet_week ORDER BY weeks_ago DESC")
        .await?;
    // What was before the fleet's first battery is no trend.
    weeks.retain(|week| week.batteries.is_some_and(|batteries| batteries > 0));
    let charts = charts(&weeks);
    let part = reading.part(
        "trends.md",
        context! {
            changed => changed(&weeks),
            charts => super::named(&charts),
            weeks => weeks.iter().filter(|week| NAMED_WEEKS.contains(&week.weeks_ago)).map(WeekLine::new).collect::<Vec<_>>(),
        },
    )?;
    Ok(part.with_charts(charts).with_table(sheet(&weeks)))
}

/// A week's end of the past year.
#[derive(Debug, Deserialize)]
struct Week {
    weeks_ago: i64,
    week_end: NaiveDate,
    batteries: Option<i64>,
    battery_months: Option<f64>,
    failures: Option<i64>,
    /// Failures per 1,000 battery-months of the 13 weeks up to it.
    rate: Option<f64>,
    rate_lower: Option<f64>,
    rate_upper: Option<f64>,
    tested: i64,
    worn: i64,
    share_worn: Option<f64>,
    share_worn_lower: Option<f64>,
    share_worn_upper: Option<f64>,
    share_tested: Option<f64>,
    open_recoveries: i64,
    told: Option<f64>,
    came: Option<i64>,
}

impl Week {
    fn rate(&self) -> String {
        match (self.rate, self.rate_lower, self.rate_upper) {
            (Some(rate), Some(lower), Some(upper)) => {
                format!("{rate:.1} ({lower:.1}–{upper:.1})")
            }
            _ => "not known".to_owned(),
        }
    }

    fn worn(&self) -> String {
        with_limits(
            self.share_worn,
            self.share_worn_lower,
            self.share_worn_upper,
        )
    }
}

/// A figure with its limits, of which only those that lie apart are told to differ.
fn apart(now: (Option<f64>, Option<f64>), then: (Option<f64>, Option<f64>)) -> Option<bool> {
    let ((now_lower, now_upper), (then_lower, then_upper)) = ((now.0?, now.1?), (then.0?, then.1?));
    match (now_lower > then_upper, now_upper < then_lower) {
        (true, _) => Some(true),
        (_, true) => Some(false),
        _ => None,
    }
}

/// What changed over the year beyond its limits, in a line; the rest is said to be within them.
fn changed(weeks: &[Week]) -> Option<String> {
    let (then, now) = (weeks.first()?, weeks.last()?);
    if then.weeks_ago == now.weeks_ago {
        return None;
    }
    let rate = |week: &Week| (week.rate_lower, week.rate_upper);
    let worn = |week: &Week| (week.share_worn_lower, week.share_worn_upper);
    let of = |what: &str, then_words: String, now_words: String, more: Option<bool>| {
        let how = match more {
            Some(true) => "rose",
            Some(false) => "fell",
            None => "no change beyond its limits",
        };
        format!("{what}: {how}, {then_words} then, {now_words} now")
    };
    let share = |share: Option<f64>| share.map_or_else(|| "not known".to_owned(), cells::per_cent);
    Some(format!(
        "Against {}. {}. {}. Tested in the last year: {} then, {} now. Open recoveries: {} then, {} now.",
        then.week_end,
        of(
            "Failures per 1,000 battery-months",
            then.rate(),
            now.rate(),
            apart(rate(now), rate(then))
        ),
        of(
            "Worn among those tested",
            then.worn(),
            now.worn(),
            apart(worn(now), worn(then))
        ),
        share(then.share_tested),
        share(now.share_tested),
        then.open_recoveries,
        now.open_recoveries,
    ))
}

/// What is drawn; what does not move is not.
fn charts(weeks: &[Week]) -> Vec<Chart> {
    let with_band = |of: &dyn Fn(&Week) -> [Option<f64>; 3]| {
        let points = weeks.iter().filter_map(|week| {
            let [value, lower, upper] = of(week);
            Some(BandPoint {
                day: week.week_end,
                value: value?,
                lower: lower?,
                upper: upper?,
            })
        });
        points.collect::<Vec<_>>()
    };
    let bare = |of: &dyn Fn(&Week) -> Option<f64>| with_band(&|week| [of(week); 3]);
    let drawn =
        |name: &str, label: &str, words: &str, scale: Scale, reach: f64, line: &[BandPoint]| {
            let moves = line
                .windows(2)
                .any(|pair| (pair[0].value - pair[1].value).abs() > 1e-9);
            let what = Trend {
                label,
                line,
                scale,
                reach,
                ..Trend::default()
            };
            moves.then(|| chart::trend(name, words, &what)).flatten()
        };
    [
        drawn(
            "trend-failures",
            "failures per 1,000 battery-months, 13 weeks",
            "Failures per 1,000 battery-months in the 13 weeks up to each week's end, with 95 % limits.",
            Scale::Number,
            1.0,
            &with_band(&|week| [week.rate, week.rate_lower, week.rate_upper]),
        ),
        drawn(
            "trend-worn",
            "worn or failed, of those tested",
            "Share worn or failed among batteries whose last test speaks for them, with 95 % limits.",
            Scale::Share,
            0.02,
            &with_band(&|week| [week.share_worn, week.share_worn_lower, week.share_worn_upper]),
        ),
        drawn(
            "trend-tested",
            "tested in the year before",
            "Share of batteries in service that a test speaks for.",
            Scale::Share,
            1.0,
            &bare(&|week| week.share_tested),
        ),
        drawn(
            "trend-recoveries",
            "recoveries that stand open",
            "Recoveries that stood open at each week's end.",
            Scale::Number,
            1.0,
            &bare(&|week| Some(week.open_recoveries as f64)),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[derive(Debug, Serialize)]
struct WeekLine {
    week_end: String,
    batteries: Option<i64>,
    failures: Option<i64>,
    rate: String,
    worn: String,
    share_tested: Option<f64>,
    open_recoveries: i64,
}

impl WeekLine {
    fn new(week: &Week) -> Self {
        Self {
            week_end: week.week_end.to_string(),
            batteries: week.batteries,
            failures: week.failures,
            rate: week.rate(),
            worn: week.worn(),
            share_tested: week.share_tested,
            open_recoveries: week.open_recoveries,
        }
    }
}

fn sheet(rows: &[Week]) -> Sheet {
    Sheet::new(
        "trends",
        rows,
        vec![
            column("week_end", Kind::Day, |row: &Week| row.week_end.to_string()),
            column("batteries", Kind::Integer, |row: &Week| row.batteries),
            column("battery_months", Kind::Number(1), |row: &Week| {
                row.battery_months
            }),
            column("failures", Kind::Integer, |row: &Week| row.failures),
            column(
                "failures_per_1000_battery_months",
                Kind::Number(2),
                |row: &Week| row.rate,
            ),
            column("lower", Kind::Number(2), |row: &Week| row.rate_lower),
            column("upper", Kind::Number(2), |row: &Week| row.rate_upper),
            column("tested", Kind::Integer, |row: &Week| row.tested),
            column("worn", Kind::Integer, |row: &Week| row.worn),
            column("share_worn", Kind::Share, |row: &Week| row.share_worn),
            column("share_tested", Kind::Share, |row: &Week| row.share_tested),
            column("open_recoveries", Kind::Integer, |row: &Week| {
                row.open_recoveries
            }),
            column("failures_told", Kind::Number(1), |row: &Week| row.told),
            column("failures_that_came", Kind::Integer, |row: &Week| row.came),
        ],
    )
}
