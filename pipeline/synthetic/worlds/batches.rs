//! Months of production whose batteries fail early.
//!
//! A batch is a chemistry and the days it was made; most batteries of it are bad. The date codes of
//! tests show the month. Nothing here fails.

use super::super::streams::{Domain, stream, weighted, whole};
use trade::words::Chemistry;

/// Days a bad batch is made.
const DAYS: i32 = 110;
/// Share of a batch's batteries that are bad.
pub const BAD_SHARE: f64 = 0.8;

/// A bad batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Batch {
    pub chemistry: Chemistry,
    /// First day of its making and the day after its last.
    pub made_from: i32,
    pub made_until: i32,
}

impl Batch {
    pub fn holds(&self, chemistry: Chemistry, made_day: i32) -> bool {
        self.chemistry == chemistry && (self.made_from..self.made_until).contains(&made_day)
    }
}

/// Two bad batches: one from before the dumps, one from their first half.
pub fn batches(seed: u64, window_start: i32, last_day: i32) -> Vec<Batch> {
    let mut rng = stream(seed, Domain::Batches, 0);
    let half = (last_day - window_start) / 2;
    [
        (window_start - 700, window_start - 200),
        (window_start - 100, window_start + half),
    ]
    .into_iter()
    .map(|(from, to)| {
        let chemistry = [Chemistry::Flooded, Chemistry::Agm, Chemistry::Efb]
            [weighted(&mut rng, [0.45, 0.4, 0.15].into_iter())];
        let made_from = whole(&mut rng, i64::from(from), i64::from(to)) as i32;
        Batch {
            chemistry,
            made_from,
            made_until: made_from + DAYS,
        }
    })
    .collect()
}
