//! The ranking in words, as tables print it.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::rows::RiskRow;
use crate::sections::Reading;
use crate::style::ReportStyle;
use crate::{ReportError, cells};

/// Tests shown in a battery's small drawing.
const SPARK_TESTS: usize = 8;

/// Of each battery of the ranking the newest tests, as many as are drawn.
fn healths() -> String {
    format!(
        "SELECT vin, position, battery_no, health
         FROM (SELECT c.vin, c.position, c.battery_no, c.health, c.tested_at,
                      ROW_NUMBER() OVER (PARTITION BY c.vin, c.position, c.battery_no
                                         ORDER BY c.tested_at DESC, c.health DESC) AS recency
               FROM battery_condition c
               JOIN replacement_plan p ON p.vin = c.vin AND p.position = c.position AND p.battery_no = c.battery_no
               WHERE c.health IS NOT NULL AND c.verdict <> 'discharged')
         WHERE recency <= {SPARK_TESTS}
         ORDER BY vin, position, battery_no, tested_at, health"
    )
}

/// The share of rated cranking ability that one test found.
#[derive(Debug, Deserialize)]
struct Health {
    vin: String,
    position: String,
    battery_no: i64,
    health: f64,
}

/// The healths of each battery's tests when it was charged, oldest first.
#[derive(Default)]
pub struct Trends(BTreeMap<(String, String, i64), Vec<f64>>);

/// The trends of all batteries.
pub async fn trends(reading: &Reading<'_>) -> Result<Arc<Trends>, ReportError> {
    let found = || async {
        let mut trends = Trends::default();
        let each = |row: Health| {
            let position = reading.style.position(&row.position);
            let key = (row.vin, position, row.battery_no);
            trends.0.entry(key).or_default().push(row.health);
        };
        reading.analysis.each(&healths(), each).await?;
        Ok(trends)
    };
    reading.once.of("the trends", found).await
}

impl Trends {
    /// What the last test of the charged battery found, as the page draws it: a discharged battery says
    /// nothing of its health.
    pub fn last(&self, row: &RiskRow) -> Option<f64> {
        let key = (row.vin.clone(), row.position.clone(), row.battery_no);
        self.0.get(&key)?.last().copied()
    }

    /// The drawing of a battery's tests and where they stand now: "▇▆▄ 62 %".
    pub fn of(&self, row: &RiskRow) -> String {
        let key = (row.vin.clone(), row.position.clone(), row.battery_no);
        let Some(healths) = self.0.get(&key) else {
            // A discharged battery says nothing of its health.
            let found = row.verdict.as_deref() == Some("discharged");
            return if found { "discharged" } else { "no test" }.to_owned();
        };
        let shown = &healths[healths.len().saturating_sub(SPARK_TESTS)..];
        match shown {
            [] => "no test".to_owned(),
            [only] => format!("{:.0} %, 1 test", only * 100.0),
            [.., last] => format!("{} {:.0} %", cells::spark(shown), last * 100.0),
        }
    }
}

/// One line of the ranking.
#[derive(Debug, Clone, Serialize)]
pub struct RankedLine {
    pub rank: i64,
    pub unit: String,
    /// The folder of its history, where that stands beside the report.
    pub history: Option<String>,
    pub depot: String,
    pub battery: String,
    pub age: String,
    pub chance: String,
    pub interval: String,
    pub trend: String,
    pub action: String,
    pub saving: Option<f64>,
    pub reasons: String,
}

impl RankedLine {
    /// `short_of` is what the depot's replacements that would pay wait for.
    pub fn new(
        row: &RiskRow,
        short_of: Option<&str>,
        trends: &Trends,
        style: &ReportStyle,
    ) -> Self {
        let failed = row.failed_on.is_some();
        Self {
            rank: row.rank,
            unit: style.vehicle(row.unit_no.as_deref(), &row.vin),
            history: None,
            depot: row.depot.clone(),
            battery: row.battery(),
            age: match row.uncertainty_days {
                61.. => format!("about {}", cells::age(row.age_days)),
                _ => cells::age(row.age_days),
            },
            chance: match (failed, row.chance) {
                (true, _) => "counts as failed".to_owned(),
                (_, Some(chance)) => cells::per_cent(chance),
                (_, None) => "not known".to_owned(),
            },
            interval: match (failed, row.chance_lower, row.chance_upper) {
                (true, ..) => String::new(),
                (_, Some(lower), Some(upper)) => cells::per_cent_limits(lower, upper),
                _ => "not known".to_owned(),
            },
            trend: trends.of(row),
            action: action(row, short_of),
            saving: row.saving,
            reasons: row.why(style.units),
        }
    }
}

/// What to do, with what to know about it: why it waits, who pays.
fn action(row: &RiskRow, short_of: Option<&str>) -> String {
    let mut words = vec![row.action.clone()];
    match row.action.as_str() {
        "next service" | "a later week" => {
            words.extend(row.week.map(|week| format!("in week {week} from now")));
        }
        _ => {}
    }
    if row.waits() {
        words.push(format!("waits for {}", short_of.unwrap_or("room")));
    }
    if row.to_be_charged_first() {
        words.push("charge and test it first".to_owned());
    }
    if let Some(keep_at) = row.keep_at.filter(|_| row.failed_on.is_none()) {
        let test = match row.to_be_charged_first() {
            true => "keep it",
            false => "test it on arrival: keep it",
        };
        words.push(format!("{test} at {:.0} % or more", keep_at * 100.0));
    }
    if row.under_warranty == Some(true) && row.action != "leave" {
        words.push("under warranty: claim it".to_owned());
    }
    words.join(", ")
}
