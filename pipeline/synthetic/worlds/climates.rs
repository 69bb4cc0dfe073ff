//! Climates a fleet can lie in: the depots keep their order, their winters and summers move.
//!
//! The numbers copy no real place (`common practice, no source`). Nothing here fails.

use super::super::weather::Depot;

/// A climate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Climate {
    /// From cold to hot, as the depots are.
    Mixed,
    Cold,
    Mild,
    Hot,
}

impl Climate {
    pub const ALL: [(Climate, &'static str); 4] = [
        (Climate::Mixed, "mixed"),
        (Climate::Cold, "cold"),
        (Climate::Mild, "mild"),
        (Climate::Hot, "hot"),
    ];

    /// The climate of that name.
    pub fn named(name: &str) -> Option<Climate> {
        let found = Climate::ALL.iter().find(|(_, known)| *known == name);
        found.map(|(climate, _)| *climate)
    }

    /// Mean, swing and noise of a depot's temperature in degrees C.
    pub(crate) fn of(self, depot: &Depot) -> (f64, f64, f64) {
        let from_middle = depot.mean_c - 14.0;
        match self {
            Climate::Mixed => (depot.mean_c, depot.swing_c, depot.noise_c),
            Climate::Cold => (4.0 + 0.2 * from_middle, 13.0, 4.2),
            Climate::Mild => (12.0 + 0.15 * from_middle, 6.0, 2.6),
            Climate::Hot => (25.0 + 0.2 * from_middle, 8.0, 2.4),
        }
    }
}
