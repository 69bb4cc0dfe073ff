//! Codes that come by chance are no floods, whatever law they come by, and neither are codes that a model
//! always stores.

use std::collections::BTreeSet;

use voltwane::statistics::rates::negative_binomial::NegativeBinomial;

use super::{Dumps, SCAN, moment, other_codes};
use crate::workplace::Workplace;

const VEHICLES: usize = 200;
const SCANS: u64 = 6;

/// Numbers that look drawn at random and are the same each time (splitmix64).
struct Draws(u64);

impl Draws {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, limit: u64) -> u64 {
        (self.unit() * limit as f64) as u64
    }

    /// A count, given the chances of lying above 0, 1, 2 ...
    fn count(&mut self, zero_share: f64, beyond: &[f64]) -> u64 {
        if self.unit() < zero_share {
            return 0;
        }
        let drawn = self.unit();
        beyond.partition_point(|beyond| *beyond > drawn) as u64
    }
}

/// A fleet of 1,200 sessions over three years whose codes come by this law alone.
fn fleet(zero_share: f64, mean: f64, size: f64, stored: u64) -> Dumps {
    let law = NegativeBinomial::new(mean, size).expect("a law");
    let beyond: Vec<f64> = (1..400).map(|count| law.at_least(count)).collect();
    let mut draws = Draws(11);
    let mut dumps = Dumps::new();
    for number in 0..VEHICLES {
        let model = ["One", "Two"][number % 2];
        let vin = dumps.vehicle(number, model, "2023-06-01");
        for scan in 0..SCANS {
            let at = moment(scan * 150 + draws.below(140), 0);
            let from = 100 + draws.below(1_000);
            let mut codes = other_codes(from, draws.count(zero_share, &beyond));
            if model == "One" {
                codes.extend(other_codes(0, stored));
            }
            dumps.scan(&vin, &at, SCAN, &codes);
        }
    }
    dumps
}

/// Floods told, and the weeks they and all sessions lie in.
fn floods(place: &Workplace) -> (usize, usize, usize) {
    let weeks = |query: &str| -> Vec<String> {
        place
            .sql(&[], query)
            .iter()
            .map(|row| row["week"].as_str().expect("a week").to_owned())
            .collect()
    };
    let told = weeks("SELECT week FROM code_flood");
    let looked: BTreeSet<String> = weeks("SELECT week FROM session_chance")
        .into_iter()
        .collect();
    let raised: BTreeSet<&String> = told.iter().collect();
    (told.len(), raised.len(), looked.len())
}

/// Every flood in pure noise is false, so at most the stated share of the weeks may have any: over all laws
/// together, and within two sigma by each.
#[test]
fn noise_floods_in_no_more_weeks_than_stated() {
    let stated = 0.05;
    let (mut all_raised, mut all_looked) = (0, 0);
    for (name, zero_share, mean, size) in [
        ("negative binomial", 0.0, 3.0, 1.0),
        ("Poisson", 0.0, 4.0, f64::INFINITY),
        ("zero-inflated", 0.7, 8.0, f64::INFINITY),
        ("zero-inflated negative binomial", 0.5, 6.0, 2.0),
    ] {
        let (told, raised, looked) = floods(&fleet(zero_share, mean, size, 0).load());
        assert!(looked > 100, "{looked} weeks");
        let weeks = looked as f64;
        println!("{name}: {told} floods in {raised} of {looked} weeks");
        let most = stated * weeks + 2.0 * (stated * (1.0 - stated) * weeks).sqrt();
        assert!(
            raised as f64 <= most,
            "{name}: {told} floods in {raised} of {looked} weeks"
        );
        all_raised += raised;
        all_looked += looked;
    }
    assert!(
        all_raised as f64 <= stated * all_looked as f64,
        "{all_raised} of {all_looked} weeks"
    );
}

#[test]
fn codes_a_model_always_stores_are_no_flood_and_hide_none() {
    let mut dumps = fleet(0.0, 0.4, 2.0, 10);
    // One vehicle of the model and one of the other come in with fifteen more.
    for number in [8, 9] {
        let vin = super::vin(number);
        let mut codes = other_codes(1_400, 15);
        if number % 2 == 0 {
            codes.extend(other_codes(0, 10));
        }
        dumps.scan(&vin, &moment(895, 0), SCAN, &codes);
        // They are there at the next scan too: the same flood is not told twice.
        dumps.scan(&vin, &moment(896, 0), SCAN, &codes);
    }
    let place = dumps.load();
    let told = place.sql(
        &[],
        "SELECT vin, new_codes, codes, session_no FROM code_flood ORDER BY vin",
    );
    assert_eq!(told.len(), 2, "{told:?}");
    let mut expected = [8, 9].map(super::vin);
    expected.sort();
    for (row, vin) in told.iter().zip(&expected) {
        assert_eq!(row["vin"].as_str(), Some(vin.as_str()));
        assert_eq!(row["new_codes"].as_i64(), Some(15), "{row}");
        assert_eq!(row["session_no"].as_i64(), Some(7), "{row}");
    }
    let standing = place.sql(&[], "SELECT code FROM standing_code WHERE model = 'One'");
    assert_eq!(standing.len(), 10, "{standing:?}");
    assert!(
        place
            .sql(&[], "SELECT 1 FROM standing_code WHERE model = 'Two'")
            .is_empty()
    );
}

/// What was cleared and came back is new again.
#[test]
fn a_flood_that_comes_back_after_a_clear_is_told_again() {
    let mut dumps = fleet(0.0, 0.4, 2.0, 0);
    let vin = super::vin(5);
    let codes = other_codes(1_400, 15);
    dumps.scan(&vin, &moment(895, 0), SCAN, &codes);
    let after_clear = super::Scan {
        km_since_clear: 90.0,
        ..SCAN
    };
    dumps.scan(&vin, &moment(900, 0), after_clear, &codes);
    let place = dumps.load();
    let told = place.sql(&[], "SELECT session_no FROM code_flood ORDER BY session_no");
    assert_eq!(told.len(), 2, "{told:?}");
}
