//! How long the choice within bays and budget takes for many offers:
//! `cargo run -p voltwane-risk --example choice_timing`

use std::time::Instant;

use risk::knapsack::{Item, best_choice};

fn main() {
    let mut seed = 1_u64;
    let mut next = move || {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as f64 / (1_u64 << 31) as f64
    };
    for (offers, places, prices) in [
        (500, 150, 4),
        (1_000, 300, 4),
        (20_000, 150, 4),
        (20_000, 1_000, 4),
        (20_000, 1_000, 20),
    ] {
        let items: Vec<Item> = (0..offers)
            .map(|_| Item {
                cost: match prices {
                    4 => [220.0, 260.0, 320.0, 900.0][(next() * 4.0) as usize],
                    _ => 200.0 + 37.0 * (next() * f64::from(prices)).floor(),
                },
                value: (next() * 300.0 * 100.0).round() / 100.0,
            })
            .collect();
        let budget = places as f64 * 250.0;
        let started = Instant::now();
        let chosen = best_choice(&items, places, budget);
        println!(
            "{offers} offers, {places} places, {prices} prices: {} chosen in {:.3} s",
            chosen.len(),
            started.elapsed().as_secs_f64()
        );
    }
}
