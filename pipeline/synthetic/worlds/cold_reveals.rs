//! Cold reveals what heat and age have worn: paces differ widely, and failures wait for a cold morning.

use super::law::Law;

/// The law of this world. `common practice, no source`
pub const LAW: Law = Law {
    life_factor: 1.0,
    battery_spread: 0.30,
    vehicle_spread: 0.15,
    corrosion: 0.6,
    loss: (0.50, 1.5),
    short_trips: 0.3,
    still: 0.5,
    undercharge: 0.020,
    steps_a_year: 0.25,
    step_size: 0.07,
    sudden_a_year: (0.010, 0.028),
    need: (0.43, 0.18),
    faults_a_year: 0.004,
    bad_batch: None,
    two_batteries: false,
    instruments: 0.04,
};
