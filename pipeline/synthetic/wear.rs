//! The hidden life of a battery: the physical model the invented fleet is made with.
//!
//! **Wear** `D` is 0 for a new battery and 1 when its rated life is used up. It grows week by week:
//!
//! ```text
//! dD = (7 / 365.25) / life * speed(T) * (1 + 0.5 s) * frailty + jolts
//! speed(T) = 0.5 + 0.5 * 2^((T - 25) / 10)
//! ```
//!
//! with `life` the rated life of the chemistry in years, `T` the battery's mean temperature in the
//! week (ambient plus [`BONNET_RISE_C`]), `s` = 1 in a week the vehicle stood still, `frailty` the
//! battery's own log-normal factor and `jolts` the wear of deep discharges. Half of the wear is
//! corrosion, which doubles every 10 C (Arrhenius-like rule of thumb, printed in battery texts as
//! 8 to 15 C; `common practice, no source`); the other half is cycling, which heat leaves alone.
//!
//! **Hazard.** The chance of failing in a week is `1 - exp(-h)` with
//!
//! ```text
//! h = (0.00009 + 0.0056 * D^2.1) * strain
//! strain = exp(0.035 * max(0, -5 - lowest C)) * exp(0.04 * max(0, highest C - 33)), at most 2.5
//! ```
//!
//! Since D is nearly proportional to age, this is a Weibull-like life of shape about 3 beside a small
//! constant rate for faults of making (`common practice, no source`; the numbers are set so that
//! a few percent fail in the second year and 15 to 25 percent in the fifth).
//!
//! **Health**, the share of the rated cranking ability that is left at 25 C and full charge, is
//! `first - 0.52 * D^1.2`, where `first` is the battery's own value when new (about 1.05: makers
//! deliver a little more than the label).
//!
//! Nothing here fails, draws or knows the calendar; when things happen is left to `life`.

use crate::trade::words::Chemistry;

/// How much warmer a battery is than the air, as a mean over the week, degrees C.
/// `common practice, no source`
pub const BONNET_RISE_C: f64 = 7.0;

const FAULT_OF_MAKING: f64 = 0.00009;
const WEAR_HAZARD: f64 = 0.0056;
const WEAR_POWER: f64 = 2.1;

/// Standard deviation of the logarithm of the frailty.
pub const FRAILTY_LOG_DEVIATION: f64 = 0.12;

/// Rated life at 25 C in years. `common practice, no source`
pub fn rated_life_years(chemistry: Chemistry) -> f64 {
    match chemistry {
        Chemistry::Flooded => 5.2,
        Chemistry::Efb => 6.0,
        Chemistry::Agm | Chemistry::Gel => 6.8,
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
    0.5 + 0.5 * ((temperature_c - 25.0) / 10.0).exp2()
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
pub fn health(first_health: f64, wear: f64) -> f64 {
    (first_health - 0.52 * wear.max(0.0).powf(1.2)).max(0.05)
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
}

impl Hidden {
    pub fn health(&self) -> f64 {
        health(self.first_health, self.wear)
    }
}
