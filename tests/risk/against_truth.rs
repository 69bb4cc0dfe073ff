//! What is told of each battery against the hidden state of the fleet it was invented with.
//!
//! The figures asked for are well below those measured on large fleets (README): a small fleet's luck
//! must not fail the test, a broken model must.

use std::collections::HashMap;

use super::invented_fleet;

struct Truth {
    wear: f64,
    chance: f64,
}

/// The hidden state of every battery on the last day.
fn truth(text: &str, day: &str) -> HashMap<(String, String), Truth> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let at = |name: &str| {
        header
            .iter()
            .position(|column| column == name)
            .expect("a column")
    };
    let mut known = HashMap::new();
    for record in reader.records() {
        let record = record.expect("a row");
        if &record[at("record")] == "hazard" && &record[at("ended")] == day {
            let number = |name: &str| record[at(name)].parse::<f64>().expect("a number");
            known.insert(
                (
                    record[at("vin")].to_owned(),
                    record[at("position")].to_owned(),
                ),
                Truth {
                    wear: number("wear"),
                    chance: number("chance"),
                },
            );
        }
    }
    known
}

/// Spearman's rank correlation without ties.
fn rank_correlation(pairs: &[(f64, f64)]) -> f64 {
    let ranks = |of: fn(&(f64, f64)) -> f64| {
        let mut order: Vec<usize> = (0..pairs.len()).collect();
        order.sort_by(|a, b| of(&pairs[*a]).total_cmp(&of(&pairs[*b])));
        let mut ranks = vec![0.0; pairs.len()];
        for (rank, place) in order.into_iter().enumerate() {
            ranks[place] = rank as f64;
        }
        ranks
    };
    let squares: f64 = ranks(|pair| pair.0)
        .iter()
        .zip(ranks(|pair| pair.1))
        .map(|(a, b)| (a - b).powi(2))
        .sum();
    let n = pairs.len() as f64;
    1.0 - 6.0 * squares / (n * (n * n - 1.0))
}

#[test]
fn chances_limits_and_health_are_near_the_hidden_ones() {
    let place = invented_fleet("400", "130");
    let hidden = truth(&place.read("dumps/truth.csv"), "2026-06-28");
    let told = place.sql(
        &["--as-of", "2026-06-28"],
        "SELECT vin, position, chance, chance_lower, chance_upper, chance_fit_lower, chance_fit_upper,
                expected_health
         FROM battery_chance",
    );
    let mut pairs = Vec::new();
    let (mut held, mut health_off) = (0, 0.0);
    for row in &told {
        let number = |name: &str| row[name].as_f64().expect("a number");
        let word = |name: &str| row[name].as_str().expect("a word").to_owned();
        // What is known of the fit is a part of what is known of a battery.
        assert!(number("chance_lower") <= number("chance_fit_lower"));
        assert!(number("chance_fit_lower") < number("chance"));
        assert!(number("chance") < number("chance_fit_upper"));
        assert!(number("chance_fit_upper") <= number("chance_upper"));
        let Some(truth) = hidden.get(&(word("vin"), word("position"))) else {
            continue;
        };
        pairs.push((number("chance"), truth.chance));
        held += i32::from(
            number("chance_lower") <= truth.chance && truth.chance <= number("chance_upper"),
        );
        // The generator's own law of what wear leaves of the cranking ability.
        health_off += (number("expected_health") - (1.05 - 0.52 * truth.wear.powf(1.2))).abs();
    }
    assert!(pairs.len() > 300, "{} batteries in both", pairs.len());
    let correlation = rank_correlation(&pairs);
    assert!(correlation > 0.9, "rank correlation {correlation}");
    let share = f64::from(held) / pairs.len() as f64;
    assert!(share > 0.8, "95 % limits hold {share} of the true chances");
    let health_off = health_off / pairs.len() as f64;
    assert!(health_off < 0.05, "health is {health_off} off on the mean");
}
