//! What there is to do at each depot, with the room it has: bays, budget, and what waits for which.

use std::collections::{BTreeMap, BTreeSet};

use crate::cells;
use crate::sections::ranking::rows::RiskRow;
use crate::style::ReportStyle;
use settings::Plan;

/// Which limit keeps replacements that would pay from this week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Short {
    Bays,
    Budget,
    Both,
}

impl Short {
    pub fn as_str(self) -> &'static str {
        match self {
            Short::Bays => "a bay",
            Short::Budget => "budget",
            Short::Both => "a bay and budget",
        }
    }
}

/// A depot's limits, what this week's plan takes of them, and what would pay but has to wait.
#[derive(Debug, Clone)]
pub struct Depot<'a> {
    pub name: &'a str,
    /// In the order of the ranking.
    pub rows: Vec<&'a RiskRow>,
    pub bays: usize,
    pub bays_taken: usize,
    pub budget: f64,
    pub spent: f64,
    pub waiting: usize,
    pub waiting_worth: f64,
    /// Missing where nothing waits.
    pub short_of: Option<Short>,
}

impl<'a> Depot<'a> {
    fn new(name: &'a str, rows: Vec<&'a RiskRow>, plan: &Plan) -> Self {
        let (bays, budget) = plan.limits(name);
        let taken = || rows.iter().filter(|row| row.action == "this week");
        let waiting = || rows.iter().filter(|row| row.waits());
        // Batteries of one vehicle share a visit; a vehicle that is in for its service takes no bay.
        let visits: BTreeSet<Option<i64>> = rows
            .iter()
            .filter(|row| row.week == Some(1) && row.special_visit == Some(true))
            .map(|row| row.visit_no)
            .collect();
        let bays_taken = visits.len();
        let spent: f64 = taken().map(|row| row.planned_cost).sum();
        let cheapest = waiting()
            .map(|row| row.planned_cost)
            .fold(f64::INFINITY, f64::min);
        let unpaid = spent + cheapest > budget;
        let short_of = match (waiting().count(), bays_taken >= bays, unpaid) {
            (0, ..) => None,
            (_, true, false) => Some(Short::Bays),
            (_, true, true) => Some(Short::Both),
            (_, false, _) => Some(Short::Budget),
        };
        Self {
            name,
            bays,
            bays_taken,
            budget,
            spent,
            waiting: waiting().count(),
            waiting_worth: waiting().filter_map(|row| row.saving).sum(),
            short_of,
            rows,
        }
    }

    pub fn of(&self, action: &str) -> usize {
        self.rows.iter().filter(|row| row.action == action).count()
    }

    /// What this week's replacements are expected to save. A failure that has happened is no longer
    /// prevented.
    pub fn saving(&self) -> f64 {
        self.rows
            .iter()
            .filter(|row| row.action == "this week" && row.failed_on.is_none())
            .filter_map(|row| row.saving)
            .sum()
    }

    /// "6 of 6 bays taken, $1,520 of a budget of $2,500".
    pub fn room(&self, style: &ReportStyle) -> String {
        let money = |amount| cells::money(&style.currency, amount);
        let budget = match self.budget.is_finite() {
            true => format!("a budget of {}", money(self.budget)),
            false => "a budget without limit".to_owned(),
        };
        format!(
            "{} of {} taken, {} of {budget}",
            self.bays_taken,
            cells::counted(self.bays, "bay", "bays"),
            money(self.spent),
        )
    }
}

/// The depots by name.
pub fn depots<'a>(ranking: &'a [RiskRow], plan: &Plan) -> Vec<Depot<'a>> {
    let mut depots: BTreeMap<&str, Vec<&RiskRow>> = BTreeMap::new();
    for row in ranking {
        depots.entry(&row.depot).or_default().push(row);
    }
    depots
        .into_iter()
        .map(|(name, rows)| Depot::new(name, rows, plan))
        .collect()
}
