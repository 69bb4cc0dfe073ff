//! The report in five lines: replace, order, test, floods and recoveries, what needs a decision.

use crate::cells::{self, counted};
use crate::sections::depots::room::{Depot, Short};
use crate::sections::floods::Flood;
use crate::sections::pick_list::OrderLine;
use crate::sections::ranking::rows::RiskRow;
use crate::sections::recoveries::Recovery;
use crate::style::ReportStyle;
use settings::Run;

/// What the five lines are made from.
pub struct Facts<'a> {
    pub ranking: &'a [RiskRow],
    pub depots: &'a [Depot<'a>],
    pub order: &'a [OrderLine],
    /// Batteries whose test is worth a visit of its own, and those whose test would tell something.
    pub tests: usize,
    pub other_tests: usize,
    pub floods: &'a [Flood],
    pub recoveries: &'a [Recovery],
    pub run: &'a Run,
    /// Keys of the prices that nobody has set.
    pub unedited_prices: &'a [String],
    pub style: &'a ReportStyle,
}

/// The five lines.
pub fn short_version(facts: &Facts<'_>) -> Vec<String> {
    vec![
        replace(facts),
        order(facts),
        tests(facts),
        floods(facts),
        decide(facts),
    ]
}

fn horizon(days: i64) -> String {
    match days % 7 {
        0 => format!("{} weeks", days / 7),
        _ => format!("{days} days"),
    }
}

fn replace(facts: &Facts<'_>) -> String {
    let this_week: Vec<&RiskRow> = facts
        .ranking
        .iter()
        .filter(|row| row.action == "this week")
        .collect();
    let horizon = horizon(facts.run.horizon_days);
    if this_week.is_empty() {
        return format!(
            "Replace nothing this week: no replacement pays among {} in service.",
            counted(facts.ranking.len(), "battery", "batteries")
        );
    }
    let failed = this_week
        .iter()
        .filter(|row| row.failed_on.is_some())
        .count();
    // What has failed already is no longer prevented.
    let sum = |of: fn(&RiskRow) -> Option<f64>| -> f64 {
        this_week
            .iter()
            .filter(|row| row.failed_on.is_none())
            .filter_map(|row| of(row))
            .sum()
    };
    let prevented = sum(|row| row.chance);
    let (lower, upper) = (
        sum(|row| row.chance_fit_lower),
        sum(|row| row.chance_fit_upper),
    );
    let saved = sum(|row| row.saving).max(0.0);
    let money = |amount| cells::money(&facts.style.currency, amount);
    let cost: f64 = this_week.iter().map(|row| row.planned_cost).sum();
    let mut text = format!(
        "Replace {} this week for {}: expect to prevent {prevented:.1} failures ({lower:.1}–{upper:.1}) within {horizon} and save {} against waiting.",
        counted(this_week.len(), "battery", "batteries"),
        money(cost),
        money(saved),
    );
    let charged = this_week
        .iter()
        .filter(|row| row.to_be_charged_first())
        .count();
    if charged > 0 {
        text.push_str(&format!(
            " The last test found {charged} of them discharged: charge and test these before they are replaced."
        ));
    }
    if failed > 0 {
        text.push_str(&format!(
            " {failed} of them {} as failed already, with no new battery on record.",
            if failed == 1 { "counts" } else { "count" }
        ));
    }
    text
}

fn order(facts: &Facts<'_>) -> String {
    let all: i64 = facts.order.iter().map(|line| line.batteries).sum();
    if all == 0 {
        return "Order nothing.".to_owned();
    }
    let mut kinds: std::collections::BTreeMap<&str, i64> = std::collections::BTreeMap::new();
    for line in facts.order {
        *kinds.entry(&line.kind).or_default() += line.batteries;
    }
    let mut kinds: Vec<(i64, &str)> = kinds.into_iter().map(|(kind, n)| (n, kind)).collect();
    kinds.sort_by(|a, b| (b.0, a.1).cmp(&(a.0, b.1)));
    let mut words: Vec<String> = kinds
        .iter()
        .take(4)
        .map(|(batteries, kind)| format!("{batteries} × {kind}"))
        .collect();
    let others: i64 = kinds.iter().skip(4).map(|(batteries, _)| batteries).sum();
    if others > 0 {
        words.push(format!("{others} of other kinds"));
    }
    format!(
        "Order {}: {}.",
        counted(all.max(0) as usize, "battery", "batteries"),
        words.join(", ")
    )
}

fn tests(facts: &Facts<'_>) -> String {
    match facts.tests {
        0 if facts.other_tests > 0 => format!(
            "Test none on a visit of its own; of {} a test would tell something when the vehicle is in anyway.",
            counted(facts.other_tests, "battery", "batteries")
        ),
        0 => "Test none first: no answer would change what to do.".to_owned(),
        tests => format!(
            "Test {} first: the answer may change what to do and is worth more than the test costs.",
            counted(tests, "battery", "batteries")
        ),
    }
}

fn floods(facts: &Facts<'_>) -> String {
    let vehicles: std::collections::BTreeSet<&str> = facts
        .floods
        .iter()
        .map(|flood| flood.vin.as_str())
        .collect();
    let supply = facts
        .floods
        .iter()
        .filter(|flood| flood.cause == "supply")
        .count();
    let mut text = match vehicles.len() {
        0 => "No vehicle had a flood of codes in the last 7 days.".to_owned(),
        vehicles => format!(
            "{} had a flood of codes in the last 7 days; put down to the 12 V supply: {supply} of {}.",
            counted(vehicles, "vehicle", "vehicles"),
            counted(facts.floods.len(), "flood", "floods"),
        ),
    };
    let oldest = facts.recoveries.iter().max_by_key(|row| row.days_standing);
    match oldest {
        None => text.push_str(" No recovery stands open."),
        Some(oldest) => text.push_str(&format!(
            " {} open, the oldest for {} ({}).",
            match facts.recoveries.len() {
                1 => "1 recovery stands".to_owned(),
                several => format!("{several} recoveries stand"),
            },
            counted(oldest.days_standing.max(0) as usize, "day", "days"),
            facts.style.vehicle(oldest.unit_no.as_deref(), &oldest.vin),
        )),
    }
    text
}

fn decide(facts: &Facts<'_>) -> String {
    let failed: Vec<&RiskRow> = facts
        .ranking
        .iter()
        .filter(|row| row.failed_on.is_some())
        .collect();
    let mut needs = Vec::new();
    if let Some(first) = failed.first() {
        needs.push(format!(
            "{} as failed without a replacement on record, first {} at {} ({}): replace it, or put the replacement on record (after {} days without one it counts as discharged only)",
            match failed.len() {
                1 => "1 battery counts".to_owned(),
                several => format!("{several} batteries count"),
            },
            facts.style.vehicle(first.unit_no.as_deref(), &first.vin),
            first.depot,
            first.failed_on.as_deref().unwrap_or("day not known"),
            facts.run.trouble_days,
        ));
    }
    needs.extend(waiting(facts));
    needs.extend(default_prices(facts.unedited_prices));
    match needs.is_empty() {
        true => "Nothing needs a decision beyond this list.".to_owned(),
        false => format!("To decide: {}.", needs.join("; ")),
    }
}

/// The prices that all sums rest on and that nobody has set.
fn default_prices(keys: &[String]) -> Option<String> {
    let mut names: Vec<String> = Vec::new();
    for key in keys {
        let name = key.split('.').nth(1).unwrap_or(key).replace('_', " ");
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| {
        format!(
            "set the prices that these sums rest on and that are still round defaults ({}; voltwane settings shows them)",
            names.join(", ")
        )
    })
}

/// The replacements that would pay but have no room this week, and which limit it is that binds.
fn waiting(facts: &Facts<'_>) -> Option<String> {
    let of = |short: Short| {
        let of_it = facts
            .depots
            .iter()
            .filter(move |d| d.short_of == Some(short));
        of_it.map(|depot| depot.waiting).sum::<usize>()
    };
    let all: Vec<(usize, &str)> = [Short::Bays, Short::Budget, Short::Both]
        .into_iter()
        .map(|short| (of(short), short.as_str()))
        .filter(|(waiting, _)| *waiting > 0)
        .collect();
    let waiting: usize = all.iter().map(|(waiting, _)| waiting).sum();
    let most = facts
        .depots
        .iter()
        .max_by(|a, b| {
            a.waiting_worth
                .total_cmp(&b.waiting_worth)
                .then(b.name.cmp(a.name))
        })
        .filter(|_| waiting > 0)?;
    let what = match all.as_slice() {
        [(_, only)] => (*only).to_owned(),
        several => {
            let parts: Vec<String> = several
                .iter()
                .map(|(waiting, what)| format!("{waiting} for {what}"))
                .collect();
            format!("room ({})", parts.join(", "))
        }
    };
    let money = |amount| cells::money(&facts.style.currency, amount);
    let worth: f64 = facts.depots.iter().map(|depot| depot.waiting_worth).sum();
    Some(format!(
        "{} that would pay {} for {what}, worth {} (most at {}: {} worth {}; {}): find room, or accept the wait",
        counted(waiting, "replacement", "replacements"),
        if waiting == 1 { "waits" } else { "wait" },
        money(worth),
        most.name,
        most.waiting,
        money(most.waiting_worth),
        most.room(facts.style),
    ))
}
