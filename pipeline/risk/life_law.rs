//! The law of battery life that new life is priced by: what the fleet shows, blended with what is believed
//! before.
//!
//! The belief is a Weibull law: batteries wear out. A fleet's hazard rises about as the power 1.5 of age, less steeply
//! than each battery's own with its wear, as batteries differ in pace: a shape of 2.5; the mean life is the one the
//! settings expect (`common practice, no source`, both). Each failure moves the law from the
//! belief towards the fleet; no count of them is a threshold. A chemistry and a climate start from the
//! fleet's law, and lithium from the belief alone, for it does not die as lead does. How much of a law is
//! the lives' own is told with it.
//!
//! Lives come in pieces that stand for batteries replaced in good time ([`super::planned_ends`]). Fails
//! where lives cannot be used.

use statistics::FitError;
use statistics::limits::{Limits, two_sided_z};
use statistics::lives::life::Life;
use statistics::lives::weibull::{WeibullFit, fit_weibull_sample};
use statistics::lives::weibull_law::Weibull;
use statistics::lives::weibull_likelihood::{WeibullPrior, WeibullSample};
use statistics::lives::weibull_robust::{Piece, robust};
use statistics::prior::NormalPrior;
use trade::words::Chemistry;

const SHAPE: f64 = 2.5;
/// Standard deviations of the belief, of the logarithms: fleets live within a factor of two of it.
const SCALE_SD: f64 = 0.35;
const SHAPE_SD: f64 = 0.25;
/// How far chemistries and climates of one fleet lie from its law, likewise; that of lithium is hardly
/// known.
const KIND_SCALE_SD: f64 = 0.25;
const KIND_SHAPE_SD: f64 = 0.15;
const LITHIUM_SCALE_SD: f64 = 0.7;
const CONFIDENCE: f64 = 0.95;

/// A piece of a battery's watched life, in days.
#[derive(Debug, Clone, Copy)]
pub struct WatchedLife<'a> {
    pub chemistry: Option<Chemistry>,
    /// The band of heat it lives in, where that is known.
    pub climate: Option<&'a str>,
    pub piece: Piece,
}

/// A law with what it rests on.
#[derive(Debug, Clone)]
pub struct LifeLaw {
    pub law: Weibull,
    pub failures: usize,
    /// Share of what is known of the scale that the lives say; the rest is believed.
    pub own_share: f64,
    fit: WeibullFit,
}

impl LifeLaw {
    /// The age by which half have failed.
    pub fn half_life(&self) -> f64 {
        self.law.b_life(0.5)
    }

    /// Its 95 % limits; `of_climate` is what else moves it by a factor.
    pub fn half_life_limits(&self, of_climate: Option<&LifeLaw>) -> Option<Limits> {
        let z = two_sided_z(CONFIDENCE).ok()?;
        let own = self.fit.ln_b_life_se(0.5).ok()?;
        let of_climate = of_climate.map_or(0.0, |climate| climate.fit.ln_scale_variance);
        let se = (own * own + of_climate).sqrt();
        Some(Limits::log_normal(self.half_life(), z, se))
    }

    /// The law in a climate, whose own law is a factor on the fleet's scale.
    pub fn in_climate(&self, climate: &LifeLaw, fleet: &LifeLaw) -> LifeLaw {
        let scale = self.law.scale * climate.law.scale / fleet.law.scale;
        let mut moved = self.clone();
        moved.law.scale = scale;
        moved.fit.law.scale = scale;
        moved
    }
}

/// The law of the whole fleet, lithium left out.
pub fn fleet_law(lives: &[WatchedLife], mean_life_days: f64) -> Result<LifeLaw, FitError> {
    let lead = lives.iter().filter(is_lead);
    blend(lead, &belief(mean_life_days, SCALE_SD))
}

/// The law of one chemistry; `fleet` is the fleet's.
pub fn chemistry_law(
    lives: &[WatchedLife],
    chemistry: Chemistry,
    fleet: &LifeLaw,
    mean_life_days: f64,
) -> Result<LifeLaw, FitError> {
    let own = lives.iter().filter(|one| one.chemistry == Some(chemistry));
    let prior = match chemistry {
        Chemistry::Lithium => belief(mean_life_days, LITHIUM_SCALE_SD),
        _ => around(&fleet.law, KIND_SCALE_SD, KIND_SHAPE_SD),
    };
    blend(own, &prior)
}

/// The law of the lead batteries of one climate.
pub fn climate_law(
    lives: &[WatchedLife],
    climate: &str,
    fleet: &LifeLaw,
) -> Result<LifeLaw, FitError> {
    let own = lives
        .iter()
        .filter(is_lead)
        .filter(|one| one.climate == Some(climate));
    blend(own, &around(&fleet.law, KIND_SCALE_SD, KIND_SHAPE_SD))
}

fn is_lead(one: &&WatchedLife<'_>) -> bool {
    one.chemistry != Some(Chemistry::Lithium)
}

fn belief(mean_life_days: f64, scale_sd: f64) -> WeibullPrior {
    let unit = Weibull {
        shape: SHAPE,
        scale: 1.0,
    };
    let law = Weibull {
        scale: mean_life_days / unit.mean(),
        ..unit
    };
    around(&law, scale_sd, SHAPE_SD)
}

fn around(law: &Weibull, scale_sd: f64, shape_sd: f64) -> WeibullPrior {
    WeibullPrior {
        ln_shape: Some(NormalPrior {
            mean: law.shape.ln(),
            sd: shape_sd,
        }),
        ln_scale: Some(NormalPrior {
            mean: law.scale.ln(),
            sd: scale_sd,
        }),
    }
}

/// What is believed, as a fit to no lives.
fn believed(prior: &WeibullPrior) -> WeibullFit {
    let of = |one: Option<NormalPrior>| one.unwrap_or(NormalPrior { mean: 0.0, sd: 1.0 });
    let (shape, scale) = (of(prior.ln_shape), of(prior.ln_scale));
    WeibullFit {
        law: Weibull {
            shape: shape.mean.exp(),
            scale: scale.mean.exp(),
        },
        ln_scale_variance: scale.sd * scale.sd,
        ln_sigma_variance: shape.sd * shape.sd,
        covariance: 0.0,
        log_likelihood: 0.0,
        lives: 0,
        failures: 0,
        iterations: 0,
        prior: *prior,
    }
}

fn blend<'a>(
    lives: impl Iterator<Item = &'a WatchedLife<'a>>,
    prior: &WeibullPrior,
) -> Result<LifeLaw, FitError> {
    let pieces: Vec<Piece> = lives
        .map(|one| one.piece)
        .filter(|piece| piece.life.exit > piece.life.entry && piece.weight > 0.0)
        .collect();
    let before = believed(prior);
    let unmoved = LifeLaw {
        law: before.law,
        failures: 0,
        own_share: 0.0,
        fit: before.clone(),
    };
    if pieces.is_empty() {
        return Ok(unmoved);
    }
    let (spans, weights): (Vec<Life>, Vec<f64>) = pieces
        .iter()
        .map(|piece| (piece.life, piece.weight))
        .unzip();
    let sample = WeibullSample::from_weighted_lives(&spans, &weights)?;
    let fit = match fit_weibull_sample(&sample, prior) {
        Ok(fit) => fit,
        // Lives that no law fits say nothing of it: what is believed stands, and says so.
        Err(
            FitError::NoMaximum { .. } | FitError::NotConverged { .. } | FitError::Singular { .. },
        ) => {
            return Ok(unmoved);
        }
        Err(error) => return Err(error),
    };
    let left = fit.ln_scale_variance / before.ln_scale_variance;
    Ok(LifeLaw {
        law: fit.law,
        failures: fit.failures,
        own_share: (1.0 - left).clamp(0.0, 1.0),
        fit: robust(&fit, &pieces)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEAN: f64 = 1_826.0;

    fn watched(subject: usize, chemistry: Chemistry, life: Life) -> WatchedLife<'static> {
        WatchedLife {
            chemistry: Some(chemistry),
            climate: Some(if subject.is_multiple_of(2) {
                "hot"
            } else {
                "cool"
            }),
            piece: Piece {
                subject,
                life,
                weight: 1.0,
            },
        }
    }

    fn lives(failures: usize, of: usize, age: f64) -> Vec<WatchedLife<'static>> {
        (0..of)
            .map(|at| {
                let event = at < failures;
                let life = Life {
                    entry: 0.0,
                    exit: age,
                    event,
                };
                watched(at, Chemistry::Agm, life)
            })
            .collect()
    }

    #[test]
    fn without_a_life_the_law_is_the_belief() {
        let law = fleet_law(&[], MEAN).unwrap();
        assert!((law.law.mean() - MEAN).abs() < 1e-6);
        assert_eq!((law.law.shape, law.failures), (SHAPE, 0));
    }

    #[test]
    fn each_failure_moves_the_law_and_none_makes_a_step() {
        let scales: Vec<f64> = (0..60)
            .map(|failures| {
                let law = fleet_law(&lives(failures, 200, 1_000.0), MEAN).unwrap();
                law.law.scale
            })
            .collect();
        let steps: Vec<f64> = scales
            .windows(2)
            .map(|pair| (pair[0] / pair[1]).ln())
            .collect();
        assert!(steps.iter().all(|step| *step > 0.0), "{steps:?}");
        // Each failure counts less than the one before it, the twentieth too.
        assert!(steps.windows(2).all(|pair| pair[1] < pair[0]), "{steps:?}");
    }

    #[test]
    fn many_failures_leave_nothing_of_the_belief() {
        let truth = Weibull {
            shape: 4.0,
            scale: 2_500.0,
        };
        let all: Vec<WatchedLife> = (0..4_000)
            .map(|at| {
                let age = truth.b_life((f64::from(at) + 0.5) / 4_000.0);
                watched(at as usize, Chemistry::Agm, Life::failed(0.0, age))
            })
            .collect();
        let fleet = fleet_law(&all, MEAN).unwrap();
        let law = fleet.law;
        assert!(fleet.own_share > 0.99, "{}", fleet.own_share);
        let limits = fleet.half_life_limits(None).unwrap();
        assert!(limits.contains(truth.b_life(0.5)) && limits.upper / limits.lower < 1.05);
        assert!((law.shape / truth.shape).ln().abs() < 0.02, "{law:?}");
        assert!((law.scale / truth.scale).ln().abs() < 0.01, "{law:?}");
    }

    #[test]
    fn lithium_is_not_priced_by_lead() {
        let fleet = fleet_law(&lives(100, 200, 700.0), MEAN).unwrap();
        let lithium = chemistry_law(&[], Chemistry::Lithium, &fleet, MEAN).unwrap();
        assert!((lithium.law.mean() - MEAN).abs() < 1e-6);
        // Nothing of it is known here: it says so, and its limits are wide.
        let limits = lithium.half_life_limits(None).unwrap();
        assert_eq!((lithium.failures, lithium.own_share), (0, 0.0));
        assert!(limits.upper / limits.lower > 10.0, "{limits:?}");
        let gel = chemistry_law(&[], Chemistry::Gel, &fleet, MEAN).unwrap();
        assert_eq!(gel.law, fleet.law);
    }

    /// One failure that stands for a million has a law of its own only; no law fits it beside others.
    #[test]
    fn lives_that_no_law_fits_leave_the_belief() {
        let mut weighed = lives(3, 40, 900.0);
        weighed[0].piece.weight = 1e6;
        let law = fleet_law(&weighed, MEAN).unwrap();
        assert!((law.law.mean() - MEAN).abs() < 1e-6, "{law:?}");
        assert_eq!((law.own_share, law.failures), (0.0, 0));
    }

    #[test]
    fn a_weight_is_so_many_lives() {
        let mut weighed = lives(1, 2, 900.0);
        weighed[0].piece.weight = 3.0;
        let twice = [lives(3, 3, 900.0), lives(0, 1, 900.0)].concat();
        let (one, other) = (
            fleet_law(&weighed, MEAN).unwrap().law,
            fleet_law(&twice, MEAN).unwrap().law,
        );
        assert!((one.scale / other.scale).ln().abs() < 1e-9);
        assert!((one.shape / other.shape).ln().abs() < 1e-9);
    }

    /// Where it is hot most batteries have failed by 1,200 days, where it is cool none has: life is shorter in
    /// the heat, and in a climate the fleet says nothing of it is as long as in the fleet.
    #[test]
    fn a_climate_moves_the_law_as_far_as_the_fleet_shows() {
        let mut all = lives(400, 400, 1.0);
        for one in &mut all {
            one.piece.life.exit = 600.0 + (one.piece.subject * 7 % 600) as f64;
            one.piece.life.event &= one.climate == Some("hot");
        }
        let fleet = fleet_law(&all, MEAN).unwrap();
        let law = |climate: &str| {
            let climate = climate_law(&all, climate, &fleet).unwrap();
            fleet.in_climate(&climate, &fleet).law
        };
        assert!(
            law("hot").scale < 0.95 * fleet.law.scale,
            "{:?}",
            law("hot")
        );
        assert!(
            law("cool").scale > 1.05 * fleet.law.scale,
            "{:?}",
            law("cool")
        );
        assert_eq!(law("mild"), fleet.law);
    }
}
