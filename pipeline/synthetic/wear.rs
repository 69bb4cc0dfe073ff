//! The hidden life of a battery: the physical model the invented fleet is made with.
//!
//! **Wear** `D` is 0 for a new battery and 1 when its rated life is used up. It grows week by week:
//!
//! ```text
//! dD = (7 / 365.25) / life * speed(T) * (1 + 0.5 s) * frailty + jolts
//! speed(T) = 0.4 + 0.6 * 2^((T - 25) / 10)
//! ```
//!
//! with `life` the rated life of the chemistry in years, `T` the battery's mean temperature in the
//! week (ambient plus [`BONNET_RISE_C`]), `s` = 1 in a week the vehicle stood still, `frailty` the
//! battery's own log-normal factor and `jolts` the wear of deep discharges. At 25 C six tenths of the
//! wear are corrosion, which doubles every 10 C (Arrhenius-like rule of thumb, printed in battery
//! texts as 8 to 15 C; `common practice, no source`); the rest is cycling, which heat leaves alone.
//!
//! **Hazard.** The chance of failing in a week is `1 - exp(-h)` with
//!
//! ```text
//! h = (0.00018 + 0.0072 * D^3) * strain
//! strain = exp(0.035 * max(0, -5 - lowest C)) * exp(0.04 * max(0, highest C - 33)), at most 2.5
//! ```
//!
//! Since D is nearly proportional to age, this is a Weibull-like life of shape about 4 beside a small
//! constant rate for faults of making (`common practice, no source`; the numbers are set so that
//! a few percent fail in the second year and 15 to 25 percent in the fifth).
//!
//! **Health**, the share of the rated cranking ability that is left at 25 C and full charge, is
//! `first - 0.52 * D^1.2`, where `first` is the battery's own value when new (about 1.05: makers
//! deliver a little more than the label).
//!
//! Nothing here fails, draws or knows the calendar; when things happen is left to `life`.

use trade::words::Chemistry;

/// How much warmer a battery is than the air, as a mean over the week, degrees C.
/// `common practice, no source`
pub const BONNET_RISE_C: f64 = 7.0;

const FAULT_OF_MAKING: f64 = 0.00018;
const WEAR_HAZARD: f64 = 0.0072;
const WEAR_POWER: f64 = 3.0;

/// Standard deviation of the logarithm of the frailty.
pub const FRAILTY_LOG_DEVIATION: f64 = 0.10;

/// Rated life at 25 C in years. `common practice, no source`
pub fn rated_life_years(chemistry: Chemistry) -> f64 {
    match chemistry {
        Chemistry::Flooded => 4.8,
        Chemistry::Efb => 5.8,
        Chemistry::Agm | Chemistry::Gel => 7.0,
        Chemistry::Lithium => 10.0,
    }
}

/// The wear one deep discharge costs. `common practice, no source`
pub fn deep_discharge_wear(chemistry: Chemistry) -> f64 {
    match chemistry {
        Chemistry::Flooded => 0.06,
        Chemistry::Efb => 0.045,
        Chemistry::Agm | Chemistry::Gel => 0.04,
        Chemistry::Lithium => 0.01,
    }
}

/// How fast a battery of that temperature ages; 1 at 25 C.
pub fn ageing_speed(temperature_c: f64) -> f64 {
    0.4 + 0.6 * ((temperature_c - 25.0) / 10.0).exp2()
}

/// Factor on the hazard in a week with these extremes of the air.
pub fn strain(lowest_c: f64, highest_c: f64) -> f64 {
    let cold = 0.035 * (-5.0 - lowest_c).max(0.0);
    let hot = 0.04 * (highest_c - 33.0).max(0.0);
    (cold + hot).exp().min(2.5)
}

/// Wear of one week.
pub fn weekly_wear(life_years: f64, ageing: f64, standing: f64, frailty: f64) -> f64 {
    7.0 / 365.25 / life_years * ageing * (1.0 + 0.5 * standing) * frailty
}

/// The integrated hazard of one week.
pub fn weekly_hazard(wear: f64, strain: f64) -> f64 {
    (FAULT_OF_MAKING + WEAR_HAZARD * wear.max(0.0).powf(WEAR_POWER)) * strain
}

/// Share of the rated cranking ability left at 25 C and full charge.
fn health(first_health: f64, wear: f64, (drop, power): (f64, f64), steps: f64) -> f64 {
    (first_health - drop * wear.max(0.0).powf(power) - steps).max(0.05)
}

/// Chance in a week that a weak battery lets the supply sag so that one or two modules note it.
pub fn small_sag_chance(wear: f64, strain: f64) -> f64 {
    (0.0015 + 0.04 * wear.powf(2.5) * strain).min(0.5)
}

/// Chance in a week that the supply sags so far that most modules store codes.
pub fn large_sag_chance(wear: f64, strain: f64) -> f64 {
    (0.0002 + 0.0035 * wear.powi(3) * strain).min(0.3)
}

/// Chance in a week of a deep discharge: lights left on, a long stand, a drain.
pub fn deep_discharge_chance(drain_factor: f64, standing: bool) -> f64 {
    0.0009 * drain_factor * if standing { 5.0 } else { 1.0 }
}

/// Chance of failing within the coming weeks, given what is hidden now: wear goes on at the expected
/// pace (`expected` yields ageing and strain of each week from the season alone, `standing` is the
/// vehicle's own share of weeks at a stand, deep discharges come at their mean rate). The weather
/// that will really come is not looked at; planned replacement and leaving are not counted.
pub fn chance_of_failing(
    battery: &Hidden,
    drain_factor: f64,
    standing: f64,
    expected: impl Iterator<Item = (f64, f64)>,
) -> f64 {
    let life_years = rated_life_years(battery.chemistry);
    let discharges = (1.0 - standing) * deep_discharge_chance(drain_factor, false)
        + standing * deep_discharge_chance(drain_factor, true);
    let jolts = discharges * deep_discharge_wear(battery.chemistry);
    let (mut wear, mut sum) = (battery.wear, 0.0);
    for (ageing, strain) in expected {
        wear += weekly_wear(life_years, ageing, standing, battery.frailty) + jolts;
        sum += weekly_hazard(wear, strain);
    }
    1.0 - (-sum).exp()
}

/// What nobody sees of a battery.
#[derive(Debug, Clone, Copy)]
pub struct Hidden {
    pub chemistry: Chemistry,
    pub frailty: f64,
    pub first_health: f64,
    pub wear: f64,
    /// Share of a full charge at rest.
    pub charge: f64,
    /// Ability lost by steps, beside what wear takes.
    pub steps: f64,
    /// `drop` and `power` of the ability's fall with wear.
    pub loss: (f64, f64),
    /// Of a batch that fails early.
    pub bad_batch: bool,
}

/// The fall of the ability in the smooth world.
pub const SMOOTH_LOSS: (f64, f64) = (0.52, 1.2);

impl Hidden {
    pub fn health(&self) -> f64 {
        health(self.first_health, self.wear, self.loss, self.steps)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn worn(wear: f64) -> Hidden {
        Hidden {
            chemistry: Chemistry::Agm,
            frailty: 1.0,
            first_health: 1.05,
            wear,
            charge: 0.9,
            steps: 0.0,
            loss: SMOOTH_LOSS,
            bad_batch: false,
        }
    }

    /// The stated rule: the part that is corrosion doubles every 10 C, the rest stands still.
    #[test]
    fn corrosion_doubles_every_ten_degrees() {
        assert_eq!(ageing_speed(25.0), 1.0);
        for temperature_c in [-10.0, 5.0, 25.0, 40.0] {
            let ratio =
                (ageing_speed(temperature_c + 10.0) - 0.4) / (ageing_speed(temperature_c) - 0.4);
            assert!((ratio - 2.0).abs() < 1e-12, "{ratio} at {temperature_c}");
        }
    }

    /// 52 weeks a year at 25 C for the rated life use it up.
    #[test]
    fn a_rated_life_at_25_degrees_is_a_wear_of_one() {
        let life_years = rated_life_years(Chemistry::Efb);
        let weeks = life_years * 365.25 / 7.0;
        assert!(
            (weeks * weekly_wear(life_years, ageing_speed(25.0), 0.0, 1.0) - 1.0).abs() < 1e-12
        );
    }

    #[test]
    fn mild_weather_puts_no_strain_on_a_battery_and_extremes_at_most_two_and_a_half() {
        assert_eq!(strain(-5.0, 33.0), 1.0);
        assert!(strain(-20.0, 0.0) > 1.5 && strain(10.0, 43.0) > 1.4);
        assert_eq!(strain(-60.0, 60.0), 2.5);
    }

    /// Without further wear the chance is one minus the product of the weeks' survivals.
    #[test]
    fn the_chance_adds_up_the_weeks() {
        let new = Hidden {
            chemistry: Chemistry::Lithium,
            ..worn(0.8)
        };
        let weeks = 8;
        let chance = chance_of_failing(&new, 0.0, 0.0, std::iter::repeat_n((0.0, 1.0), weeks));
        let expected = 1.0 - (-(weeks as f64) * weekly_hazard(0.8, 1.0)).exp();
        assert!(
            (chance - expected).abs() < 1e-12,
            "{chance} against {expected}"
        );
    }

    #[test]
    fn chance_and_signs_rise_and_health_falls_with_wear() {
        let chance =
            |wear| chance_of_failing(&worn(wear), 1.0, 0.1, std::iter::repeat_n((1.0, 1.0), 8));
        for (less, more) in [(0.0, 0.3), (0.3, 0.8), (0.8, 1.4)] {
            assert!(chance(less) < chance(more));
            assert!(small_sag_chance(less, 1.0) < small_sag_chance(more, 1.0));
            assert!(large_sag_chance(less, 1.0) < large_sag_chance(more, 1.0));
            assert!(worn(less).health() > worn(more).health());
        }
    }
}
