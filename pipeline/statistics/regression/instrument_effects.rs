//! How much one instrument reads above or below the others, from things that several of them measured
//! and from things whose true value is about known.
//!
//! Reading = value of the thing + effect of the instrument + error, on a scale where effects add (take
//! logarithms where they multiply). The value of a thing is unknown and left to its own readings; that
//! of an *anchored* thing comes from a normal law about a common level. Effects are drawn towards 0 by
//! a normal law whose spread, like that of the errors, is averaged over by how well it explains the
//! readings (empirical Bayes with the integral over both scales as a sum over a grid; Searle, Casella
//! and McCulloch, Variance Components, 1992, chapters 7 and 9, from memory). With few readings effects
//! are next to 0 and their limits wide.
//!
//! Fails for values that are not finite. What is an instrument, a thing or anchored is left to the
//! caller.

use nalgebra::{DMatrix, DVector};

use crate::input::{InputError, all_finite};
use crate::limits::Limits;

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    pub thing: u64,
    pub instrument: u64,
    pub value: f64,
    /// The thing's value is about [`Anchor::level`].
    pub anchored: bool,
}

/// What is known of anchored things beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// The common level, and how sure that is (one sigma).
    pub level: f64,
    pub level_sigma: f64,
    /// One sigma of a thing about the level.
    pub thing_sigma: f64,
}

/// An instrument's effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InstrumentEffect {
    pub instrument: u64,
    pub effect: f64,
    pub sigma: f64,
    /// Things it measured that bear on it: anchored, or measured by another instrument too.
    pub things: usize,
}

impl InstrumentEffect {
    /// 95 % limits of the effect.
    pub fn limits(&self) -> Limits {
        Limits {
            lower: self.effect - 1.96 * self.sigma,
            upper: self.effect + 1.96 * self.sigma,
        }
    }
}

/// Spreads of effects that are tried, and the half-normal sigma they are expected within.
const EFFECT_SIGMAS: [f64; 9] = [0.002, 0.01, 0.02, 0.04, 0.06, 0.09, 0.13, 0.19, 0.28];
const EFFECT_SIGMA_EXPECTED: f64 = 0.1;
/// Spreads of errors that are tried.
const ERROR_SIGMAS: [f64; 7] = [0.02, 0.035, 0.05, 0.075, 0.11, 0.16, 0.24];

/// The effect of every instrument among the readings, in the order of their numbers. A thing that is
/// not anchored and met one instrument only says nothing and is passed over.
pub fn instrument_effects(
    readings: &[Reading],
    anchor: Anchor,
) -> Result<Vec<InstrumentEffect>, InputError> {
    let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
    all_finite("reading", &values)?;
    let mut ordered = readings.to_vec();
    ordered.sort_by(|a, b| {
        (a.thing, a.instrument)
            .cmp(&(b.thing, b.instrument))
            .then(a.value.total_cmp(&b.value))
    });
    let mut instruments: Vec<u64> = ordered.iter().map(|reading| reading.instrument).collect();
    instruments.sort_unstable();
    instruments.dedup();
    let place = |instrument: u64| instruments.partition_point(|known| *known < instrument);

    let things: Vec<Vec<(usize, f64)>> = ordered
        .chunk_by(|a, b| a.thing == b.thing)
        .filter(|thing| bears(thing))
        .map(|thing| {
            let anchored = thing[0].anchored;
            let level = if anchored { anchor.level } else { 0.0 };
            let of = |reading: &Reading| (place(reading.instrument), reading.value - level);
            thing.iter().map(of).collect()
        })
        .collect();
    let anchored: Vec<bool> = ordered
        .chunk_by(|a, b| a.thing == b.thing)
        .filter(|thing| bears(thing))
        .map(|thing| thing[0].anchored)
        .collect();

    let mut fits: Vec<(f64, DVector<f64>, DVector<f64>)> = Vec::new();
    for error_sigma in ERROR_SIGMAS {
        let sums = Sums::of(&things, &anchored, instruments.len(), error_sigma, anchor);
        for effect_sigma in EFFECT_SIGMAS {
            fits.extend(sums.fit(effect_sigma, anchor.level_sigma));
        }
    }
    let best = fits
        .iter()
        .map(|fit| fit.0)
        .fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = fits.iter().map(|fit| (fit.0 - best).exp()).sum();
    let average = |of: &dyn Fn(&DVector<f64>, &DVector<f64>) -> f64| {
        let weighed = fits
            .iter()
            .map(|(height, mean, variance)| (height - best).exp() / total * of(mean, variance));
        weighed.sum::<f64>()
    };
    Ok(instruments
        .iter()
        .enumerate()
        .map(|(at, &instrument)| {
            let effect = average(&|mean, _| mean[at]);
            let square = average(&|mean, variance| variance[at] + mean[at] * mean[at]);
            let met = |thing: &&Vec<(usize, f64)>| thing.iter().any(|(which, _)| *which == at);
            InstrumentEffect {
                instrument,
                effect,
                sigma: (square - effect * effect).max(0.0).sqrt(),
                things: things.iter().filter(met).count(),
            }
        })
        .collect())
}

/// Anchored, or measured by two instruments.
fn bears(thing: &[Reading]) -> bool {
    let instrument = thing[0].instrument;
    thing[0].anchored || thing.iter().any(|reading| reading.instrument != instrument)
}

/// Normal equations of the effects and, last, of the level above the anchor's.
struct Sums {
    moments: DMatrix<f64>,
    products: DVector<f64>,
    square: f64,
    log_determinant: f64,
}

impl Sums {
    fn of(
        things: &[Vec<(usize, f64)>],
        anchored: &[bool],
        instruments: usize,
        error_sigma: f64,
        anchor: Anchor,
    ) -> Self {
        let size = instruments + 1;
        let error = error_sigma * error_sigma;
        let own = anchor.thing_sigma * anchor.thing_sigma;
        let mut sums = Sums {
            moments: DMatrix::zeros(size, size),
            products: DVector::zeros(size),
            square: 0.0,
            log_determinant: 0.0,
        };
        for (thing, &anchored) in things.iter().zip(anchored) {
            let count = thing.len() as f64;
            // The inverse of error I + own 11' is (I - shared 11') / error; own is infinite where the
            // thing's value is free.
            let shared = if anchored {
                own / (error + count * own)
            } else {
                1.0 / count
            };
            sums.log_determinant += (count - 1.0) * error.ln();
            if anchored {
                sums.log_determinant += (error + count * own).ln();
            }
            let total: f64 = thing.iter().map(|(_, value)| value).sum();
            // The row of a reading has a 1 for its instrument and, if anchored, for the level.
            let mut row_sum = vec![(instruments, if anchored { count } else { 0.0 })];
            for &(at, value) in thing {
                sums.square += value * value / error;
                sums.moments[(at, at)] += 1.0 / error;
                sums.products[at] += value / error;
                if anchored {
                    sums.moments[(at, instruments)] += 1.0 / error;
                    sums.moments[(instruments, at)] += 1.0 / error;
                    sums.moments[(instruments, instruments)] += 1.0 / error;
                    sums.products[instruments] += value / error;
                }
                row_sum.push((at, 1.0));
            }
            sums.square -= shared * total * total / error;
            for &(i, x) in &row_sum {
                sums.products[i] -= shared * x * total / error;
                for &(j, y) in &row_sum {
                    sums.moments[(i, j)] -= shared * x * y / error;
                }
            }
        }
        sums
    }

    /// Log marginal likelihood with the spread's prior, means and variances of the effects.
    fn fit(
        &self,
        effect_sigma: f64,
        level_sigma: f64,
    ) -> Option<(f64, DVector<f64>, DVector<f64>)> {
        let size = self.products.len();
        let mut penalised = self.moments.clone();
        let mut log_prior = 0.0;
        for at in 0..size {
            let sigma = if at + 1 == size {
                level_sigma
            } else {
                effect_sigma
            };
            penalised[(at, at)] += 1.0 / (sigma * sigma);
            log_prior -= 2.0 * sigma.ln();
        }
        let factor = penalised.cholesky()?;
        let mean = factor.solve(&self.products);
        let log_determinant = 2.0 * factor.l_dirty().diagonal().map(f64::ln).sum();
        let height = -0.5
            * (self.log_determinant + self.square - self.products.dot(&mean) + log_determinant
                - log_prior)
            - 0.5 * (effect_sigma / EFFECT_SIGMA_EXPECTED).powi(2);
        Some((height, mean, factor.inverse().diagonal()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANCHOR: Anchor = Anchor {
        level: 0.0,
        level_sigma: 0.06,
        thing_sigma: 0.06,
    };

    /// Evenly spread numbers from -1 to 1, the same each time.
    fn spread(at: u64) -> f64 {
        ((at.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 11) as f64 / (1u64 << 53) as f64) * 2.0 - 1.0
    }

    #[test]
    fn an_instrument_that_reads_low_is_found_by_what_others_measured_too() {
        let readings: Vec<Reading> = (0..60)
            .flat_map(|thing| {
                let value = 0.3 * spread(thing);
                let other = thing % 2 + 1;
                [(0, value - 0.2), (other, value)].map(|(instrument, value)| Reading {
                    thing,
                    instrument,
                    value: value + 0.05 * spread(1000 + 7 * thing + instrument),
                    anchored: false,
                })
            })
            .collect();
        let effects = instrument_effects(&readings, ANCHOR).unwrap();
        let gap = effects[0].effect - 0.5 * (effects[1].effect + effects[2].effect);
        assert!((gap + 0.2).abs() < 0.03, "{effects:?}");
        assert!(
            (effects[1].effect - effects[2].effect).abs() < 0.05,
            "{effects:?}"
        );
        assert_eq!(
            effects.iter().map(|e| e.things).collect::<Vec<_>>(),
            [60, 30, 30]
        );
    }

    #[test]
    fn new_things_tell_a_lone_instrument_by_their_level() {
        let readings = |bias: f64, things: u64| -> Vec<Reading> {
            (0..things)
                .map(|thing| Reading {
                    thing,
                    instrument: 4,
                    value: bias + 0.08 * spread(thing),
                    anchored: true,
                })
                .collect()
        };
        let low = instrument_effects(&readings(-0.25, 200), ANCHOR).unwrap()[0];
        assert!((-0.26..-0.15).contains(&low.effect), "{low:?}");
        assert!(low.limits().upper < -0.05, "{low:?}");
        let right = instrument_effects(&readings(0.0, 200), ANCHOR).unwrap()[0];
        assert!(right.effect.abs() < 0.01 && right.sigma < 0.06, "{right:?}");
        let one = instrument_effects(&readings(-0.25, 1), ANCHOR).unwrap()[0];
        assert!(one.effect.abs() < 0.12 && one.sigma > 0.03, "{one:?}");
    }

    #[test]
    fn instruments_that_agree_are_left_alone() {
        let readings: Vec<Reading> = (0..300)
            .map(|thing| Reading {
                thing,
                instrument: thing % 6,
                value: 0.05 + 0.1 * spread(thing),
                anchored: true,
            })
            .collect();
        for effect in instrument_effects(&readings, ANCHOR).unwrap() {
            assert!(effect.effect.abs() < 0.03, "{effect:?}");
            assert!(effect.limits().contains(0.0), "{effect:?}");
        }
    }

    #[test]
    fn what_met_one_instrument_only_says_nothing() {
        let alone = Reading {
            thing: 1,
            instrument: 9,
            value: 0.4,
            anchored: false,
        };
        let effects = instrument_effects(&[alone, alone], ANCHOR).unwrap();
        assert_eq!(effects[0].things, 0);
        assert!(effects[0].effect.abs() < 1e-9 && effects[0].sigma > 0.02);
        assert!(instrument_effects(&[], ANCHOR).unwrap().is_empty());
        let nan = Reading {
            value: f64::NAN,
            ..alone
        };
        assert!(instrument_effects(&[nan], ANCHOR).is_err());
    }
}
