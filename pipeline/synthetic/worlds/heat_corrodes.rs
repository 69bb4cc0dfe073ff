//! Heat does nearly all of the wear, and the ability goes fast at the end: old batteries in hot places read
//! well until they do not.

use super::law::Law;

/// The law of this world. `common practice, no source`
pub const LAW: Law = Law {
    life_factor: 1.0,
    battery_spread: 0.25,
    vehicle_spread: 0.10,
    corrosion: 0.9,
    loss: (0.40, 3.0),
    short_trips: 0.2,
    still: 0.3,
    undercharge: 0.015,
    steps_a_year: 0.15,
    step_size: 0.08,
    sudden_a_year: (0.007, 0.032),
    need: (0.46, 0.15),
    faults_a_year: 0.004,
    bad_batch: None,
    two_batteries: false,
    instruments: 0.05,
};
