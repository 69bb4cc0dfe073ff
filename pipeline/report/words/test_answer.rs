//! What a test of a battery would tell.

use super::ago;
use trade::calendar::DAYS_A_YEAR;

/// How long nobody knows, and what a test would likely show; limits are shares of the rating.
pub fn likely(
    days_since_health: Option<f64>,
    age_days: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
) -> String {
    let mut text = match days_since_health {
        None => "never tested when charged".to_owned(),
        Some(days) => format!("last tested when charged {}", ago(days)),
    };
    if let Some(days) = age_days {
        text.push_str(&format!(", {:.1} years old", days / DAYS_A_YEAR));
    }
    if let (Some(lower), Some(upper)) = (lower, upper) {
        text.push_str(&format!(
            ": a test would likely show {:.0} to {:.0} % of rated cranking",
            lower * 100.0,
            upper * 100.0
        ));
    }
    text
}
