//! What of a vehicle bears on its batteries: how much it asks of them, how it is used, whether its
//! charging is at fault.
//!
//! A vehicle that covers less ground than its fellows makes shorter trips: that is the only trace
//! short trips leave beside the charge. Nothing here fails.

use super::super::fleet::Vehicle;
use super::super::models::{BatterySpec, ModelSpec};
use super::super::streams::{Domain, Stream, between, chance, gamma_of_mean_one, normal, stream};
use super::law::{Law, morning};
use trade::words::{Chemistry, Powertrain, RatingStandard};

/// A vehicle's part in the lives of its batteries.
#[derive(Debug, Clone, Copy)]
pub struct Traits {
    /// Factor on the wear of every battery it ever has.
    pub pace: f64,
    /// Logarithm of the ability at which it no longer starts on the coldest mornings it was fitted for.
    pub ln_need: f64,
    /// `ln(power / demand)` of those mornings.
    pub fitted_for: f64,
    /// Whether this battery cranks an engine.
    pub cranks: bool,
    /// 0 for long trips, 1 for nothing but short ones.
    pub short_trips: f64,
    /// Factor on what drains it at a stand.
    pub drain: f64,
    /// Whether it is among the vehicles the shops test at all.
    pub tested: bool,
}

/// A vehicle's charging fault.
#[derive(Debug, Clone, Copy)]
pub struct ChargingFault {
    pub from_day: i32,
    /// Day it was found and mended.
    pub until_day: Option<i32>,
}

impl Traits {
    pub fn draw(
        law: &Law,
        seed: u64,
        vehicle: &Vehicle,
        spec: &ModelSpec,
        usual_coldest_c: f64,
        tested_share: f64,
    ) -> (Traits, Option<ChargingFault>) {
        let rng = &mut stream(seed, Domain::Traits, vehicle.index);
        let cranks = matches!(
            spec.powertrain,
            Powertrain::Combustion | Powertrain::Hybrid | Powertrain::PlugInHybrid
        );
        let (need, spread) = law.need;
        let ground = vehicle.km_a_week / spec.km_a_week;
        let traits = Traits {
            pace: normal(rng, 0.0, law.vehicle_spread).exp(),
            ln_need: need.ln() + normal(rng, 0.0, spread),
            // Batteries are chosen half for the place, half for what the maker sells everywhere.
            fitted_for: 0.5 * morning(usual_coldest_c) + 0.5 * morning(MAKERS_COLD_C),
            cranks,
            short_trips: (0.85 - 0.65 * ground + normal(rng, 0.0, 0.1)).clamp(0.0, 1.0),
            drain: spec.drain_factor * gamma_of_mean_one(rng, 2.0),
            tested: chance(rng, tested_share),
        };
        (traits, fault(rng, law, vehicle))
    }

    /// The same vehicle's demands on another battery than the main one.
    pub fn of_auxiliary(self) -> Traits {
        Traits {
            cranks: false,
            ..self
        }
    }
}

/// The cold a maker has in mind, degrees C. `common practice, no source`
const MAKERS_COLD_C: f64 = -12.0;

/// A charging fault comes at a constant rate from the first day.
fn fault(rng: &mut Stream, law: &Law, vehicle: &Vehicle) -> Option<ChargingFault> {
    let years = -(1.0 - between(rng, 0.0, 1.0)).ln() / law.faults_a_year;
    (years < 40.0).then(|| ChargingFault {
        from_day: vehicle.in_service_day + (years * 365.25) as i32,
        until_day: None,
    })
}

/// Auxiliary batteries that vehicles with one battery get in worlds of two.
const SECOND: [BatterySpec; 2] = [
    BatterySpec {
        position: "auxiliary",
        group: "H3",
        chemistry: Chemistry::Efb,
        rating: 300.0,
        standard: RatingStandard::En,
        price: 117.0,
    },
    BatterySpec {
        position: "auxiliary",
        group: "H4",
        chemistry: Chemistry::Agm,
        rating: 380.0,
        standard: RatingStandard::En,
        price: 158.0,
    },
];

/// The second battery of a vehicle.
pub fn second_battery(vehicle: &Vehicle) -> &'static BatterySpec {
    &SECOND[(vehicle.index % 2) as usize]
}
