//! What is not known of a Weibull fit whose lives stand for others, or come in pieces.
//!
//! Weighted pieces of one life are not independent lives, so the inverse information is not the variance.
//! The sandwich holds: `A^-1 B A^-1` with the information A and B the sum over subjects of the square of
//! what all pieces of one add to the slope (Huber, Proc. 5th Berkeley Symp. 1:221, 1967; Lin and Wei,
//! J. Amer. Statist. Assoc. 84:1074, 1989). Weights that were themselves estimated are taken as known,
//! which for weights against a loss to sight errs on the wide side (Robins, Rotnitzky and Zhao, J. Amer.
//! Statist. Assoc. 89:846, 1994). Fails for lists that do not pair up.

use super::life::Life;
use super::weibull::WeibullFit;
use crate::input::{InputError, same_length};

/// A piece of a subject's life.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Pieces of one subject follow each other.
    pub subject: usize,
    pub life: Life,
    pub weight: f64,
}

/// The fit with the sandwich for its covariance; `fit` was made of these pieces.
pub fn robust(fit: &WeibullFit, pieces: &[Piece]) -> Result<WeibullFit, InputError> {
    same_length("pieces", pieces.len(), "lives of the fit", fit.lives)?;
    let (mu, shape) = (fit.law.scale.ln(), fit.law.shape);
    let mut middle = [0.0; 3];
    for own in pieces.chunk_by(|left, right| left.subject == right.subject) {
        let (mut by_mu, mut by_s) = (0.0, 0.0);
        for piece in own {
            let slope = slope(&piece.life, mu, shape);
            by_mu += piece.weight * slope.0;
            by_s += piece.weight * slope.1;
        }
        middle[0] += by_mu * by_mu;
        middle[1] += by_mu * by_s;
        middle[2] += by_s * by_s;
    }
    // What is believed before counts as one more subject.
    for (prior, place) in [(fit.prior.ln_scale, 0), (fit.prior.ln_shape, 2)] {
        middle[place] += prior
            .filter(|own| own.sd > 0.0)
            .map_or(0.0, |own| 1.0 / (own.sd * own.sd));
    }
    // The inverse information, symmetric, on both sides of the middle.
    let (a, b, c) = (fit.ln_scale_variance, fit.covariance, fit.ln_sigma_variance);
    let [p, q, r] = middle;
    Ok(WeibullFit {
        ln_scale_variance: a * a * p + 2.0 * a * b * q + b * b * r,
        covariance: a * b * p + (a * c + b * b) * q + b * c * r,
        ln_sigma_variance: b * b * p + 2.0 * b * c * q + c * c * r,
        ..fit.clone()
    })
}

/// What one piece adds to the slope of the log-likelihood in `ln scale` and `ln sigma`.
fn slope(life: &Life, mu: f64, shape: f64) -> (f64, f64) {
    let at = |age: f64| {
        let z = (age.ln() - mu) * shape;
        let hazard = z.exp();
        (hazard, if hazard == 0.0 { 0.0 } else { z * hazard }, z)
    };
    let (out, out_z, z) = at(life.exit);
    let (held, held_z, _) = at(life.entry.max(0.0));
    let failed = f64::from(u8::from(life.event));
    (
        -shape * (failed - (out - held)),
        (out_z - held_z) - failed * (1.0 + z),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lives::weibull::fit_weibull_sample;
    use crate::lives::weibull_likelihood::{WeibullPrior, WeibullSample};

    fn lives() -> Vec<Life> {
        (1..=400u32)
            .map(|unit| Life {
                entry: f64::from(unit % 5),
                exit: 6.0 + f64::from(unit * 7 % 31),
                event: unit % 3 != 0,
            })
            .collect()
    }

    fn fitted(pieces: &[Piece]) -> WeibullFit {
        let (spans, weights): (Vec<Life>, Vec<f64>) = pieces
            .iter()
            .map(|piece| (piece.life, piece.weight))
            .unzip();
        let sample = WeibullSample::from_weighted_lives(&spans, &weights).unwrap();
        let fit = fit_weibull_sample(&sample, &WeibullPrior::default()).unwrap();
        robust(&fit, pieces).unwrap()
    }

    /// The slopes of all pieces add to none at the maximum, and cutting a life moves nothing.
    #[test]
    fn a_life_in_pieces_is_the_same_life() {
        let whole: Vec<Piece> = lives()
            .into_iter()
            .enumerate()
            .map(|(subject, life)| Piece {
                subject,
                life,
                weight: 1.0,
            })
            .collect();
        let cut: Vec<Piece> = whole
            .iter()
            .flat_map(|piece| {
                let at = 0.5 * (piece.life.entry + piece.life.exit);
                let first = Life::censored(piece.life.entry, at);
                let second = Life {
                    entry: at,
                    ..piece.life
                };
                [first, second].map(|life| Piece { life, ..*piece })
            })
            .collect();
        let (one, two) = (fitted(&whole), fitted(&cut));
        let law = one.law;
        let sum = whole.iter().fold((0.0, 0.0), |sum, piece| {
            let slope = slope(&piece.life, law.scale.ln(), law.shape);
            (sum.0 + slope.0, sum.1 + slope.1)
        });
        assert!(sum.0.abs() < 1e-6 && sum.1.abs() < 1e-6, "{sum:?}");
        for (left, right) in [
            (one.law.shape, two.law.shape),
            (one.law.scale, two.law.scale),
            (one.ln_scale_variance, two.ln_scale_variance),
            (one.covariance, two.covariance),
            (one.ln_sigma_variance, two.ln_sigma_variance),
        ] {
            assert!((left / right - 1.0).abs() < 1e-7, "{left} {right}");
        }
    }

    /// A life counted twice by its weight is as uncertain as it was, not surer as two lives would be.
    #[test]
    fn weights_do_not_make_more_lives() {
        let pieces = |weight: f64| -> Vec<Piece> {
            let lives = lives().into_iter().enumerate();
            lives
                .map(|(subject, life)| Piece {
                    subject,
                    life,
                    weight,
                })
                .collect()
        };
        let (once, twice) = (fitted(&pieces(1.0)), fitted(&pieces(2.0)));
        let ratio = once.ln_scale_variance / twice.ln_scale_variance;
        assert!((ratio - 1.0).abs() < 1e-6, "{ratio}");
    }
}
