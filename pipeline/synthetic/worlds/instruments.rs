//! The shops' testers: each reads on a scale of its own, and some change from one day on.
//!
//! Nothing here fails.

use super::super::shops::SHOPS;
use super::super::streams::{Domain, chance, normal, stream, whole};

/// A shop's tester from one day to the day before another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instrument {
    pub shop: usize,
    pub from_day: i32,
    pub until_day: i32,
    /// What it shows of a battery's true share of its rating.
    pub scale: f64,
}

/// Every shop's testers in turn, over all days.
pub fn instruments(seed: u64, spread: f64, window_start: i32, last_day: i32) -> Vec<Instrument> {
    let mut all = Vec::new();
    for shop in 0..SHOPS.len() {
        let mut rng = stream(seed, Domain::Instruments, shop as u64);
        let first = normal(&mut rng, 0.0, spread).exp();
        let second = normal(&mut rng, 0.0, spread).exp();
        let third = (last_day - window_start) / 3;
        let day = window_start + third + whole(&mut rng, 0, i64::from(third)) as i32;
        let changes = chance(&mut rng, 0.5);
        let until_day = if changes { day } else { last_day + 1 };
        all.push(Instrument {
            shop,
            from_day: 0,
            until_day,
            scale: first,
        });
        if changes {
            all.push(Instrument {
                shop,
                from_day: day,
                until_day: last_day + 1,
                scale: second,
            });
        }
    }
    all
}
