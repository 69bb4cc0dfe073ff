//! How hard a depot's year is on batteries.

use super::super::style::Units;
use trade::derived_words::HeatBand;

/// A band by its temperatures; a cohort without one keeps its name.
pub fn band(cohort: &str, units: Units) -> String {
    let Ok(band) = HeatBand::parse(cohort) else {
        return cohort.to_owned();
    };
    let degrees = |celsius: f64| units.temperature(celsius);
    match band.limits_c() {
        (Some(least), Some(most)) => format!("ages as at {} to {}", degrees(least), degrees(most)),
        (None, Some(most)) => format!("ages as below {}", degrees(most)),
        (Some(least), None) => format!("ages as at {} or more", degrees(least)),
        (None, None) => cohort.to_owned(),
    }
}
