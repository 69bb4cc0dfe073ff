//! Random streams: every vehicle and depot draws from its own, so that what one does never moves
//! what another gets and the same seed writes the same bytes.
//!
//! A stream is ChaCha with eight rounds, keyed by (seed, domain, index). Nothing here fails. What is
//! drawn is left to the callers.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, StandardNormal};

/// The generator behind every stream.
pub type Stream = ChaCha8Rng;

/// What a stream is for; two domains never share numbers.
#[derive(Debug, Clone, Copy)]
pub enum Domain {
    Weather = 1,
    Vehicle = 2,
    Life = 3,
    Dirt = 4,
    Catalogue = 5,
    /// What a vehicle asks of its batteries.
    Traits = 6,
    /// One vehicle's week, its batteries' luck aside.
    Week = 7,
    /// One battery's luck in one week.
    Luck = 8,
    /// Weather that may come.
    Outlook = 9,
    /// Futures of one battery.
    Futures = 10,
    Batches = 11,
    Instruments = 12,
    /// Habits of records.
    Habit = 13,
}

/// The stream of that seed, domain and index.
pub fn stream(seed: u64, domain: Domain, index: u64) -> Stream {
    let mut key = [0u8; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8..16].copy_from_slice(&(domain as u64).to_le_bytes());
    key[16..24].copy_from_slice(&index.to_le_bytes());
    ChaCha8Rng::from_seed(key)
}

/// True with that probability; below 0 counts as never, above 1 as always.
pub fn chance(rng: &mut Stream, probability: f64) -> bool {
    rng.random::<f64>() < probability
}

/// Even between `low` and `high`.
pub fn between(rng: &mut Stream, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.random::<f64>()
}

/// A whole number from `low` to `high`, both included.
pub fn whole(rng: &mut Stream, low: i64, high: i64) -> i64 {
    rng.random_range(low..=high.max(low))
}

/// Normal with that mean and standard deviation.
pub fn normal(rng: &mut Stream, mean: f64, deviation: f64) -> f64 {
    let unit: f64 = StandardNormal.sample(rng);
    mean + deviation * unit
}

/// Log-normal with that median and standard deviation of the logarithm.
pub fn log_normal(rng: &mut Stream, median: f64, log_deviation: f64) -> f64 {
    median * normal(rng, 0.0, log_deviation).exp()
}

/// Gamma with mean 1 and that shape: how unlike its fellows a vehicle is.
pub fn gamma_of_mean_one(rng: &mut Stream, shape: f64) -> f64 {
    Gamma::new(shape, 1.0 / shape).map_or(1.0, |gamma| gamma.sample(rng))
}

/// An element of a slice, by even chance; `None` for an empty slice.
pub fn pick<'a, T>(rng: &mut Stream, from: &'a [T]) -> Option<&'a T> {
    (!from.is_empty()).then(|| &from[rng.random_range(0..from.len())])
}

/// An index, with chances in proportion to the weights; the last index if they sum to nothing.
pub fn weighted(rng: &mut Stream, weights: impl Iterator<Item = f64> + Clone) -> usize {
    let mut left = rng.random::<f64>() * weights.clone().sum::<f64>();
    let mut last = 0;
    for (index, weight) in weights.enumerate() {
        last = index;
        left -= weight;
        if left < 0.0 {
            break;
        }
    }
    last
}

/// Puts a slice into random order.
pub fn shuffle<T>(rng: &mut Stream, slice: &mut [T]) {
    for last in (1..slice.len()).rev() {
        slice.swap(last, rng.random_range(0..=last));
    }
}
