//! Rows in words, as the report's tables print them.

use std::collections::BTreeMap;

use serde::Serialize;

use super::super::cells;
use super::super::manner::Manner;
use super::super::words;
use super::views::{Change, Flood, Health, Pick, Recovery, RiskRow, TestNext};
use trade::derived_words::RecoveryStep;

/// Tests shown in a battery's small drawing.
const SPARK_TESTS: usize = 8;

/// The healths of each battery's tests, oldest first.
pub struct Trends(BTreeMap<(String, String, i64), Vec<f64>>);

impl Trends {
    pub fn new(rows: Vec<Health>) -> Self {
        let mut trends: BTreeMap<_, Vec<f64>> = BTreeMap::new();
        for row in rows {
            trends
                .entry((row.vin, row.position, row.battery_no))
                .or_default()
                .push(row.health);
        }
        Self(trends)
    }

    /// The drawing of a battery's tests and where they stand now: "▇▆▄ 62 %".
    fn of(&self, row: &RiskRow) -> String {
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
    pub fn new(row: &RiskRow, short_of: Option<&str>, trends: &Trends, manner: &Manner) -> Self {
        let failed = row.failed_on.is_some();
        Self {
            rank: row.rank,
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
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
            reasons: row.why(manner.units),
        }
    }
}

/// What to do, with what to know about it: why it waits, who pays.
fn action(row: &RiskRow, short_of: Option<&str>) -> String {
    let mut words = vec![row.action.clone()];
    match row.action.as_str() {
        "next service" if !row.waits() => words.push("if it pays by then".to_owned()),
        "next service" => words.push(format!("waits for {}", short_of.unwrap_or("room"))),
        _ => {}
    }
    if row.to_be_charged_first() {
        words.push("charge and test it first".to_owned());
    }
    if row.under_warranty == Some(true) && row.action != "leave" {
        words.push("under warranty: claim it".to_owned());
    }
    words.join(", ")
}

/// Batteries of one kind to order, with where they go.
#[derive(Debug, Serialize)]
pub struct OrderLine {
    pub batteries: i64,
    pub kind: String,
    pub rating: Option<String>,
    pub depots: String,
}

/// The pick list over all depots, the most first.
pub fn to_order(picks: &[Pick]) -> Vec<OrderLine> {
    let mut kinds: BTreeMap<(String, Option<String>), (i64, Vec<String>)> = BTreeMap::new();
    for pick in picks {
        let rating = pick
            .minimum_rating
            .map(|value| match &pick.rating_standard {
                Some(standard) => format!("{value:.0} A {standard}"),
                None => format!("{value:.0} A, standard not known"),
            });
        let entry = kinds.entry((kind(pick), rating)).or_default();
        entry.0 += pick.batteries;
        entry.1.push(format!("{} {}", pick.depot, pick.batteries));
    }
    let mut lines: Vec<OrderLine> = kinds
        .into_iter()
        .map(|((kind, rating), (batteries, mut depots))| {
            depots.sort();
            OrderLine {
                batteries,
                kind,
                rating,
                depots: depots.join(", "),
            }
        })
        .collect();
    lines.sort_by(|a, b| (b.batteries, &a.kind, &a.rating).cmp(&(a.batteries, &b.kind, &b.rating)));
    lines
}

fn kind(pick: &Pick) -> String {
    match (&pick.battery_group, &pick.chemistry) {
        (Some(group), Some(chemistry)) => format!("{group} {chemistry}"),
        (Some(group), None) => format!("{group}, chemistry not known"),
        (None, Some(chemistry)) => format!("{chemistry}, group not known"),
        (None, None) => "group and chemistry not known".to_owned(),
    }
}

/// A battery to test.
#[derive(Debug, Serialize)]
pub struct TestLine {
    pub rank: i64,
    pub unit: String,
    pub depot: String,
    pub position: String,
    pub worth: f64,
    pub why: String,
}

impl TestLine {
    pub fn new(row: &TestNext, manner: &Manner) -> Self {
        Self {
            rank: row.rank,
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            position: row.position.clone(),
            worth: row.worth,
            why: row.why(),
        }
    }
}

/// A flood of this week.
#[derive(Debug, Serialize)]
pub struct FloodLine {
    pub unit: String,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub day: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub cause: String,
    pub evidence: String,
}

impl FloodLine {
    pub fn new(row: &Flood, manner: &Manner) -> Self {
        let mut evidence = row.because();
        if let Some(p_value) = row.p_value {
            let odds = match p_value {
                ..1e-6 => "chance alone: below 1 in 1,000,000".to_owned(),
                p => format!("chance alone: {}", cells::chance(p)),
            };
            if !evidence.is_empty() {
                evidence.push_str("; ");
            }
            evidence.push_str(&odds);
        }
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            model: row.model.clone(),
            day: row.day.clone(),
            codes: row.codes,
            modules: row.modules,
            supply_voltage_v: row.supply_voltage_v,
            cause: row.cause.clone(),
            evidence,
        }
    }
}

/// A recovery that stands open.
#[derive(Debug, Serialize)]
pub struct RecoveryLine {
    pub unit: String,
    pub depot: Option<String>,
    pub opened_on: String,
    pub opened_by: String,
    pub days_standing: i64,
    pub next_step: String,
    pub caution: String,
}

impl RecoveryLine {
    pub fn new(row: &Recovery, proven_days: i64, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            opened_on: row.opened_on.clone(),
            opened_by: row.opened_by.clone(),
            days_standing: row.days_standing,
            next_step: row.standing.to_do(proven_days).unwrap_or_default(),
            caution: row.standing.caution(),
        }
    }
}

/// How many recoveries wait for what, in the order of the steps: "6 for the supply to be restored".
pub fn by_step(recoveries: &[Recovery], proven_days: i64) -> Vec<String> {
    let mut steps: BTreeMap<RecoveryStep, usize> = BTreeMap::new();
    for step in recoveries.iter().filter_map(|row| row.standing.next_step) {
        *steps.entry(step).or_default() += 1;
    }
    steps
        .into_iter()
        .map(|(step, times)| words::recovery::waiting_for(step, times, proven_days))
        .collect()
}

/// How many batteries changed in each way, in the order of the rows: "26 ignored".
pub fn by_change(changes: &[Change]) -> Vec<String> {
    changes
        .chunk_by(|a, b| a.change == b.change)
        .map(|alike| format!("{} {}", alike.len(), alike[0].change))
        .collect()
}

/// A battery whose place in the plan changed.
#[derive(Debug, Serialize)]
pub struct ChangeLine {
    pub unit: String,
    pub depot: String,
    pub position: String,
    pub change: String,
    pub rank: i64,
    pub action: String,
    pub before: String,
}

impl ChangeLine {
    pub fn new(row: &Change, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            position: row.position.clone(),
            change: row.change.clone(),
            rank: row.rank,
            action: row.action.clone(),
            before: match (&row.action_before, row.rank_before) {
                (Some(action), Some(rank)) => format!("{action}, rank {rank}"),
                _ => "not in it".to_owned(),
            },
        }
    }
}
