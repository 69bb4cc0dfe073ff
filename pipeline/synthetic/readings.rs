//! What a tester reads off a battery: rest voltage, temperature, and the shop's own kind of reading.
//!
//! The physics is [`trade::battery::expected_reading`], the inverse of the product's own
//! normalisation, times a log-normal error of the tester and, on the rest voltage, a normal error of
//! 0.03 V. Nothing here fails.

use super::shops::Shop;
use super::streams::{Stream, between, chance, normal};
use super::wear::Hidden;
use trade::battery::charge::{TemperatureRule, rest_voltage_v};
use trade::battery::expected_reading;
use trade::battery::load_test::{LOAD_SECONDS, load_current_a};
use trade::words::{Chemistry, MeasuredKind, RatingStandard};

/// How a battery failed, which shapes what a test then finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FailureForm {
    /// One cell is shorted: about 2 V are missing.
    DeadCell,
    /// It rests at a few volts and takes no reading.
    Flat,
    /// Full of charge and without power.
    Powerless,
}

/// A battery as the tester meets it.
#[derive(Debug, Clone, Copy)]
pub struct Met {
    pub hidden: Hidden,
    pub rating: (f64, RatingStandard),
    pub air_c: f64,
    pub failed: Option<FailureForm>,
    /// What the tester shows of the true ability.
    pub scale: f64,
    /// The tester itself allows for the temperature.
    pub compensated: bool,
}

/// What it reads.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    pub rest_voltage_v: f64,
    pub temperature_c: f64,
    pub measured: Option<(f64, MeasuredKind)>,
    pub load: Option<(f64, f64)>,
    /// Share of the rated cranking ability, as the tester judges it.
    pub judged_health: f64,
    pub verdict: &'static str,
}

/// Reads a battery with the shop's tester.
pub fn read(rng: &mut Stream, shop: &Shop, met: &Met) -> Reading {
    let chemistry = met.hidden.chemistry;
    let temperature_c = normal(rng, met.air_c * 0.7 + 6.0, 2.0).clamp(-35.0, 60.0);
    let (health, charge) = match met.failed {
        None => (met.hidden.health(), met.hidden.charge),
        Some(FailureForm::Powerless) => (between(rng, 0.2, 0.42), between(rng, 0.7, 0.95)),
        Some(FailureForm::DeadCell) => (between(rng, 0.05, 0.25), between(rng, 0.5, 0.9)),
        Some(FailureForm::Flat) => (between(rng, 0.05, 0.2), 0.0),
    };
    let at_rest = rest_voltage_v(
        charge,
        Some(chemistry),
        Some(temperature_c),
        TemperatureRule::default(),
    )
    .unwrap_or(12.4);
    let surface = if shop.removes_surface_charge {
        0.0
    } else {
        between(rng, 0.0, 0.12)
    };
    let rest_voltage_v = match met.failed {
        Some(FailureForm::DeadCell) => at_rest - between(rng, 1.8, 2.2),
        Some(FailureForm::Flat) => between(rng, 1.6, 9.0),
        _ => at_rest + surface + normal(rng, 0.0, 0.03),
    };

    let judged_health = health * met.scale * normal(rng, 0.0, shop.reading_error).exp();
    let (rated_a, standard) = met.rating;
    let kind = shop.measures;
    let value = expected_reading(
        kind,
        rated_a,
        standard,
        chemistry,
        judged_health,
        if met.compensated { 25.0 } else { temperature_c },
        charge,
    );
    // A lithium battery's own electronics hide it from conductance; a flat one gives no reading.
    let readable = met.failed != Some(FailureForm::Flat) && chemistry != Chemistry::Lithium;
    let measured = (readable && value.is_finite() && value > 0.0).then_some((value, kind));
    let load = (measured.is_some() && kind == MeasuredKind::LoadTestV)
        .then(|| (load_current_a(rated_a, standard).round(), LOAD_SECONDS));
    Reading {
        rest_voltage_v: rest_voltage_v.max(0.2),
        temperature_c,
        measured,
        load,
        judged_health,
        verdict: verdict(rng, shop, met.failed, charge, judged_health),
    }
}

fn verdict(
    rng: &mut Stream,
    shop: &Shop,
    failed: Option<FailureForm>,
    charge: f64,
    judged_health: f64,
) -> &'static str {
    let words = &shop.words;
    match failed {
        Some(FailureForm::DeadCell) => words.dead,
        Some(FailureForm::Flat) if chance(rng, 0.5) => words.low_charge,
        Some(FailureForm::Flat) => words.dead,
        _ if charge < 0.45 => words.low_charge,
        _ if judged_health < 0.4 => words.dead,
        _ if judged_health < shop.replace_below => words.weak,
        _ => words.good,
    }
}
