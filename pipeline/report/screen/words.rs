//! What is known of a vehicle, in words.

use super::super::cells;
use super::likelihood::{LikelihoodRatio, times};
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
            "{} ({evidence}, within {})",
            cells::age(days),
            cells::counted(
                vehicle.uncertainty_days.unwrap_or(0).max(0) as usize,
                "day",
                "days"
            )
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
    let may_fail = format!(
        "{battery} {found}may fail within {horizon} ({})",
        cells::chance(planned.chance.unwrap_or(f64::NAN))
    );
    // What a test found worn is to be replaced, whatever the plan waits for.
    match (planned.is_sure() || verdict.is_some(), planned.tested_first) {
        (true, _) => format!("{may_fail}: the weekly plan would replace it for {cost}"),
        (_, true) => format!(
            "{may_fail}: the weekly plan would test it and replace it for {cost} if the test speaks against it"
        ),
        (_, false) => format!(
            "{may_fail}: the weekly plan would replace it for {cost} at its next service, if that pays by then"
        ),
    }
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
    if ratio.supply_cases == 0 || ratio.traction_cases == 0 {
        return format!(
            "put down to the traction battery; the signs cannot be weighed, for want of other cases ({} of the 12 V supply, {} of the traction battery)",
            ratio.supply_cases, ratio.traction_cases
        );
    }
    let verdict = match (ratio.lower, ratio.upper) {
        (lower, _) if lower > 1.0 => "the 12 V supply explains it better",
        (_, upper) if upper < 1.0 => "the traction battery explains it better",
        _ => "either may be the cause",
    };
    // Told in the direction it speaks for, so that no ratio is below one.
    let (cause, mean, lower, upper) = match ratio.ratio >= 1.0 {
        true => ("a 12 V cause", ratio.ratio, ratio.lower, ratio.upper),
        false => (
            "a cause in the traction battery",
            1.0 / ratio.ratio,
            1.0 / ratio.upper,
            1.0 / ratio.lower,
        ),
    };
    format!(
        "{verdict}: the signs are {} times as likely with {cause} (95 % limits {} to {}; {} and {} other cases): {}",
        times(mean),
        times(lower),
        times(upper),
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
        _ if vehicle.scan_is_old == Some(true) => missing.push("a scan that speaks for it"),
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
