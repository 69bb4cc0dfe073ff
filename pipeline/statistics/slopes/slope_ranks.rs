//! The slope of a given rank among those between all pairs of points, without forming the pairs.
//!
//! How many slopes are at most `s` is how many pairs `y - s x` puts out of order, which merging counts
//! in `n log n` steps (Cole, Salowe, Steiger and Szemeredi, SIAM J. Comput. 18:792, 1989); the slope of
//! a rank follows by closing in on `s`. Fails where no two points differ in x.

use crate::input::{InputError, all_finite};

/// Ends of the search: a slope this near to another is not told from it, or near to 0 by that share of
/// the range of y over that of x.
const RELATIVE_ACCURACY: f64 = 1e-15;
const ACCURACY_AT_ZERO: f64 = 1e-17;

pub(super) struct SlopeRanks {
    /// In order of x, then y, both from their middle.
    points: Vec<(f64, f64)>,
    /// Pairs of different x.
    pub count: u64,
    /// Pairs that are equal in both, which every `s` counts.
    equal: u64,
    least: f64,
    greatest: f64,
    /// A difference in slope that is none.
    nothing: f64,
}

impl SlopeRanks {
    /// From points in order of x, then y.
    pub fn new(sorted: &[(f64, f64)]) -> Result<Self, InputError> {
        let middle = sorted[sorted.len() / 2];
        let points: Vec<(f64, f64)> = sorted
            .iter()
            .map(|(x, y)| (x - middle.0, y - middle.1))
            .collect();
        let pairs = |count: usize| (count as u64) * (count as u64 - 1) / 2;
        let tied = |same: fn(&(f64, f64), &(f64, f64)) -> bool| -> u64 {
            points.chunk_by(same).map(|run| pairs(run.len())).sum()
        };
        // The steepest slopes are between neighbours: between the ends of runs of one x.
        let runs: Vec<&[(f64, f64)]> = points.chunk_by(|a, b| a.0 == b.0).collect();
        let (mut least, mut greatest) = (f64::INFINITY, f64::NEG_INFINITY);
        for pair in runs.windows(2) {
            let (left, right) = (pair[0], pair[1]);
            let across = right[0].0 - left[0].0;
            least = least.min((right[0].1 - left[left.len() - 1].1) / across);
            greatest = greatest.max((right[right.len() - 1].1 - left[0].1) / across);
        }
        all_finite("slope", &[least, greatest])?;
        let ys = points.iter().map(|point| point.1);
        let (lowest, highest) = ys.fold((f64::INFINITY, f64::NEG_INFINITY), |ends, y| {
            (ends.0.min(y), ends.1.max(y))
        });
        let across = points[points.len() - 1].0 - points[0].0;
        Ok(Self {
            count: pairs(points.len()) - tied(|a, b| a.0 == b.0),
            equal: tied(|a, b| a == b),
            points,
            least,
            greatest,
            nothing: ACCURACY_AT_ZERO * (highest - lowest) / across,
        })
    }

    /// The slope of a rank counted from 0: the least `s` that more slopes than the rank are at most.
    pub fn slope_at(&self, rank: u64) -> f64 {
        let (mut below, mut above) = (self.least, self.greatest);
        let (mut fewer, mut more) = (0_u64, self.count);
        if self.at_most(below) > rank {
            return below;
        }
        let mut halve = false;
        while above - below > RELATIVE_ACCURACY * (below.abs() + above.abs()) + self.nothing {
            // Between the counts by proportion, and every other time by halves.
            let share = (rank as f64 + 0.5 - fewer as f64) / (more - fewer).max(1) as f64;
            let share = if halve {
                0.5
            } else {
                share.clamp(1e-3, 1.0 - 1e-3)
            };
            halve = !halve;
            let middle = below + share * (above - below);
            if middle <= below || middle >= above {
                break;
            }
            let counted = self.at_most(middle);
            if counted > rank {
                (above, more) = (middle, counted);
            } else {
                (below, fewer) = (middle, counted);
            }
        }
        above
    }

    /// How many slopes are at most `s`.
    fn at_most(&self, s: f64) -> u64 {
        let mut keys: Vec<f64> = self.points.iter().map(|(x, y)| y - s * x).collect();
        let mut room = vec![0.0; keys.len()];
        out_of_order(&mut keys, &mut room) - self.equal
    }
}

/// Counts pairs of which the earlier is not below the later, and sorts them.
fn out_of_order(keys: &mut [f64], room: &mut [f64]) -> u64 {
    if keys.len() < 2 {
        return 0;
    }
    let half = keys.len() / 2;
    let (left, right) = keys.split_at_mut(half);
    let (left_room, right_room) = room.split_at_mut(half);
    let mut counted = out_of_order(left, left_room) + out_of_order(right, right_room);
    let (mut from_left, mut from_right) = (0, 0);
    for place in room.iter_mut() {
        let take_left = from_left < left.len()
            && (from_right == right.len() || left[from_left] < right[from_right]);
        if take_left {
            *place = left[from_left];
            from_left += 1;
        } else {
            // All that is left on the left is not below it.
            counted += (left.len() - from_left) as u64;
            *place = right[from_right];
            from_right += 1;
        }
    }
    keys.copy_from_slice(room);
    counted
}
