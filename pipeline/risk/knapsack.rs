//! The best choice within a number of places and a budget, exactly.
//!
//! Nemhauser and Ullmann (Management Science 15:494, 1969): of all choices so far, those are kept that
//! no other one beats in places, money and value at once. Only as many of equally dear things can
//! be chosen as there are places, so the others are never looked at.

/// Something to choose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Item {
    pub cost: f64,
    pub value: f64,
}

#[derive(Debug, Clone)]
struct Choice {
    cost: f64,
    value: f64,
    chosen: Vec<usize>,
}

/// The places in `items` of the choice of greatest value with at most `places` items that cost at
/// most `budget` in all, in rising order. What has no value, or costs nothing that is known, is not
/// chosen.
pub fn best_choice(items: &[Item], places: usize, budget: f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..items.len())
        .filter(|at| {
            let item = items[*at];
            item.value > 0.0 && item.cost >= 0.0 && item.cost <= budget
        })
        .collect();
    order.sort_by(|a, b| {
        let (left, right) = (items[*a], items[*b]);
        left.cost
            .total_cmp(&right.cost)
            .then(right.value.total_cmp(&left.value))
            .then(a.cmp(b))
    });
    let mut equally_dear = 0;
    let mut last_cost = f64::NAN;
    order.retain(|at| {
        equally_dear = if items[*at].cost == last_cost {
            equally_dear + 1
        } else {
            1
        };
        last_cost = items[*at].cost;
        equally_dear <= places
    });
    // fronts[n] holds choices of n items, cost and value rising.
    let mut fronts: Vec<Vec<Choice>> = vec![Vec::new(); places + 1];
    fronts[0].push(Choice {
        cost: 0.0,
        value: 0.0,
        chosen: Vec::new(),
    });
    for at in order {
        for taken in (0..places).rev() {
            let longer: Vec<Choice> = fronts[taken]
                .iter()
                .filter(|choice| choice.cost + items[at].cost <= budget)
                .map(|choice| {
                    let mut chosen = choice.chosen.clone();
                    chosen.push(at);
                    Choice {
                        cost: choice.cost + items[at].cost,
                        value: choice.value + items[at].value,
                        chosen,
                    }
                })
                .collect();
            if !longer.is_empty() {
                fronts[taken + 1].extend(longer);
                keep_unbeaten(&mut fronts[taken + 1]);
            }
        }
    }
    let best =
        fronts.into_iter().flatten().reduce(
            |best, next| {
                if next.value > best.value { next } else { best }
            },
        );
    let mut chosen = best.map_or_else(Vec::new, |choice| choice.chosen);
    chosen.sort_unstable();
    chosen
}

fn keep_unbeaten(front: &mut Vec<Choice>) {
    front.sort_by(|a, b| {
        a.cost
            .total_cmp(&b.cost)
            .then(b.value.total_cmp(&a.value))
            .then(a.chosen.cmp(&b.chosen))
    });
    let mut most = f64::NEG_INFINITY;
    front.retain(|choice| {
        let better = choice.value > most;
        most = most.max(choice.value);
        better
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value_of(items: &[Item], chosen: &[usize]) -> f64 {
        chosen.iter().map(|at| items[*at].value).sum()
    }

    /// Every subset, one after another.
    fn by_trying_all(items: &[Item], places: usize, budget: f64) -> f64 {
        (0_u32..1 << items.len())
            .map(|set| {
                (0..items.len())
                    .filter(|at| set & (1 << at) != 0)
                    .collect::<Vec<_>>()
            })
            .filter(|chosen| chosen.len() <= places)
            .filter(|chosen| chosen.iter().map(|at| items[*at].cost).sum::<f64>() <= budget)
            .map(|chosen| value_of(items, &chosen))
            .fold(0.0, f64::max)
    }

    #[test]
    fn it_is_as_good_as_trying_all() {
        let mut seed = 1_u64;
        let mut next = |most: u64| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((seed >> 33) % most) as f64
        };
        for _ in 0..200 {
            let items: Vec<Item> = (0..10)
                .map(|_| Item {
                    cost: [220.0, 260.0, 320.0, 900.0][next(4) as usize],
                    value: next(500) - 100.0,
                })
                .collect();
            let (places, budget) = (next(6) as usize, next(2_500));
            let chosen = best_choice(&items, places, budget);
            assert!(chosen.len() <= places);
            assert!(chosen.iter().map(|at| items[*at].cost).sum::<f64>() <= budget);
            let best = by_trying_all(&items, places, budget);
            assert!(
                (value_of(&items, &chosen) - best).abs() < 1e-9,
                "{items:?} {places} {budget}"
            );
        }
    }

    #[test]
    fn the_dearest_is_not_always_the_best() {
        // Taking the most valuable first would fill the budget with the first one.
        let items = [
            Item {
                cost: 900.0,
                value: 100.0,
            },
            Item {
                cost: 450.0,
                value: 60.0,
            },
            Item {
                cost: 450.0,
                value: 55.0,
            },
        ];
        assert_eq!(best_choice(&items, 3, 900.0), vec![1, 2]);
    }
}
