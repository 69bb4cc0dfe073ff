//! Use wears: short trips, stands and charging faults, with little heat in it; two batteries a vehicle and
//! testers that read far apart.

use super::law::Law;

/// The law of this world. `common practice, no source`
pub const LAW: Law = Law {
    life_factor: 1.25,
    battery_spread: 0.15,
    vehicle_spread: 0.25,
    corrosion: 0.25,
    loss: (0.50, 1.3),
    short_trips: 1.2,
    still: 1.0,
    undercharge: 0.045,
    steps_a_year: 0.15,
    step_size: 0.06,
    sudden_a_year: (0.009, 0.020),
    need: (0.43, 0.18),
    faults_a_year: 0.025,
    bad_batch: None,
    two_batteries: true,
    instruments: 0.10,
};
