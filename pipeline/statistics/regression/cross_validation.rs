//! Choosing a ridge penalty by how well left-out groups are foretold.
//!
//! Fails as the fits do and for fewer groups than folds. Rows of one group (one vehicle, one week)
//! are never split over two folds; which grouping is honest is left to the caller.

use super::hazard_likelihood::{PersonPeriods, Ridge};
use super::hazard_regression::fit_hazard_from;
use crate::input::{FitError, at_least, same_length};

/// How one penalty did on the rows it had not seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LambdaScore {
    pub lambda: f64,
    /// Log-likelihood of the left-out rows per unit of weight.
    pub log_likelihood: f64,
    /// Standard error of the mean over folds.
    pub se: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct CrossValidation {
    /// In order of falling lambda.
    pub scores: Vec<LambdaScore>,
    /// The penalty with the best score.
    pub best: f64,
    /// The greatest penalty whose score is within one standard error of the best.
    pub simplest: f64,
}

/// The fold of each row. Groups are put in an order that depends only on their ids (a mix of the
/// id's bits), then dealt out in turn, so the folds are of equal size and the same on every run.
pub fn folds_of(groups: &[u64], folds: usize) -> Vec<usize> {
    let mut distinct: Vec<(u64, u64)> = groups.iter().map(|&id| (mixed(id), id)).collect();
    distinct.sort_unstable();
    distinct.dedup();
    let place = |id: u64| distinct.partition_point(|&other| other < (mixed(id), id));
    groups.iter().map(|&id| place(id) % folds.max(1)).collect()
}

/// The finaliser of SplitMix64 (Steele, Lea and Flood 2014).
fn mixed(id: u64) -> u64 {
    let mut bits = id.wrapping_add(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}

/// Scores each penalty by grouped k-fold cross-validation. `ridge` gives the penalty's other parts;
/// its lambda is not used.
pub fn choose_lambda(
    data: &PersonPeriods,
    groups: &[u64],
    folds: usize,
    lambdas: &[f64],
    ridge: &Ridge,
) -> Result<CrossValidation, FitError> {
    data.check()?;
    same_length("groups", groups.len(), "rows", data.rows())?;
    at_least("lambdas", lambdas.len(), 1)?;
    at_least("folds", folds, 2)?;
    let fold_of = folds_of(groups, folds);
    let filled = fold_of.iter().max().map_or(0, |greatest| greatest + 1);
    at_least("groups", filled, folds)?;
    let mut lambdas = lambdas.to_vec();
    lambdas.sort_unstable_by(|left, right| right.total_cmp(left));

    let mut by_lambda = vec![Vec::with_capacity(folds); lambdas.len()];
    let weights_where = |chosen: &dyn Fn(usize) -> bool| -> Vec<f64> {
        let weight = |row| {
            if chosen(fold_of[row]) {
                data.weight(row)
            } else {
                0.0
            }
        };
        (0..data.rows()).map(weight).collect()
    };
    for fold in 0..folds {
        let (seen, unseen) = (weights_where(&|f| f != fold), weights_where(&|f| f == fold));
        let total: f64 = unseen.iter().sum();
        if total == 0.0 {
            continue;
        }
        let train = PersonPeriods {
            weights: Some(&seen),
            ..*data
        };
        let test = PersonPeriods {
            weights: Some(&unseen),
            ..*data
        };
        let mut start: Option<Vec<f64>> = None;
        for (lambda, scores) in lambdas.iter().zip(&mut by_lambda) {
            let penalty = Ridge {
                lambda: *lambda,
                ..ridge.clone()
            };
            let fit = fit_hazard_from(&train, &penalty, start.as_deref())?;
            let beta: Vec<f64> = std::iter::once(fit.intercept)
                .chain(fit.coefficients)
                .collect();
            scores.push(test.log_likelihood(&beta) / total);
            start = Some(beta);
        }
    }
    let scores: Vec<LambdaScore> = lambdas
        .iter()
        .zip(&by_lambda)
        .map(|(&lambda, scores)| {
            let count = scores.len() as f64;
            let mean = scores.iter().sum::<f64>() / count;
            let spread: f64 = scores.iter().map(|score| (score - mean).powi(2)).sum();
            let se = (spread / (count - 1.0).max(1.0) / count).sqrt();
            LambdaScore {
                lambda,
                log_likelihood: mean,
                se,
            }
        })
        .collect();
    let best = scores.iter().copied().reduce(|best, next| {
        if next.log_likelihood > best.log_likelihood {
            next
        } else {
            best
        }
    });
    let Some(best) = best else {
        return Err(FitError::NoEvents {
            what: "cross-validation",
            rows: data.rows(),
        });
    };
    let within = best.log_likelihood - best.se;
    let simplest = scores.iter().find(|score| score.log_likelihood >= within);
    let simplest = simplest.map_or(best.lambda, |score| score.lambda);
    Ok(CrossValidation {
        best: best.lambda,
        simplest,
        scores,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folds_keep_groups_whole_and_even() {
        let groups: Vec<u64> = (0..1000).map(|row| row / 5).collect();
        let folds = folds_of(&groups, 4);
        assert!(
            folds
                .chunks(5)
                .all(|group| group.iter().all(|fold| *fold == group[0]))
        );
        assert!((0..4).all(|fold| folds.iter().filter(|&&f| f == fold).count() == 250));
    }
}
