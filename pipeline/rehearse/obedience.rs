//! What becomes of what was asked for: a share of it is done, some weeks later.
//!
//! Nothing here fails; the same seed lets the same share go by.

use std::collections::VecDeque;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Course;
use synthetic::{Orders, Place, Task};

/// The shops' way with orders.
pub struct Obedience {
    share: f64,
    /// Asked for and not yet due, the oldest first.
    waiting: VecDeque<Orders>,
    delay_weeks: usize,
    rng: ChaCha8Rng,
}

impl Obedience {
    pub fn new(course: &Course) -> Obedience {
        Obedience {
            share: course.obedience,
            waiting: VecDeque::new(),
            delay_weeks: course.delay_weeks,
            rng: ChaCha8Rng::seed_from_u64(course.scenario.seed),
        }
    }

    /// Takes what is asked for this week, and gives what is done in it.
    pub fn done(&mut self, asked: Orders) -> Orders {
        self.waiting.push_back(asked);
        if self.waiting.len() <= self.delay_weeks {
            return Orders {
                shops_plan: false,
                ..Orders::default()
            };
        }
        let due = self.waiting.pop_front().unwrap_or_default();
        let mut followed = |tasks: Vec<(Place, Task)>| {
            let kept = tasks.into_iter();
            kept.filter(|_| self.rng.random::<f64>() < self.share)
                .collect()
        };
        Orders {
            special: followed(due.special),
            at_service: followed(due.at_service),
            shops_plan: due.shops_plan,
        }
    }
}
