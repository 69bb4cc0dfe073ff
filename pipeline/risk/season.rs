//! How the hazard goes with the weeks of a year at a place, as the model has learnt of its weather.

use super::cold::{COLD, COLD_ON_LOST, DEEP_FROST, WARMING, cold, deep_frost, warming};
use super::feature::log_lost;
use super::features::{HEAT_AHEAD, HEAT_BEHIND};

/// Weeks of the quarter that a week's weather is set against.
const QUARTER: usize = 13;

/// Air of a week: its coldest morning in degrees C, NaN where none is on record, and mean degrees above 30.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    pub morning_c: f64,
    pub heat: f64,
}

/// The factor of each week of a year that goes round, for a battery that has lost this share of its rating: the
/// weeks before the first are the last. `slope` is that of a column as it is.
pub fn factors(year: &[Air], lost: f64, slope: impl Fn(&str) -> f64) -> Vec<f64> {
    let weeks = year.len();
    // Cold asks more of those who have lost more.
    let of_cold = slope(COLD) + slope(COLD_ON_LOST) * (log_lost(lost) + 1.0);
    let (of_frost, of_warming) = (slope(DEEP_FROST), slope(WARMING));
    let (of_heat, of_heat_behind) = (slope(HEAT_AHEAD), slope(HEAT_BEHIND));
    let before =
        |week: usize| (1..=QUARTER).map(move |back| year[(week + weeks * QUARTER - back) % weeks]);
    let of_week = |week: usize| {
        let air = year[week];
        if air.morning_c.is_nan() {
            return 1.0;
        }
        let behind_c = before(week)
            .map(|air| air.morning_c)
            .fold(f64::NAN, f64::min);
        let heat_behind = before(week).map(|air| air.heat).sum::<f64>() / QUARTER as f64;
        let log = of_cold * cold(air.morning_c)
            + of_frost * deep_frost(air.morning_c)
            + of_warming * warming(air.morning_c, behind_c)
            + of_heat * air.heat
            + of_heat_behind * heat_behind;
        log.clamp(-5.0, 5.0).exp()
    };
    (0..weeks).map(of_week).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_frost_is_worse_in_autumn_than_in_spring() {
        let mut year = [Air {
            morning_c: 10.0,
            heat: 0.0,
        }; 52];
        year[..10].fill(Air {
            morning_c: -10.0,
            heat: 0.0,
        });
        year[9].morning_c = 0.0;
        year[51].morning_c = 0.0;
        let slope = |name: &str| match name {
            COLD => 1.0,
            WARMING => -2.0,
            _ => 0.0,
        };
        let factors = factors(&year, 0.4, slope);
        // 0 degrees counts 1; after -10 it is ten degrees warmer, with half of that as cold: 1.5 times -2.
        assert!((factors[51] - 1f64.exp()).abs() < 1e-9);
        assert!((factors[9] - (1.0 - 3.0f64).exp()).abs() < 1e-9);
    }

    #[test]
    fn winter_raises_the_hazard_of_the_worn_more() {
        let mut year = [Air {
            morning_c: 10.0,
            heat: 0.0,
        }; 52];
        year[20].morning_c = -10.0;
        let slope = |name: &str| if name == COLD_ON_LOST { 1.0 } else { 0.0 };
        let of = |lost: f64| factors(&year, lost, slope)[20].ln();
        // Two tens of degrees, times the logarithm of the ability lost, plus one.
        assert!((of(0.5) - 2.0 * (log_lost(0.5) + 1.0)).abs() < 1e-9);
        assert!(of(0.5) > of(0.2));
    }

    #[test]
    fn a_week_without_weather_is_like_any() {
        let year = [Air {
            morning_c: f64::NAN,
            heat: 0.0,
        }; 3];
        assert_eq!(factors(&year, 0.4, |_| 1.0), [1.0; 3]);
    }
}
