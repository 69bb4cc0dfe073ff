//! Why a battery's chance is what it is: topics with the numbers behind them.
//!
//! The linear predictor is split by topic against the average battery in service; what the expected
//! health brings is split further by what it rests on. The three topics that bring most are given,
//! those that raise the chance first; for a battery below the average, those that lower it. How they
//! read as a sentence is left to the report.

use std::collections::BTreeMap;

use super::feature::Topic;
use super::frame::{Frame, Number, Word};

/// The least share of the logarithm of the hazard that is worth a reason: about a twentieth of the hazard.
const LEAST_SHARE: f64 = 0.05;
const MOST_REASONS: usize = 3;

/// A battery's own trend, in shares of the rating a year.
pub type Trend = Option<f64>;

/// One reason: what it is about, and what is known of that. Numbers are named like the columns of
/// vehicle_week; what is not known is left out.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    pub topic: Topic,
    pub numbers: Vec<(&'static str, f64)>,
}

/// The reasons of one row, the weightiest first; its age where nothing stands out.
pub fn reasons(
    frame: &Frame,
    row: usize,
    contributions: &BTreeMap<Topic, f64>,
    trend: Trend,
) -> Vec<Reason> {
    let total: f64 = contributions.values().sum();
    let mut order: Vec<(f64, Topic)> = contributions
        .iter()
        .map(|(topic, share)| (if total < 0.0 { -share } else { *share }, *topic))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut reasons: Vec<Reason> = order
        .iter()
        .filter(|(share, _)| *share >= LEAST_SHARE)
        .filter_map(|(_, topic)| reason(frame, row, *topic, trend))
        .take(MOST_REASONS)
        .collect();
    if reasons.is_empty() {
        reasons.extend(reason(frame, row, Topic::Age, trend));
    }
    reasons
}

/// What is known of the topic; none where nothing is.
fn reason(frame: &Frame, row: usize, topic: Topic, trend: Trend) -> Option<Reason> {
    let mut numbers: Vec<(&'static str, f64)> = columns(topic)
        .iter()
        .map(|column| (column.name(), frame.number(*column, row)))
        .filter(|(_, number)| number.is_finite())
        .collect();
    if topic == Topic::Tests {
        numbers.extend(trend.map(|slope| ("health_per_year", slope)));
        if frame.word(Word::Verdict, row) == Some("discharged") {
            numbers.push(("last_found_discharged", 1.0));
        }
    }
    let known = match topic {
        Topic::Voltage | Topic::Weather | Topic::Usage => !numbers.is_empty(),
        Topic::Mishaps => numbers.iter().any(|(_, count)| *count > 0.0),
        Topic::Kind => [Word::Chemistry, Word::BatteryGroup, Word::Powertrain]
            .into_iter()
            .any(|column| frame.word(column, row).is_some()),
        Topic::Age | Topic::Tests | Topic::Codes | Topic::PastFailures => true,
    };
    known.then_some(Reason { topic, numbers })
}

/// The columns a topic's reason gives.
fn columns(topic: Topic) -> &'static [Number] {
    match topic {
        Topic::Age => &[Number::AgeDays, Number::UncertaintyDays],
        Topic::Tests => &[
            Number::Health,
            Number::DaysSinceHealth,
            Number::DaysSinceTest,
        ],
        Topic::Voltage => &[Number::RestVoltageV, Number::LeastSupplyV91],
        Topic::Codes => &[
            Number::SupplyFloods364,
            Number::SupplySessions364,
            Number::SupplySessions91,
            Number::Sessions364,
        ],
        Topic::Mishaps => &[Number::FoundDischarged, Number::Charges, Number::Calls],
        Topic::Weather => &[Number::ColdAhead, Number::HeatAhead, Number::Heat],
        // The words of its kind are columns of the battery's own row.
        Topic::Kind => &[],
        Topic::Usage => &[Number::KmPerDay],
        Topic::PastFailures => &[Number::FailedBefore],
    }
}
