//! For each depot, how the hazard goes with the weeks ahead.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::{Analysis, AnalysisError};
use risk::season::{Air, factors};
use risk::stored_model::StoredModel;

#[derive(Debug, Deserialize)]
struct WeekAir {
    depot: String,
    week: i64,
    morning_c: Option<f64>,
    heat: Option<f64>,
}

/// The air of each depot's weeks ahead.
pub struct Seasons(BTreeMap<String, Vec<Air>>);

impl Seasons {
    /// The factors on the hazard at a depot, of a battery that has lost this share of its rating: its cold and heat
    /// are those of the same weeks a year before, and count as the model has learnt. None where no weather is on
    /// record.
    pub fn factors(&self, depot: &str, lost: f64, model: &StoredModel) -> Option<Vec<f64>> {
        let year = self.0.get(depot)?;
        Some(factors(year, lost, |name| model.slope(name)))
    }
}

/// The air of the same weeks a year before.
pub async fn seasons(analysis: &Analysis, weeks: usize) -> Result<Seasons, AnalysisError> {
    let airs: Vec<WeekAir> = analysis
        .rows(
            "SELECT depot, (363 - days_between(day, $as_of)) / 7 AS week,
                    MIN(COALESCE(min_temperature_c, mean_temperature_c - 5.0)) AS morning_c,
                    AVG(GREATEST(0.0, max_temperature_c - 30.0)) AS heat
             FROM depot_weather WHERE days_between(day, $as_of) BETWEEN 0 AND 363
             GROUP BY depot, (363 - days_between(day, $as_of)) / 7
             ORDER BY depot, week",
        )
        .await?;
    let unknown = Air {
        morning_c: f64::NAN,
        heat: 0.0,
    };
    let mut years: BTreeMap<String, Vec<Air>> = BTreeMap::new();
    for air in airs {
        let year = years
            .entry(air.depot)
            .or_insert_with(|| vec![unknown; weeks]);
        let week = usize::try_from(air.week)
            .ok()
            .and_then(|week| year.get_mut(week));
        if let Some(week) = week {
            week.morning_c = air.morning_c.unwrap_or(f64::NAN);
            week.heat = air.heat.unwrap_or(0.0);
        }
    }
    Ok(Seasons(years))
}
