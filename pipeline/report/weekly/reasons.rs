//! Why a battery stands where it stands, in words with the numbers behind them.

use super::super::cells;
use super::views::RiskRow;

/// The reasons, the weightiest first.
pub fn in_words(row: &RiskRow) -> Vec<String> {
    let mut reasons = Vec::new();
    if let Some(failed_on) = &row.failed_on {
        reasons.push(format!(
            "failed on {failed_on} and no replacement is on record"
        ));
    }
    reasons.push(match row.uncertainty_days {
        days if days > 60 => format!(
            "about {} old (install day not on record, within {days} days)",
            cells::age(row.age_days)
        ),
        _ => format!("{} old", cells::age(row.age_days)),
    });
    reasons.push(last_test(row));
    if row.supply_floods > 0 {
        let times = match row.supply_floods {
            1 => "one supply flood".to_owned(),
            floods => format!("{floods} supply floods"),
        };
        let last = row.last_flood_on.as_deref().unwrap_or("not dated");
        reasons.push(format!("{times} in 13 weeks, the last on {last}"));
    }
    reasons
}

fn last_test(row: &RiskRow) -> String {
    let Some(tested_on) = &row.tested_on else {
        return "never tested".to_owned();
    };
    if row.band == "untested" {
        return format!("last test {tested_on} is too old to speak for it");
    }
    let verdict = row.verdict.as_deref().unwrap_or("untested");
    let mut text = format!("{verdict} at the last test {tested_on}");
    if let Some(health) = row.health {
        text.push_str(&format!(": {:.0} % of rated cranking", health * 100.0));
    }
    if let Some(slope) = row.health_per_year.filter(|slope| *slope < -0.005) {
        text.push_str(&format!(", falling {:.0} points a year", -slope * 100.0));
    }
    if let (None, Some(volts)) = (row.health, row.rest_voltage_v) {
        text.push_str(&format!(": {volts:.2} V at rest"));
    }
    text
}
