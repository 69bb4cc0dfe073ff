//! One week of a battery under a law of margin: what wears it, what takes steps out of it, and when it
//! fails.
//!
//! **Ability** is the share of the rated cranking ability left at 25 C and full charge,
//! `first - drop * D^power - steps`. Wear `D` grows by
//!
//! ```text
//! dD = (7 / 365.25) / life * speed(T) * use * pace + undercharge + discharges
//! speed(T) = (1 - c) + c * 2^((T - 25) / 10)
//! use = 1 + short * short trips + still * (stood still)
//! ```
//!
//! with `c` the share that is corrosion (doubling every 10 C: `common practice, no source`), `pace` the
//! battery's own log-normal factor times its vehicle's, and `undercharge` what a week below 70 %
//! charge costs (sulphate that hardens; `common practice, no source`).
//!
//! **Failure.** On the week's coldest morning the starter asks for more and the battery gives less:
//! about 100 and 100 % at 27 C, 155 and 65 % at 0 C, 210 and 40 % at -18 C (a chart printed in many
//! battery texts; `from memory`), 300 and 25 % at -29 C (`from memory`). With
//!
//! ```text
//! margin = ln(ability * charge factor / need) + ln(power(T) / demand(T)) - ln(power(F) / demand(F))
//! ```
//!
//! where `F` is the cold its vehicle was fitted for and `need` the ability with which it just starts
//! then, a start fails with chance `1 / (1 + exp(margin / 0.04))`: nearly a threshold, so that a battery
//! which started at -20 C is safe until it is colder or has worn further. A start that would succeed
//! on a full charge is only a discharge. Cold asks a third of that, in the logarithm, where the battery
//! cranks no engine. Beside this a battery fails **without warning** (an
//! open or shorted cell) at a rate that rises with the square of its wear, whatever it reads.
//!
//! Nothing here fails.

use super::super::streams::{Stream, between, chance, normal};
use super::super::wear::{self, Hidden};
use super::traits::Traits;

/// The constants of a law. All are `common practice, no source` unless the file of the world says more.
#[derive(Debug)]
pub struct Law {
    /// Factor on the rated life of the chemistry.
    pub life_factor: f64,
    /// Standard deviations of the logarithm of the pace: the battery's own, the vehicle's.
    pub battery_spread: f64,
    pub vehicle_spread: f64,
    /// Share of the wear at 25 C that doubles every 10 C.
    pub corrosion: f64,
    /// `drop` and `power` of the ability's fall.
    pub loss: (f64, f64),
    /// Factors of use on wear.
    pub short_trips: f64,
    pub still: f64,
    /// Wear of a week for each unit of charge below 0.7.
    pub undercharge: f64,
    /// Steps a year for a battery at the end of its rated life, and their mean size.
    pub steps_a_year: f64,
    pub step_size: f64,
    /// Failures without warning a year: of a new battery, and more at a wear of one.
    pub sudden_a_year: (f64, f64),
    /// The ability with which a vehicle just starts in the cold it was fitted for: median and spread of
    /// the logarithm.
    pub need: (f64, f64),
    /// Charging faults a vehicle and year.
    pub faults_a_year: f64,
    /// Batteries of bad batches, if there are any: factor on pace, added failures a year.
    pub bad_batch: Option<(f64, f64)>,
    /// Every vehicle whose shop names places has two batteries.
    pub two_batteries: bool,
    /// Spread of the logarithm of the testers' scales.
    pub instruments: f64,
}

/// Charge a battery has after a night on the charger.
const CHARGED: f64 = 0.93;
/// How sharply a start fails below its need, in the logarithm.
const SHARPNESS: f64 = 0.04;

/// A week's air.
#[derive(Debug, Clone, Copy)]
pub struct Air {
    /// `2^((T - 25) / 10)` of the battery's mean temperature.
    pub corrosion_speed: f32,
    /// `ln(power / demand)` on the coldest morning.
    pub morning: f32,
}

impl Air {
    /// From the week's mean and lowest temperature of the air, degrees C.
    pub fn new(mean_c: f64, lowest_c: f64) -> Air {
        Air {
            corrosion_speed: ((mean_c + wear::BONNET_RISE_C - 25.0) / 10.0).exp2() as f32,
            morning: morning(lowest_c) as f32,
        }
    }
}

/// `ln(power / demand)` at that temperature, in straight lines between the points of the chart.
pub fn morning(lowest_c: f64) -> f64 {
    const POINTS: [(f64, f64); 4] = [
        (27.0, 0.0),
        (0.0, -0.869),   // ln(0.65 / 1.55)
        (-18.0, -1.658), // ln(0.40 / 2.10)
        (-29.0, -2.485), // ln(0.25 / 3.00)
    ];
    if lowest_c >= POINTS[0].0 {
        return POINTS[0].1;
    }
    for pair in POINTS.windows(2) {
        let ((warm_c, warm), (cold_c, cold)) = (pair[0], pair[1]);
        if lowest_c >= cold_c {
            return warm + (cold - warm) * (warm_c - lowest_c) / (warm_c - cold_c);
        }
    }
    let ((warm_c, warm), (cold_c, cold)) = (POINTS[2], POINTS[3]);
    warm + (cold - warm) * (warm_c - lowest_c) / (warm_c - cold_c)
}

/// Cranking ability at a state of charge as a share of that at full charge: 0.82 at half, 0.5 empty.
/// `common practice, no source`
fn charge_factor(charge: f64) -> f64 {
    let missing = (1.0 - charge).clamp(0.0, 1.0);
    1.0 - 0.5 * missing * missing.sqrt()
}

/// What a week has in store for a battery, given how it went.
#[derive(Debug, Clone, Copy)]
pub struct Prospect {
    /// Chance of failing a start even on a full charge.
    pub worn_out: f64,
    /// Chance of failing without warning.
    pub sudden: f64,
    /// Chance of failing a start for want of charge alone.
    pub only_discharged: f64,
    /// Margin on the coldest morning at the charge it has.
    pub margin: f64,
    /// It was deeply discharged.
    pub deep: bool,
}

impl Prospect {
    /// Chance of failing in the week.
    pub fn failing(&self) -> f64 {
        1.0 - (1.0 - self.worn_out) * (1.0 - self.sudden)
    }
}

impl Law {
    /// Lives one week. `fault` says that the vehicle's charging is at fault.
    pub fn week(
        &self,
        rng: &mut Stream,
        hidden: &mut Hidden,
        traits: &Traits,
        air: Air,
        standing: bool,
        fault: bool,
    ) -> Prospect {
        let still = f64::from(u8::from(standing));
        let faulty = f64::from(u8::from(fault));
        let speed = (1.0 - self.corrosion) + self.corrosion * f64::from(air.corrosion_speed);
        let used = 1.0 + self.short_trips * traits.short_trips + self.still * still;
        let life_years = wear::rated_life_years(hidden.chemistry) * self.life_factor;
        hidden.wear += 7.0 / 365.25 / life_years * speed * used * traits.pace * hidden.frailty;

        let usual = 0.95
            - 0.28 * traits.short_trips
            - (0.08 + 0.12 * traits.drain.min(3.0)) * still
            - 0.5 * faulty
            - 0.06 * hidden.wear.min(1.5);
        hidden.charge =
            (usual + 0.4 * (hidden.charge - usual) + normal(rng, 0.0, 0.04)).clamp(0.1, 1.0);
        let deep = chance(rng, wear::deep_discharge_chance(traits.drain, standing));
        if deep {
            hidden.wear += wear::deep_discharge_wear(hidden.chemistry);
            hidden.charge = between(rng, 0.05, 0.4);
        }
        hidden.wear += self.undercharge * (0.7 - hidden.charge).max(0.0);

        let steps = self.steps_a_year * (0.15 + 0.85 * hidden.wear.min(2.0));
        if chance(rng, steps * 7.0 / 365.25 * hidden.frailty) {
            hidden.steps += -self.step_size * (1.0 - between(rng, 0.0, 1.0)).ln();
        }
        self.prospect(hidden, traits, air, deep)
    }

    /// The chances of a battery in this state on this week's coldest morning.
    pub fn prospect(&self, hidden: &Hidden, traits: &Traits, air: Air, deep: bool) -> Prospect {
        let ability = hidden.health().ln();
        let morning = f64::from(air.morning);
        let harder = morning - traits.fitted_for;
        let asked = if traits.cranks { harder } else { harder / 3.0 };
        let at = |charge: f64| ability + charge_factor(charge).ln() + asked - traits.ln_need;
        let fails = |margin: f64| 1.0 / (1.0 + (margin / SHARPNESS).exp());
        let margin = at(hidden.charge);
        let worn_out = fails(at(CHARGED.max(hidden.charge)));
        let (new, worn) = self.sudden_a_year;
        let added = self.bad_batch.map_or(0.0, |(_, a_year)| a_year);
        let sudden = new + worn * hidden.wear.powi(2) + if hidden.bad_batch { added } else { 0.0 };
        Prospect {
            worn_out,
            sudden: 1.0 - (-sudden * 7.0 / 365.25).exp(),
            only_discharged: (fails(margin) - worn_out).max(0.0),
            margin,
            deep,
        }
    }
}

/// Chance in a week that the supply sags so that one or two modules note it, and so far that most do.
pub fn sag_chances(margin: f64) -> (f64, f64) {
    let near = 1.0 / (1.0 + ((margin - 0.2) / 0.1).exp());
    (0.0015 + 0.2 * near, 0.0002 + 0.03 * near)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The chart's points, and between them a straight line.
    #[test]
    fn the_morning_follows_the_chart() {
        assert_eq!(morning(35.0), 0.0);
        assert!((morning(0.0) - (0.65f64 / 1.55).ln()).abs() < 1e-3);
        assert!((morning(-18.0) - (0.40f64 / 2.10).ln()).abs() < 1e-3);
        assert!((morning(-29.0) - (0.25f64 / 3.00).ln()).abs() < 1e-3);
        assert!((morning(-9.0) - (morning(0.0) + morning(-18.0)) / 2.0).abs() < 1e-9);
        assert!(morning(-35.0) < morning(-29.0));
    }
}
