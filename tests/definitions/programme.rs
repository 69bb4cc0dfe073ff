//! Two fleets of the same batteries in the same world, one of them replaced early by its tests, have one
//! law of life.

use crate::workplace::Workplace;

/// The law of lead batteries of a fleet whose shops replace what a test finds below a share of its rating:
/// half-life in days, its 95 % limits, and what it is as merely seen.
fn half_life(world: &str, replace_below: &str) -> [f64; 4] {
    let place = Workplace::new();
    place.run_expecting(
        0,
        &[
            "synthesize",
            "--vehicles",
            "1200",
            "--weeks",
            "156",
            "--seed",
            "31",
            "--world",
            world,
            "--replace-below",
            replace_below,
            "--out",
            "dumps",
        ],
    );
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    let rows = place.sql(
        &[],
        "SELECT half_life_days, half_life_lower_days, half_life_upper_days, half_life_as_seen_days
         FROM life_law WHERE chemistry = 'not known' AND heat_band = 'not known'",
    );
    assert_eq!(rows.len(), 1, "{rows:?}");
    [
        "half_life_days",
        "half_life_lower_days",
        "half_life_upper_days",
        "half_life_as_seen_days",
    ]
    .map(|name| rows[0][name].as_f64().expect("a number"))
}

/// A few minutes: `cargo test --test voltwane programme -- --ignored --nocapture`.
#[test]
#[ignore = "makes four fleets of 1,200 vehicles"]
fn a_fleet_replaced_early_by_tests_has_the_law_of_one_that_is_not() {
    for world in ["smooth", "use-wears"] {
        let (left, early) = (half_life(world, "0"), half_life(world, "0.75"));
        println!("{world}: left alone {left:?}, replaced early {early:?}");
        let spread = |law: [f64; 4]| (law[2] / law[1]).ln() / (2.0 * 1.959964);
        let apart = (early[0] / left[0]).ln();
        let doubt = spread(left).hypot(spread(early));
        assert!(
            apart.abs() < 1.959964 * doubt,
            "{world}: {apart} with {doubt}"
        );
        // As merely seen the batteries replaced early live longer.
        assert!(
            (early[3] / left[3]).ln() > 2.0 * apart.abs(),
            "{left:?} {early:?}"
        );
    }
}
