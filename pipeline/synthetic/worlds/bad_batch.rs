//! Most batteries are sound and last; those of two batches of production wear twice as fast.

use super::law::Law;

/// The law of this world. `common practice, no source`
pub const LAW: Law = Law {
    life_factor: 1.25,
    battery_spread: 0.20,
    vehicle_spread: 0.10,
    corrosion: 0.5,
    loss: (0.50, 1.4),
    short_trips: 0.3,
    still: 0.5,
    undercharge: 0.020,
    steps_a_year: 0.2,
    step_size: 0.06,
    sudden_a_year: (0.009, 0.016),
    need: (0.47, 0.18),
    faults_a_year: 0.004,
    bad_batch: Some((2.3, 0.06)),
    two_batteries: false,
    instruments: 0.05,
};
