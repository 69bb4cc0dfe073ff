//! The invented makes and models: what they drive with, which batteries they ask for, which modules
//! they have and which codes stay latched in them.
//!
//! No make or model exists. What a model is like by its maker is fixed; its modules' quirks (latched
//! codes, usual faults, a reprogramming campaign) come from the seed. Nothing here fails.

use super::modules::{Code, HEAVY_FAULTS, LIGHT_FAULTS, Module, heavy_modules, light_modules};
use super::streams::{Domain, Stream, between, chance, pick, shuffle, stream, whole};
use super::weather::Weather;
use trade::words::{Chemistry, Powertrain, RatingStandard};

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
    let first = whole(rng, 2, 4) as usize;
    let (protected, stubborn) = spec.latched;
    let holds = std::iter::repeat_n(Hold::Protected, protected)
        .chain(std::iter::repeat_n(Hold::Stubborn, stubborn));
    codes
        .into_iter()
        .zip(holds)
        .enumerate()
        .map(|(index, (code, hold))| ((first + 2 * index).min(modules.len() - 1), code, hold))
        .collect()
}
