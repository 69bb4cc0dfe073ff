//! Ability sinks by steps (shed active mass, a cracked strap) and hardly between them, so a good last test
//! says less.

use super::law::Law;

/// The law of this world. `common practice, no source`
pub const LAW: Law = Law {
    life_factor: 2.0,
    battery_spread: 0.40,
    vehicle_spread: 0.20,
    corrosion: 0.5,
    loss: (0.30, 1.2),
    short_trips: 0.4,
    still: 0.6,
    undercharge: 0.020,
    steps_a_year: 1.6,
    step_size: 0.11,
    sudden_a_year: (0.008, 0.085),
    need: (0.42, 0.18),
    faults_a_year: 0.004,
    bad_batch: None,
    two_batteries: false,
    instruments: 0.05,
};
