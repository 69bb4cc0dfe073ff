//! Why a battery's chance is what it is, in plain words with the numbers behind them.
//!
//! The linear predictor is split by topic against the average battery in service; what the expected
//! health brings is split further by what it rests on. The three topics that bring most are told,
//! those that raise the chance first; for a battery below the average, those that lower it.

use std::collections::BTreeMap;

use super::features::Topic;
use super::frame::Frame;

/// The least share of the logarithm of the hazard that is worth a word: about a twentieth of the hazard.
const LEAST_TOLD: f64 = 0.05;
const MOST_TOLD: usize = 3;

/// A battery's own trend, in shares of the rating a year.
pub type Trend = Option<f64>;

/// The reasons of one row, the weightiest first.
pub fn in_words(
    frame: &Frame,
    row: usize,
    contributions: &BTreeMap<Topic, f64>,
    trend: Trend,
) -> Vec<String> {
    let total: f64 = contributions.values().sum();
    let mut order: Vec<(f64, Topic)> = contributions
        .iter()
        .map(|(topic, share)| (if total < 0.0 { -share } else { *share }, *topic))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut told: Vec<String> = order
        .iter()
        .filter(|(share, _)| *share >= LEAST_TOLD)
        .filter_map(|(_, topic)| words(frame, row, *topic, trend))
        .take(MOST_TOLD)
        .collect();
    if told.is_empty() {
        told.extend(words(frame, row, Topic::Age, trend));
    }
    told
}

fn words(frame: &Frame, row: usize, topic: Topic, trend: Trend) -> Option<String> {
    let number = |name: &str| frame.number(name, row);
    match topic {
        Topic::Age => {
            let years = number("age_days") / 365.25;
            Some(if number("uncertainty_days") > 60.0 {
                format!("about {years:.0} years old (its install day is not on record)")
            } else {
                format!("{years:.1} years old")
            })
        }
        Topic::Tests => Some(tested(frame, row, trend)),
        Topic::Voltage => voltage(frame, row),
        Topic::Codes => codes(frame, row),
        Topic::Mishaps => mishaps(frame, row),
        Topic::Weather => weather(frame, row),
        Topic::Kind => {
            let mut what = vec![];
            if let Some(position) = frame.word("position", row).filter(|at| *at != "main") {
                what.push(format!("{position} battery"));
            }
            what.extend(frame.word("chemistry", row).map(str::to_owned));
            what.extend(
                frame
                    .word("battery_group", row)
                    .map(|group| format!("group {group}")),
            );
            what.extend(
                frame
                    .word("powertrain", row)
                    .map(|kind| format!("in a {kind} vehicle")),
            );
            (!what.is_empty()).then(|| format!("its kind: {}", what.join(" ")))
        }
        Topic::Usage => {
            let km = number("km_per_day");
            km.is_finite().then(|| format!("driven {km:.0} km a day"))
        }
        Topic::PastFailures => match number("failed_before") {
            1.0 => Some("one battery failed here before".to_owned()),
            times if times > 1.0 => Some(format!("{times:.0} batteries failed here before")),
            _ => Some("no battery on record failed here before".to_owned()),
        },
    }
}

fn tested(frame: &Frame, row: usize, trend: Trend) -> String {
    let health = frame.number("health", row);
    let days_since_test = frame.number("days_since_test", row);
    let discharged = frame.word("verdict", row) == Some("discharged");
    if health.is_nan() {
        return match frame.word("tested_text", row) {
            None => "never tested".to_owned(),
            Some(_) if discharged => format!(
                "found discharged {}, never tested when charged",
                ago(days_since_test)
            ),
            Some(day) => format!("no usable test of its health; looked at last on {day}"),
        };
    }
    let days = frame.number("days_since_health", row);
    // A later test that found it discharged says nothing of its health, but is its last.
    let later = discharged && days_since_test < days;
    let which = if later {
        "when last tested charged,"
    } else {
        "at its last test"
    };
    let mut text = format!(
        "{:.0} % of rated cranking {which} {}",
        health * 100.0,
        ago(days)
    );
    // A battery does not heal: a rise is the noise of a test.
    if let Some(slope) = trend.filter(|slope| *slope <= -0.005) {
        text.push_str(&format!(", falling {:.0} points a year", -slope * 100.0));
    }
    if later {
        text.push_str(&format!(", found discharged {}", ago(days_since_test)));
    }
    text
}

/// How long ago, in the unit a person would use.
fn ago(days: f64) -> String {
    match days {
        days if days > 400.0 => format!("{:.1} years ago", days / 365.25),
        days if days > 60.0 => format!("{:.0} months ago", days / 30.4375),
        days if days < 1.0 => "on this very day".to_owned(),
        days if days < 2.0 => "the day before".to_owned(),
        days => format!("{days:.0} days ago"),
    }
}

fn voltage(frame: &Frame, row: usize) -> Option<String> {
    let mut parts = vec![];
    let rest = frame.number("rest_voltage_v", row);
    if rest.is_finite() {
        parts.push(format!("{rest:.2} V at rest at its last test"));
    }
    let scan = frame.number("least_supply_v_91", row);
    if scan.is_finite() {
        parts.push(format!("{scan:.1} V at a scan in the last 13 weeks"));
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn times(count: f64, what: &str) -> String {
    match count {
        1.0 => format!("one {what}"),
        count => format!("{count:.0} {what}s"),
    }
}

fn codes(frame: &Frame, row: usize) -> Option<String> {
    let floods = frame.number("supply_floods_364", row);
    let sessions = frame.number("supply_sessions_364", row);
    let recent = frame.number("supply_sessions_91", row);
    if floods > 0.0 {
        return Some(format!(
            "{} of low-voltage codes in a year",
            times(floods, "flood")
        ));
    }
    if sessions > 0.0 {
        return Some(format!(
            "low-voltage codes at {} in a year, {recent:.0} of them in the last 13 weeks",
            times(sessions, "scan session")
        ));
    }
    match frame.number("sessions_364", row) {
        0.0 => Some("not scanned in a year".to_owned()),
        scans => Some(format!(
            "no low-voltage codes at {} in a year",
            times(scans, "scan session")
        )),
    }
}

fn mishaps(frame: &Frame, row: usize) -> Option<String> {
    let counted = [
        (
            "found_discharged",
            "time found discharged",
            "times found discharged",
        ),
        (
            "charges",
            "time charged in the shop",
            "times charged in the shop",
        ),
        (
            "calls",
            "supply call it came through",
            "supply calls it came through",
        ),
    ];
    let parts: Vec<String> = counted
        .iter()
        .filter_map(|(column, once, often)| match frame.number(column, row) {
            1.0 => Some(format!("one {once}")),
            count if count > 1.0 => Some(format!("{count:.0} {often}")),
            _ => None,
        })
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn weather(frame: &Frame, row: usize) -> Option<String> {
    let cold = frame.number("cold_ahead", row);
    let hot = frame.number("heat_ahead", row);
    let heat = frame.number("heat", row);
    if cold > 0.5 {
        return Some(format!(
            "frost ahead: {cold:.0} °C below freezing on average in these weeks a year before"
        ));
    }
    if hot > 0.5 {
        return Some(format!(
            "heat ahead: afternoons {hot:.0} °C above 30 °C on average in these weeks a year before"
        ));
    }
    // Twice as fast every 10 degrees: the mean temperature that ages as fast.
    heat.is_finite().then(|| {
        format!(
            "a depot whose year ages batteries like a steady {:.0} °C",
            25.0 + 10.0 * heat.log2()
        )
    })
}
