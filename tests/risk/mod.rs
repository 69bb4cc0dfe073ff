//! The risk model: its fit against a reference program, what it may know, and what it says of fleets
//! that say little.

mod against_truth;
mod backtest;
mod climate;
mod doubtful_failures;
mod hindsight;
mod reference_fit;
mod thin_fleets;
mod weeks_ahead;

use crate::workplace::Workplace;

/// A small invented fleet, loaded into `lake`.
fn invented_fleet(vehicles: &str, weeks: &str) -> Workplace {
    let place = Workplace::new();
    place.run_expecting(
        0,
        &[
            "synthesize",
            "--vehicles",
            vehicles,
            "--weeks",
            weeks,
            "--seed",
            "5",
            "--out",
            "dumps",
            "--truth",
        ],
    );
    // Some of the invented rows are spoilt and go into quarantine.
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    place
}
