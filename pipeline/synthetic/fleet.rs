//! The invented fleet: makes, models, vehicles and their VINs.
//!
//! No make, model, depot or person exists. VINs begin with `G`, a first letter that ISO 3780 gives to
//! no country (from memory), carry a true check digit (49 CFR 565) and the model year's letter.
//! Nothing here fails; what happens to a vehicle is left to `life`.

use chrono::Datelike;

use super::modules::{Code, HEAVY_FAULTS, LIGHT_FAULTS, Module, heavy_modules, light_modules};
use super::streams::{
    Domain, Stream, between, chance, gamma_of_mean_one, log_normal, pick, shuffle, stream,
    weighted, whole,
};
use super::weather::{DEPOTS, Weather};
use crate::trade::vin::make_check_digit;
use crate::trade::words::{Chemistry, Powertrain, RatingStandard};

/// What a model asks of a battery.
#[derive(Debug, Clone, Copy)]
pub struct BatterySpec {
    pub position: &'static str,
    pub group: &'static str,
    pub chemistry: Chemistry,
    pub rating: f64,
    pub standard: RatingStandard,
    pub price: f64,
}

/// A model as its maker builds it.
#[derive(Debug)]
pub struct ModelSpec {
    pub make: &'static str,
    pub name: &'static str,
    /// First eight characters of its VINs; position 7 is a letter, as light vehicles since 2010 have it.
    pub vin_prefix: &'static str,
    pub powertrain: Powertrain,
    pub heavy: bool,
    pub modules: usize,
    pub batteries: &'static [BatterySpec],
    /// How much more often than others its battery is drained at a stand.
    pub drain_factor: f64,
    pub km_a_week: f64,
    /// Readiness monitors; `None` where the tool shows none.
    pub monitors: Option<i64>,
    /// How many codes stay latched after a plain clear: protected ones, stubborn ones.
    pub latched: (usize, usize),
}

const fn battery(
    position: &'static str,
    group: &'static str,
    chemistry: Chemistry,
    rating: f64,
    standard: RatingStandard,
    price: f64,
) -> BatterySpec {
    BatterySpec {
        position,
        group,
        chemistry,
        rating,
        standard,
        price,
    }
}

use Chemistry::{Agm, Efb, Flooded, Lithium};
use RatingStandard::{En, Sae};

/// Every model.
pub const MODELS: [ModelSpec; 9] = [
    ModelSpec {
        make: "Aldane",
        name: "Pell",
        vin_prefix: "GV3PL4A2",
        powertrain: Powertrain::Combustion,
        heavy: false,
        modules: 14,
        batteries: &[battery("main", "H5", Flooded, 540.0, En, 92.0)],
        drain_factor: 1.0,
        km_a_week: 420.0,
        monitors: Some(8),
        latched: (1, 0),
    },
    ModelSpec {
        make: "Aldane",
        name: "Ruddle",
        vin_prefix: "GV3RD6B1",
        powertrain: Powertrain::Combustion,
        heavy: false,
        modules: 18,
        batteries: &[battery("main", "H6", Efb, 650.0, En, 138.0)],
        drain_factor: 1.1,
        km_a_week: 480.0,
        monitors: Some(8),
        latched: (1, 1),
    },
    ModelSpec {
        make: "Aldane",
        name: "Ruddle Duo",
        vin_prefix: "GV3RDHC5",
        powertrain: Powertrain::Hybrid,
        heavy: false,
        modules: 18,
        batteries: &[battery("main", "H4", Agm, 460.0, En, 171.0)],
        drain_factor: 1.6,
        km_a_week: 520.0,
        monitors: Some(9),
        latched: (1, 0),
    },
    ModelSpec {
        make: "Tavrin",
        name: "Osk",
        vin_prefix: "GT8KE1D0",
        powertrain: Powertrain::BatteryElectric,
        heavy: false,
        modules: 20,
        batteries: &[battery("main", "H4", Agm, 440.0, En, 165.0)],
        drain_factor: 1.7,
        km_a_week: 400.0,
        monitors: None,
        latched: (1, 1),
    },
    ModelSpec {
        make: "Tavrin",
        name: "Osk Tandem",
        vin_prefix: "GT8KP2E7",
        powertrain: Powertrain::PlugInHybrid,
        heavy: false,
        modules: 22,
        batteries: &[
            battery("main", "H6", Agm, 680.0, En, 214.0),
            battery("auxiliary", "H3", Agm, 320.0, En, 149.0),
        ],
        drain_factor: 1.5,
        km_a_week: 430.0,
        monitors: Some(9),
        latched: (1, 0),
    },
    ModelSpec {
        make: "Molvik",
        name: "Fen",
        vin_prefix: "GM2FN7F3",
        powertrain: Powertrain::Combustion,
        heavy: false,
        modules: 20,
        batteries: &[
            battery("main", "H7", Agm, 760.0, En, 232.0),
            battery("auxiliary", "H3", Agm, 320.0, En, 149.0),
        ],
        drain_factor: 1.2,
        km_a_week: 560.0,
        monitors: Some(8),
        latched: (1, 1),
    },
    ModelSpec {
        make: "Molvik",
        name: "Brae",
        vin_prefix: "GM2BR5G8",
        powertrain: Powertrain::Combustion,
        heavy: false,
        modules: 15,
        batteries: &[battery("main", "65", Flooded, 750.0, Sae, 118.0)],
        drain_factor: 0.9,
        km_a_week: 610.0,
        monitors: Some(8),
        latched: (1, 0),
    },
    ModelSpec {
        make: "Brontel",
        name: "Hod 40",
        vin_prefix: "GB6HD4H2",
        powertrain: Powertrain::Combustion,
        heavy: true,
        modules: 10,
        batteries: &[battery("main", "31", Flooded, 925.0, Sae, 156.0)],
        drain_factor: 1.0,
        km_a_week: 1500.0,
        monitors: None,
        latched: (1, 0),
    },
    ModelSpec {
        make: "Brontel",
        name: "Hod 62",
        vin_prefix: "GB6HD6J9",
        powertrain: Powertrain::FuelCell,
        heavy: true,
        modules: 12,
        batteries: &[battery("main", "31", Lithium, 900.0, Sae, 540.0)],
        drain_factor: 1.3,
        km_a_week: 1300.0,
        monitors: None,
        latched: (0, 1),
    },
];

/// How a code leaves a module's memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// Any clear removes it.
    Plain,
    /// A plain clear removes it now and then.
    Stubborn,
    /// Only the protected clear removes it.
    Protected,
}

/// A model with what its seed gives it: its modules and its quirks.
#[derive(Debug)]
pub struct Model {
    pub spec: &'static ModelSpec,
    pub modules: Vec<Module>,
    /// Codes that stay latched once a supply flood has set them, by module.
    pub latched: Vec<(usize, Code, Hold)>,
    /// Stored by one module whenever another holds a fault: it only points elsewhere.
    pub companion: (usize, Code),
    /// The faults this model tends to, by module.
    pub usual_faults: Vec<(usize, Code)>,
    /// Module and first day of a fleet-wide reprogramming, where there is one.
    pub campaign: Option<(usize, i32)>,
}

/// Codes that models of each kind can keep latched, protected or stubborn.
const LATCHABLE: [Code; 8] = [
    Code::Light("C1A60", 0x00),
    Code::Light("B1C20", 0x00),
    Code::Light("U1210", 0x00),
    Code::Light("C1B05", 0x00),
    Code::Light("B1D33", 0x00),
    Code::Light("P1A15", 0x00),
    Code::Light("U1333", 0x00),
    Code::Light("B1E07", 0x00),
];
const LATCHABLE_HEAVY: [Code; 2] = [Code::Heavy(520_310, 31), Code::Heavy(520_402, 14)];

/// Builds every model.
pub fn models(seed: u64, weather: &Weather, window_start: i32) -> Vec<Model> {
    MODELS
        .iter()
        .enumerate()
        .map(|(index, spec)| {
            let mut rng = stream(seed, Domain::Catalogue, index as u64);
            let high_voltage = spec.powertrain != Powertrain::Combustion;
            let modules = if spec.heavy {
                heavy_modules(spec.modules)
            } else {
                light_modules(spec.modules, high_voltage)
            };
            let latched = latched_codes(&mut rng, spec, &modules);
            let faults: &[Code] = if spec.heavy {
                &HEAVY_FAULTS
            } else {
                &LIGHT_FAULTS
            };
            let usual_faults = (0..7)
                .filter_map(|_| {
                    let module = whole(&mut rng, 0, modules.len() as i64 - 1) as usize;
                    pick(&mut rng, faults).map(|&code| (module, code))
                })
                .collect();
            let companion_module = modules.len().min(6) - 1;
            let companion = if spec.heavy {
                Code::Heavy(520_200, 31)
            } else {
                Code::Light("U1500", 0x00)
            };
            let window_days = weather.weeks as i32 * 7 - window_start;
            let campaign = chance(&mut rng, 0.5).then(|| {
                let day =
                    window_start + (f64::from(window_days) * between(&mut rng, 0.2, 0.8)) as i32;
                (whole(&mut rng, 1, 4) as usize, day)
            });
            Model {
                spec,
                modules,
                latched,
                companion: (companion_module, companion),
                usual_faults,
                campaign,
            }
        })
        .collect()
}

fn latched_codes(
    rng: &mut Stream,
    spec: &ModelSpec,
    modules: &[Module],
) -> Vec<(usize, Code, Hold)> {
    let mut codes = if spec.heavy {
        LATCHABLE_HEAVY.to_vec()
    } else {
        LATCHABLE.to_vec()
    };
    shuffle(rng, &mut codes);
    let (protected, stubborn) = spec.latched;
    let holds = std::iter::repeat_n(Hold::Protected, protected)
        .chain(std::iter::repeat_n(Hold::Stubborn, stubborn));
    codes
        .into_iter()
        .zip(holds)
        .enumerate()
        .map(|(index, (code, hold))| ((2 + 2 * index).min(modules.len() - 1), code, hold))
        .collect()
}

/// One vehicle, before anything happens to it. Days count from [`Weather::first_day`].
#[derive(Debug)]
pub struct Vehicle {
    pub index: u64,
    pub vin: String,
    pub unit_no: String,
    pub depot: usize,
    pub model: usize,
    pub model_year: i32,
    pub in_service_day: i32,
    /// Set where it came used.
    pub joined_day: Option<i32>,
    /// Day it leaves the fleet; beyond the last day it stays.
    pub leave_day: i32,
    pub km_a_week: f64,
    /// Share of weeks at a stand.
    pub standing: f64,
    /// How many more faults than its fellows it has.
    pub fault_factor: f64,
}

impl Vehicle {
    /// Draws vehicle `index` of the fleet.
    pub fn draw(seed: u64, index: u64, weather: &Weather, window_start: i32) -> Vehicle {
        const YEAR: f64 = 365.25;
        let rng = &mut stream(seed, Domain::Vehicle, index);
        let last_day = weather.weeks as i32 * 7 - 1;
        let depot = weighted(rng, DEPOTS.iter().map(|depot| depot.share));
        let kinds = DEPOTS[depot].models;
        let model = kinds[weighted(rng, kinds.iter().map(|kind| kind.1))].0;
        let spec = &MODELS[model];

        let present_at_start = chance(rng, 0.78);
        let (in_service_day, joined_day) = if present_at_start {
            let age_days = between(rng, 0.05, 8.0) * YEAR;
            let bought_used = chance(rng, 0.08)
                .then(|| window_start - (age_days * between(rng, 0.1, 0.5)) as i32);
            (window_start - age_days as i32, bought_used)
        } else {
            let joined = whole(rng, i64::from(window_start) + 1, i64::from(last_day)) as i32;
            if chance(rng, 0.15) {
                (
                    joined - (between(rng, 1.0, 4.0) * YEAR) as i32,
                    Some(joined),
                )
            } else {
                (joined, None)
            }
        };
        let in_service_day = in_service_day.max(0);
        let leave_day = leave_day(rng, in_service_day, joined_day, window_start, last_day);

        let in_service = weather.date(in_service_day);
        let model_year = in_service.year() + i32::from(in_service.month() >= 9);
        Vehicle {
            index,
            vin: vin(spec.vin_prefix, model_year, index),
            unit_no: format!(
                "{}{:05}",
                ['N', 'T', 'H', 'D', 'S', 'C', 'P', 'B'][depot],
                index + 1
            ),
            depot,
            model,
            model_year,
            in_service_day,
            joined_day,
            leave_day,
            km_a_week: log_normal(rng, spec.km_a_week, 0.35),
            standing: 0.03
                + if chance(rng, 0.15) {
                    between(rng, 0.1, 0.4)
                } else {
                    between(rng, 0.0, 0.06)
                },
            fault_factor: gamma_of_mean_one(rng, 0.8),
        }
    }

    /// First day in this fleet.
    pub fn entry_day(&self) -> i32 {
        self.joined_day.unwrap_or(self.in_service_day)
    }
}

/// Vehicles are kept 6.5 to 12 years; 2 percent a year are sold or wrecked before.
fn leave_day(
    rng: &mut Stream,
    in_service_day: i32,
    joined_day: Option<i32>,
    window_start: i32,
    last_day: i32,
) -> i32 {
    const YEAR: f64 = 365.25;
    let kept = in_service_day + (between(rng, 6.5, 12.0) * YEAR) as i32;
    let from = window_start.max(joined_day.unwrap_or(in_service_day));
    // Those whose time was up before the window still stood in the fleet when it began.
    let kept = if kept <= from + 30 {
        from + 30 + whole(rng, 0, i64::from((last_day - from).max(1)) * 2) as i32
    } else {
        kept
    };
    let lost = from + 30 - ((1.0 - between(rng, 0.0, 1.0)).ln() / 0.02 * YEAR).min(2e8) as i32;
    kept.min(lost)
}

fn vin(prefix: &str, model_year: i32, index: u64) -> String {
    let unchecked = format!(
        "{prefix}0{}K{:06}",
        model_year_letter(model_year),
        index % 1_000_000
    );
    let digit = make_check_digit(&unchecked).unwrap_or('0');
    format!("{prefix}{digit}{}", &unchecked[9..])
}

/// Position 10 of a VIN, 49 CFR 565.15 Table VII: 30 letters and digits in turn.
pub fn model_year_letter(year: i32) -> char {
    const LETTERS: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";
    LETTERS[(year - 1980).rem_euclid(30) as usize] as char
}
