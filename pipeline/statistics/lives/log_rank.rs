//! Do groups of lives differ? The log-rank test, plain or within strata, with late entry.
//!
//! Fails for unusable lives and fewer than two groups. Without anything to compare (no failures,
//! or groups never at risk together) the answer is 0 degrees of freedom and p = 1.

use super::life::{Life, check_lives};
use super::risk_set::{AgeIndex, RiskSet};
use crate::distributions::chi_square_upper_tail;
use crate::input::{InputError, at_least, same_length};
use nalgebra::{DMatrix, DVector};

/// Eigenvalues below this share of the greatest count as 0.
const SMALL_SHARE: f64 = 1e-10;

#[derive(Debug, Clone, PartialEq)]
pub struct LogRank {
    pub chi_square: f64,
    pub degrees_of_freedom: usize,
    pub p: f64,
    /// Failures seen, one entry a group.
    pub observed: Vec<f64>,
    /// Failures to be expected if all groups had one hazard.
    pub expected: Vec<f64>,
}

/// The log-rank test of groups (Mantel 1966; Peto and Peto 1972), hypergeometric variance.
pub fn log_rank(groups: &[&[Life]]) -> Result<LogRank, InputError> {
    stratified_log_rank(&[groups])
}

/// The log-rank test with observed, expected and variance added over strata; each stratum lists
/// the same groups, of which some may be empty there.
pub fn stratified_log_rank(strata: &[&[&[Life]]]) -> Result<LogRank, InputError> {
    at_least("strata", strata.len(), 1)?;
    let groups = strata[0].len();
    at_least("groups", groups, 2)?;
    let mut total = Totals {
        observed: vec![0.0; groups],
        expected: vec![0.0; groups],
        variance: DMatrix::zeros(groups, groups),
    };
    for stratum in strata {
        same_length("groups of a stratum", stratum.len(), "groups", groups)?;
        for lives in stratum.iter().filter(|lives| !lives.is_empty()) {
            check_lives(lives)?;
        }
        total.add(stratum);
    }
    Ok(total.test())
}

struct Totals {
    observed: Vec<f64>,
    expected: Vec<f64>,
    variance: DMatrix<f64>,
}

impl Totals {
    fn add(&mut self, stratum: &[&[Life]]) {
        let all = stratum.iter().flat_map(|lives| lives.iter());
        let index = AgeIndex::new(all.filter(|life| life.event).map(|life| life.exit));
        let group = |lives: &&[Life]| -> Vec<RiskSet> {
            let spans = lives.iter().map(|life| (life.entry, life.exit, life.event));
            index.risk_sets(spans).collect()
        };
        let by_group: Vec<Vec<RiskSet>> = stratum.iter().map(group).collect();
        for age in 0..index.ages.len() {
            let counts: Vec<(f64, f64)> = by_group
                .iter()
                .map(|sets| (sets[age].at_risk as f64, sets[age].events as f64))
                .collect();
            let at_risk: f64 = counts.iter().map(|count| count.0).sum();
            let failures: f64 = counts.iter().map(|count| count.1).sum();
            let spread = if at_risk > 1.0 {
                failures * (at_risk - failures) / (at_risk - 1.0)
            } else {
                0.0
            };
            for (j, &(own, own_failures)) in counts.iter().enumerate() {
                self.observed[j] += own_failures;
                self.expected[j] += failures * own / at_risk;
                for (k, &(other, _)) in counts.iter().enumerate() {
                    let same = if j == k { 1.0 } else { 0.0 };
                    self.variance[(j, k)] += spread * own / at_risk * (same - other / at_risk);
                }
            }
        }
    }

    /// The statistic over the directions in which the variance is not 0, which drops groups that
    /// were never at risk with another.
    fn test(self) -> LogRank {
        let excess = DVector::from_iterator(
            self.observed.len(),
            self.observed
                .iter()
                .zip(&self.expected)
                .map(|(seen, expected)| seen - expected),
        );
        let eigen = self.variance.symmetric_eigen();
        let least = SMALL_SHARE * eigen.eigenvalues.amax();
        let (mut chi_square, mut degrees_of_freedom) = (0.0, 0);
        for (value, direction) in eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
        {
            if *value > least {
                chi_square += direction.dot(&excess).powi(2) / value;
                degrees_of_freedom += 1;
            }
        }
        let p = match degrees_of_freedom {
            0 => 1.0,
            df => chi_square_upper_tail(chi_square, df as f64),
        };
        let (observed, expected) = (self.observed, self.expected);
        LogRank {
            chi_square,
            degrees_of_freedom,
            p,
            observed,
            expected,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_to_compare_is_stated() {
        let (early, late) = ([Life::failed(0.0, 2.0)], [Life::failed(5.0, 9.0)]);
        let test = log_rank(&[&early, &late]).unwrap();
        assert_eq!(
            (test.degrees_of_freedom, test.chi_square, test.p),
            (0, 0.0, 1.0)
        );
        assert!(log_rank(&[&early]).is_err());
        let empty = log_rank(&[&early, &[]]).unwrap();
        assert_eq!((empty.degrees_of_freedom, empty.p), (0, 1.0));
    }
}
