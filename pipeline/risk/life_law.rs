//! The law of battery life that new life is priced by: what the fleet shows, blended with what is believed
//! before.
//!
//! The belief is a Weibull law: batteries wear out. The hazard rises as the power 1.5 of lost ability (see
//! [`super::model`]) and ability is lost about in proportion to age, so the shape is 2.5; the mean life is
//! the one the settings expect (`common practice, no source`, both). Each failure moves the law from the
//! belief towards the fleet; no count of them is a threshold. A chemistry starts from the fleet's law, and
//! lithium from the belief alone, for it does not die as lead does. Fails where lives cannot be used.

use statistics::FitError;
use statistics::lives::life::Life;
use statistics::lives::weibull::fit_weibull_sample;
use statistics::lives::weibull_law::Weibull;
use statistics::lives::weibull_likelihood::{WeibullPrior, WeibullSample};
use statistics::prior::NormalPrior;
use trade::words::Chemistry;

const SHAPE: f64 = 2.5;
/// Standard deviations of the belief, of the logarithms: fleets live within a factor of two of it.
const SCALE_SD: f64 = 0.35;
const SHAPE_SD: f64 = 0.25;
/// How far chemistries of one fleet lie from its law, likewise; that of lithium is hardly known.
const CHEMISTRY_SCALE_SD: f64 = 0.25;
const CHEMISTRY_SHAPE_SD: f64 = 0.15;
const LITHIUM_SCALE_SD: f64 = 0.7;

/// One battery's life as it was watched, in days.
#[derive(Debug, Clone)]
pub struct WatchedLife {
    pub chemistry: Option<Chemistry>,
    pub life: Life,
    /// How many such lives it stands for.
    pub weight: f64,
}

/// A law with what it rests on.
#[derive(Debug, Clone, Copy)]
pub struct LifeLaw {
    pub law: Weibull,
    pub failures: usize,
}

/// The law of the whole fleet, lithium left out.
pub fn fleet_law(lives: &[WatchedLife], mean_life_days: f64) -> Result<LifeLaw, FitError> {
    let lead: Vec<&WatchedLife> = lives
        .iter()
        .filter(|one| one.chemistry != Some(Chemistry::Lithium))
        .collect();
    blend(&lead, &belief(mean_life_days, SCALE_SD))
}

/// The law of one chemistry; `fleet` is the fleet's.
pub fn chemistry_law(
    lives: &[WatchedLife],
    chemistry: Chemistry,
    fleet: &LifeLaw,
    mean_life_days: f64,
) -> Result<LifeLaw, FitError> {
    let own: Vec<&WatchedLife> = lives
        .iter()
        .filter(|one| one.chemistry == Some(chemistry))
        .collect();
    let prior = match chemistry {
        Chemistry::Lithium => belief(mean_life_days, LITHIUM_SCALE_SD),
        _ => around(&fleet.law, CHEMISTRY_SCALE_SD, CHEMISTRY_SHAPE_SD),
    };
    blend(&own, &prior)
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

fn blend(lives: &[&WatchedLife], prior: &WeibullPrior) -> Result<LifeLaw, FitError> {
    let watched: Vec<&&WatchedLife> = lives
        .iter()
        .filter(|one| one.life.exit > one.life.entry && one.weight > 0.0)
        .collect();
    if watched.is_empty() {
        let mean = |one: Option<NormalPrior>| one.map_or(0.0, |prior| prior.mean).exp();
        return Ok(LifeLaw {
            law: Weibull {
                shape: mean(prior.ln_shape),
                scale: mean(prior.ln_scale),
            },
            failures: 0,
        });
    }
    let (spans, weights): (Vec<Life>, Vec<f64>) =
        watched.iter().map(|one| (one.life, one.weight)).unzip();
    let sample = WeibullSample::from_weighted_lives(&spans, &weights)?;
    let fit = fit_weibull_sample(&sample, prior)?;
    Ok(LifeLaw {
        law: fit.law,
        failures: fit.failures,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEAN: f64 = 1_826.0;

    fn lives(failures: usize, of: usize, age: f64) -> Vec<WatchedLife> {
        (0..of)
            .map(|at| WatchedLife {
                chemistry: Some(Chemistry::Agm),
                life: Life {
                    entry: 0.0,
                    exit: age,
                    event: at < failures,
                },
                weight: 1.0,
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
            .map(|at| WatchedLife {
                chemistry: Some(Chemistry::Agm),
                life: Life::failed(0.0, truth.b_life((f64::from(at) + 0.5) / 4_000.0)),
                weight: 1.0,
            })
            .collect();
        let law = fleet_law(&all, MEAN).unwrap().law;
        assert!((law.shape / truth.shape).ln().abs() < 0.02, "{law:?}");
        assert!((law.scale / truth.scale).ln().abs() < 0.01, "{law:?}");
    }

    #[test]
    fn lithium_is_not_priced_by_lead() {
        let fleet = fleet_law(&lives(100, 200, 700.0), MEAN).unwrap();
        let lithium = chemistry_law(&[], Chemistry::Lithium, &fleet, MEAN).unwrap();
        assert!((lithium.law.mean() - MEAN).abs() < 1e-6);
        let gel = chemistry_law(&[], Chemistry::Gel, &fleet, MEAN).unwrap();
        assert_eq!(gel.law, fleet.law);
    }

    #[test]
    fn a_weight_is_so_many_lives() {
        let mut weighed = lives(1, 2, 900.0);
        weighed[0].weight = 3.0;
        let twice = [lives(3, 3, 900.0), lives(0, 1, 900.0)].concat();
        let (one, other) = (
            fleet_law(&weighed, MEAN).unwrap().law,
            fleet_law(&twice, MEAN).unwrap().law,
        );
        assert!((one.scale / other.scale).ln().abs() < 1e-9);
        assert!((one.shape / other.shape).ln().abs() < 1e-9);
    }
}
