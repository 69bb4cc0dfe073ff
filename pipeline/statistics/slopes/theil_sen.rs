//! A slope that outliers do not move: the median of all pairwise slopes.
//!
//! Fails for fewer than two points, or when all points share one x. The forecast of a crossing is
//! left to `crossing`.

use super::slope_ranks::SlopeRanks;
use crate::input::{InputError, all_finite, at_least, same_length};
use crate::limits::{Limits, two_sided_z};

/// Beyond this many points neighbours in x are condensed to their medians, so that time stays in
/// bounds.
pub const MOST_POINTS: usize = 20_000;
/// Up to this many points every pair's slope is formed and sorted, at most about 1.1 million of them.
const MOST_SORTED: usize = 1_500;

/// A robust straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct RobustLine {
    pub slope: f64,
    /// Rank limits of the slope; `None` when so few points cannot give this confidence.
    pub slope_limits: Option<Limits>,
    /// Median of `y - slope * x`.
    pub intercept: f64,
    /// Median of y less slope times median of x, the other common choice.
    pub intercept_of_medians: f64,
    pub points: usize,
    /// Points after condensing; equal to `points` up to `MOST_POINTS`.
    pub points_used: usize,
}

impl RobustLine {
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// The median of the slopes between points of different x (Theil 1950; Sen, J. Amer. Statist.
/// Assoc. 63:1379, 1968), with Sen's limits from the normal approximation to Kendall's S: the
/// slopes of rank `(N -+ z sd(S))/2`, ranks rounded, ties in x and y taken off the variance.
/// More than `MOST_POINTS` points are first sorted by x and cut into runs of equal size; each run
/// becomes one point at its median x and median y. The limits are then those of the runs, wider
/// than those of all points but of the stated confidence.
pub fn theil_sen(x: &[f64], y: &[f64], confidence: f64) -> Result<RobustLine, InputError> {
    let z = two_sided_z(confidence)?;
    same_length("x", x.len(), "y", y.len())?;
    at_least("points", x.len(), 2)?;
    all_finite("x", x)?;
    all_finite("y", y)?;
    let points = condensed(x, y);
    if points[0].0 == points[points.len() - 1].0 {
        return Err(InputError::TooFew {
            what: "different x",
            found: 1,
            needed: 2,
        });
    }
    let slopes = match points.len() <= MOST_SORTED {
        true => Slopes::Sorted(sorted_slopes(&points)?),
        false => Slopes::Ranked(SlopeRanks::new(&points)?),
    };
    let slope = slopes.median();
    let (xs, ys): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let spread = z * kendall_variance(&xs, &ys).max(0.0).sqrt();
    let count = slopes.count() as f64;
    let low_rank = ((count - spread) / 2.0).round_ties_even() - 1.0;
    let high_rank = ((count + spread) / 2.0).round_ties_even();
    let reachable = low_rank >= 0.0 && high_rank <= count - 1.0;
    let slope_limits = reachable.then(|| Limits {
        lower: slopes.at(low_rank as u64),
        upper: slopes.at(high_rank as u64),
    });
    Ok(RobustLine {
        slope,
        slope_limits,
        intercept: median(points.iter().map(|(x, y)| y - slope * x).collect()),
        intercept_of_medians: median(ys) - slope * median(xs),
        points: x.len(),
        points_used: points.len(),
    })
}

/// The slopes between all points of different x, in order.
enum Slopes {
    Sorted(Vec<f64>),
    Ranked(SlopeRanks),
}

impl Slopes {
    fn count(&self) -> u64 {
        match self {
            Slopes::Sorted(slopes) => slopes.len() as u64,
            Slopes::Ranked(ranks) => ranks.count,
        }
    }

    /// The slope of a rank counted from 0.
    fn at(&self, rank: u64) -> f64 {
        match self {
            Slopes::Sorted(slopes) => slopes[rank as usize],
            Slopes::Ranked(ranks) => ranks.slope_at(rank),
        }
    }

    fn median(&self) -> f64 {
        let count = self.count();
        match count % 2 {
            1 => self.at(count / 2),
            _ => 0.5 * (self.at(count / 2 - 1) + self.at(count / 2)),
        }
    }
}

fn sorted_slopes(points: &[(f64, f64)]) -> Result<Vec<f64>, InputError> {
    let mut slopes = Vec::with_capacity(points.len() * (points.len() - 1) / 2);
    for (index, &(x_low, y_low)) in points.iter().enumerate() {
        for &(x_high, y_high) in &points[index + 1..] {
            if x_high > x_low {
                slopes.push((y_high - y_low) / (x_high - x_low));
            }
        }
    }
    all_finite("slope", &slopes)?;
    slopes.sort_unstable_by(f64::total_cmp);
    Ok(slopes)
}

/// Points in order of x, at most `MOST_POINTS` of them.
fn condensed(x: &[f64], y: &[f64]) -> Vec<(f64, f64)> {
    let mut points: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
    points.sort_unstable_by(|left, right| {
        left.0.total_cmp(&right.0).then(left.1.total_cmp(&right.1))
    });
    if points.len() <= MOST_POINTS {
        return points;
    }
    let total = points.len();
    (0..MOST_POINTS)
        .map(|run| {
            let members = &points[run * total / MOST_POINTS..(run + 1) * total / MOST_POINTS];
            let (xs, ys): (Vec<f64>, Vec<f64>) = members.iter().copied().unzip();
            (median(xs), median(ys))
        })
        .collect()
}

/// Variance of Kendall's S with ties: `(n(n-1)(2n+5) - sum t(t-1)(2t+5)) / 18` (Kendall 1970).
fn kendall_variance(x: &[f64], y: &[f64]) -> f64 {
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let tied = |values: &[f64]| {
        let mut sorted = values.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        sorted
            .chunk_by(|left, right| left == right)
            .map(|run| term(run.len() as f64))
            .sum::<f64>()
    };
    (term(x.len() as f64) - tied(x) - tied(y)) / 18.0
}

/// Median of values without NaN; 0 for none.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    median_of_sorted(&values)
}

fn median_of_sorted(sorted: &[f64]) -> f64 {
    match sorted.len() {
        0 => 0.0,
        count if count % 2 == 1 => sorted[count / 2],
        count => 0.5 * (sorted[count / 2 - 1] + sorted[count / 2]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_points_have_a_slope_but_no_limits() {
        let line = theil_sen(&[0.0, 1.0, 3.0], &[2.0, 1.0, -1.0], 0.95).unwrap();
        assert_eq!(
            (line.slope, line.slope_limits, line.intercept),
            (-1.0, None, 2.0)
        );
    }

    #[test]
    fn one_x_is_refused() {
        assert!(theil_sen(&[1.0, 1.0], &[1.0, 2.0], 0.95).is_err());
        assert!(theil_sen(&[1.0], &[1.0], 0.95).is_err());
        assert!(theil_sen(&[1.0, f64::NAN], &[1.0, 2.0], 0.95).is_err());
    }

    /// Every pair's slope, sorted, against ranks found by counting, on points with ties in x and in y.
    #[test]
    fn many_points_have_the_slope_of_all_their_pairs() {
        let mut points: Vec<(f64, f64)> = (0..2_400u32)
            .map(|index| {
                let x = f64::from(index / 3) * 0.37;
                (x, (0.3 * x + f64::from(index * 7_919 % 101)).round())
            })
            .collect();
        points.sort_unstable_by(|left, right| left.partial_cmp(right).unwrap());
        let sorted = sorted_slopes(&points).unwrap();
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        let line = theil_sen(&x, &y, 0.95).unwrap();
        assert_eq!((line.points, line.points_used), (2_400, 2_400));
        assert!((line.slope - median_of_sorted(&sorted)).abs() < 1e-13);
        let ranks = SlopeRanks::new(&points).unwrap();
        assert_eq!(ranks.count, sorted.len() as u64);
        for rank in [
            0,
            1,
            77,
            sorted.len() / 3,
            sorted.len() - 2,
            sorted.len() - 1,
        ] {
            let (found, expected) = (ranks.slope_at(rank as u64), sorted[rank]);
            assert!(
                (found - expected).abs() < 1e-12 * (1.0 + expected.abs()),
                "{rank}: {found} {expected}"
            );
        }
    }

    #[test]
    fn more_points_than_are_taken_are_condensed_and_keep_the_slope() {
        let x: Vec<f64> = (0..40_000).map(|index| f64::from(index) * 1e-3).collect();
        let y: Vec<f64> = x
            .iter()
            .enumerate()
            .map(|(index, x)| 3.0 - 0.25 * x + (index * 7919 % 13) as f64 * 0.1)
            .collect();
        let line = theil_sen(&x, &y, 0.95).unwrap();
        assert_eq!((line.points, line.points_used), (40_000, MOST_POINTS));
        assert!((line.slope + 0.25).abs() < 1e-4, "{}", line.slope);
        assert!(line.slope_limits.unwrap().contains(line.slope));
    }
}
