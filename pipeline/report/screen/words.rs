//! What is known of a vehicle, in words.

use super::super::cells;
use super::likelihood::LikelihoodRatio;
use super::views::{Planned, Vehicle};
use settings::Settings;

pub fn cause_words(cause: &str) -> &str {
    match cause {
        "supply" => "the 12 V supply",
        "network" => "the network",
        "unexplained" => "nothing known yet",
        other => other,
    }
}

pub fn age_words(vehicle: &Vehicle) -> String {
    match (vehicle.age_days, &vehicle.evidence) {
        (Some(days), Some(evidence)) => format!(
            "{} ({evidence}, within {} days)",
            cells::age(days),
            vehicle.uncertainty_days.unwrap_or(0)
        ),
        _ => "not known".to_owned(),
    }
}

/// Why a battery is to be replaced: what its test found if that was bad, its chance, and the cost.
pub fn replacement_words(planned: &Planned, verdict: Option<&str>, settings: &Settings) -> String {
    let battery = match planned.position.as_str() {
        "main" => "its battery".to_owned(),
        other => format!("its {other} battery"),
    };
    let cost = cells::money(&settings.run.currency, planned.planned_cost);
    if planned.failed {
        return format!("{battery} counts as failed since a call: replace it for {cost}");
    }
    let horizon = match settings.run.horizon_days {
        days if days % 7 == 0 => cells::counted((days / 7).max(0) as usize, "week", "weeks"),
        days => cells::counted(days.max(0) as usize, "day", "days"),
    };
    let found = verdict.map_or_else(String::new, |verdict| format!("is {verdict} and "));
    format!(
        "{battery} {found}may fail within {horizon} ({}): the weekly plan would replace it for {cost}",
        cells::chance(planned.chance.unwrap_or(f64::NAN))
    )
}

pub fn battery_words(vehicle: &Vehicle) -> String {
    let Some(tested_on) = &vehicle.tested_on else {
        return match vehicle.tested_before_only() {
            true => "not tested since it was fitted".to_owned(),
            false => "never tested".to_owned(),
        };
    };
    let mut words = format!(
        "{} on {tested_on}",
        vehicle.verdict.as_deref().unwrap_or("untested")
    );
    if let Some(health) = vehicle.health {
        words.push_str(&format!(", {:.0} % of rated cranking", health * 100.0));
    }
    if vehicle.test_is_stale == Some(true) {
        words.push_str(", too long ago");
    }
    words
}

pub fn flood_words(vehicle: &Vehicle) -> String {
    match (&vehicle.flood_on, vehicle.flood_is_recent) {
        (Some(day), Some(true)) => {
            let state = match vehicle.flood_is_proven {
                Some(true) => ", proven well since",
                _ => "",
            };
            format!(
                "{day}: {} codes from {} modules, {}{state}",
                vehicle.flood_codes.unwrap_or(0),
                vehicle.flood_modules.unwrap_or(0),
                vehicle.flood_cause.as_deref().unwrap_or("unexplained")
            )
        }
        _ => "none".to_owned(),
    }
}

pub fn traction_words(ratio: Option<&LikelihoodRatio>) -> String {
    let Some(ratio) = ratio else {
        return "put down to the traction battery; nobody looked for signs of the 12 V supply"
            .to_owned();
    };
    let verdict = match (ratio.lower, ratio.upper) {
        (lower, _) if lower > 1.0 => "the 12 V supply explains it better",
        (_, upper) if upper < 1.0 => "the traction battery explains it better",
        _ => "either may be the cause",
    };
    format!(
        "{verdict}: the signs are {:.1} times as likely with a 12 V cause (95 % limits {:.1}–{:.1}; {} and {} other cases): {}",
        ratio.ratio,
        ratio.lower,
        ratio.upper,
        ratio.supply_cases,
        ratio.traction_cases,
        ratio.evidence.join(", ")
    )
}

pub fn missing_words(vehicle: &Vehicle) -> String {
    let mut missing = Vec::new();
    if vehicle.age_days.is_none() {
        missing.push("battery age (read the date code)");
    } else if vehicle.uncertainty_days.is_some_and(|days| days > 60) {
        missing.push("install day (read the date code)");
    }
    if vehicle.verdict_now().is_none() {
        missing.push("a battery test that speaks for it");
    }
    match (&vehicle.scanned_on, vehicle.monitors_supported) {
        (None, _) => missing.push("a scan"),
        (Some(_), None) if vehicle.warm_ups_since_clear.is_none() => {
            missing.push("how long ago codes were cleared");
        }
        _ => {}
    }
    match missing.is_empty() {
        true => "nothing".to_owned(),
        false => missing.join(", "),
    }
}
