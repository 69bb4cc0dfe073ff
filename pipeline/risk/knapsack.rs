//! The best choice within a number of places and a budget, exactly.
//!
//! Things of one price are alike but for their value, so a best choice takes the best of each price:
//! only how many of each is open. A price on a place and on money (Lagrange multipliers; Fisher,
//! Management Science 27:1, 1981) bounds what any choice can reach; the counts are then tried price by
//! price, and whatever cannot come up to the best choice known is dropped (branch and bound). Prices
//! are few, so this is quick; for any prices it is exact.

use std::collections::BTreeMap;

/// Something to choose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Item {
    pub cost: f64,
    pub value: f64,
}

/// Values closer than this are equal: a choice is not preferred for a last bit.
const SLACK: f64 = 1e-9;

/// Steps of the search for the price of money; each halves it.
const STEPS: usize = 60;

/// Things of one price, the most valuable first, with the value of the first so many.
struct Price {
    cost: f64,
    items: Vec<usize>,
    sums: Vec<f64>,
}

/// What a place and a unit of money are worth at the margin.
#[derive(Debug, Clone, Copy)]
struct Margins {
    place: f64,
    money: f64,
}

/// The places in `items` of the choice of greatest value with at most `places` items that cost at
/// most `budget` in all, in rising order. What has no value, or costs nothing that is known, is not
/// chosen.
pub fn best_choice(items: &[Item], places: usize, budget: f64) -> Vec<usize> {
    let prices = by_price(items, places, budget);
    let (margins, counts) = margins(items, &prices, places, budget);
    let counts = improved(&prices, places, budget, counts);
    let counts = proven(&prices, places, budget, margins, counts);
    let mut chosen: Vec<usize> = prices
        .iter()
        .zip(counts)
        .flat_map(|(price, count)| price.items[..count].iter().copied())
        .collect();
    chosen.sort_unstable();
    chosen
}

fn by_price(items: &[Item], places: usize, budget: f64) -> Vec<Price> {
    let mut prices: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for (at, item) in items.iter().enumerate() {
        if item.value > 0.0 && item.cost >= 0.0 && item.cost <= budget {
            // Costs are not negative, so their bits stand in the order of their size.
            prices
                .entry((item.cost + 0.0).to_bits())
                .or_default()
                .push(at);
        }
    }
    prices
        .into_iter()
        .map(|(bits, mut of_price)| {
            of_price.sort_by(|a, b| items[*b].value.total_cmp(&items[*a].value).then(a.cmp(b)));
            let cost = f64::from_bits(bits);
            of_price.truncate(places.min(affordable(budget, cost)));
            let mut sums = vec![0.0];
            for at in &of_price {
                sums.push(sums[sums.len() - 1] + items[*at].value);
            }
            Price {
                cost,
                items: of_price,
                sums,
            }
        })
        .collect()
}

fn affordable(budget: f64, cost: f64) -> usize {
    match cost > 0.0 && budget.is_finite() {
        true => (budget / cost + SLACK).floor() as usize,
        false => usize::MAX,
    }
}

/// The prices of a place and of money at which the best choice by what is left of its value just
/// fits, and that choice.
fn margins(items: &[Item], prices: &[Price], places: usize, budget: f64) -> (Margins, Vec<usize>) {
    let at = |money: f64| {
        let mut worth: Vec<(f64, usize)> = Vec::new();
        for (which, price) in prices.iter().enumerate() {
            let left = |at: &usize| items[*at].value - money * price.cost;
            let worthy = price.items.iter().map(left).take_while(|left| *left > 0.0);
            worth.extend(worthy.map(|left| (left, which)));
        }
        let mut place = 0.0;
        if worth.len() > places {
            worth.select_nth_unstable_by(places, |a, b| b.0.total_cmp(&a.0));
            place = worth[places].0;
            worth.truncate(places);
        }
        let mut counts = vec![0; prices.len()];
        for (_, which) in worth {
            counts[which] += 1;
        }
        (Margins { place, money }, counts)
    };
    let spent = |counts: &[usize]| -> f64 {
        let each = prices.iter().zip(counts);
        each.map(|(price, count)| price.cost * *count as f64).sum()
    };
    let (free, counts) = at(0.0);
    if spent(&counts) <= budget {
        return (free, counts);
    }
    // At a price above every value for its money nothing is chosen, which always fits.
    let most = prices
        .iter()
        .filter(|price| price.cost > 0.0 && price.sums.len() > 1)
        .map(|price| price.sums[1] / price.cost)
        .fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, most * 2.0 + 1.0);
    let mut fitting = at(high);
    for _ in 0..STEPS {
        let middle = 0.5 * (low + high);
        let tried = at(middle);
        if spent(&tried.1) <= budget {
            high = middle;
            fitting = tried;
        } else {
            low = middle;
        }
    }
    fitting
}

/// One thing more of any price, the most valuable first, as long as one fits.
fn improved(prices: &[Price], places: usize, budget: f64, mut counts: Vec<usize>) -> Vec<usize> {
    loop {
        let taken: usize = counts.iter().sum();
        let spent: f64 = prices
            .iter()
            .zip(&counts)
            .map(|(price, count)| price.cost * *count as f64)
            .sum();
        let next = (0..prices.len())
            .filter(|at| {
                let (price, count) = (&prices[*at], counts[*at]);
                taken < places && count < price.items.len() && spent + price.cost <= budget
            })
            .max_by(|a, b| {
                let gain =
                    |at: usize| prices[at].sums[counts[at] + 1] - prices[at].sums[counts[at]];
                gain(*a).total_cmp(&gain(*b))
            });
        match next {
            Some(at) => counts[at] += 1,
            None => return counts,
        }
    }
}

/// A choice so far: how many of each price looked at, what they take and bring.
struct Partial {
    counts: Vec<usize>,
    taken: usize,
    spent: f64,
    value: f64,
}

/// The best choice, beginning from one that is known.
fn proven(
    prices: &[Price],
    places: usize,
    budget: f64,
    margins: Margins,
    known: Vec<usize>,
) -> Vec<usize> {
    let value_of = |counts: &[usize]| -> f64 {
        let each = prices.iter().zip(counts);
        each.map(|(price, count)| price.sums[*count]).sum()
    };
    let (mut best, mut best_value) = (known.clone(), value_of(&known));
    // What is left of so many of a price when places and money are paid for.
    let left = |price: &Price, count: usize| {
        price.sums[count] - count as f64 * (margins.place + margins.money * price.cost)
    };
    let most_left: Vec<f64> = prices
        .iter()
        .map(|price| {
            (0..price.sums.len())
                .map(|count| left(price, count))
                .fold(0.0, f64::max)
        })
        .collect();
    // Unlimited money has no price, and no bound comes from it.
    let for_money = match margins.money > 0.0 {
        true => margins.money * budget,
        false => 0.0,
    };
    let bound = margins.place * places as f64 + for_money + most_left.iter().sum::<f64>();
    let mut partials = vec![Partial {
        counts: Vec::new(),
        taken: 0,
        spent: 0.0,
        value: 0.0,
    }];
    // What the choices so far miss of the bound at the least.
    let miss = |partial: &Partial| {
        let paid = margins.place * partial.taken as f64 + margins.money * partial.spent;
        let looked_at: f64 = most_left[..partial.counts.len()].iter().sum();
        looked_at - (partial.value - paid)
    };
    for (price, most_left) in prices.iter().zip(&most_left) {
        let mut longer: Vec<Partial> = Vec::new();
        for partial in &partials {
            let room = bound - best_value - miss(partial);
            for count in 0..price.sums.len() {
                let spent = partial.spent + price.cost * count as f64;
                if partial.taken + count > places || spent > budget {
                    break;
                }
                if most_left - left(price, count) > room + SLACK {
                    continue;
                }
                let mut counts = partial.counts.clone();
                counts.push(count);
                longer.push(Partial {
                    counts,
                    taken: partial.taken + count,
                    spent,
                    value: partial.value + price.sums[count],
                });
            }
        }
        keep_unbeaten(&mut longer);
        partials = longer;
        for partial in &partials {
            if partial.value > best_value + SLACK {
                best_value = partial.value;
                best.clone_from(&partial.counts);
                best.resize(prices.len(), 0);
            }
        }
    }
    best
}

/// Of choices that take as many places, one that costs no less and brings no more is dropped.
fn keep_unbeaten(partials: &mut Vec<Partial>) {
    partials.sort_by(|a, b| {
        a.taken
            .cmp(&b.taken)
            .then(a.spent.total_cmp(&b.spent))
            .then(b.value.total_cmp(&a.value))
    });
    let (mut taken, mut most) = (usize::MAX, f64::NEG_INFINITY);
    partials.retain(|partial| {
        if partial.taken != taken {
            (taken, most) = (partial.taken, f64::NEG_INFINITY);
        }
        let better = partial.value > most;
        most = most.max(partial.value);
        better
    });
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

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

    fn item() -> impl Strategy<Value = Item> {
        // Few prices, as in a shop; many prices; values that are often equal.
        let cost = prop_oneof![
            prop::sample::select(vec![0.0, 220.0, 260.0, 320.0, 900.0]),
            (0..1_000_i32).prop_map(f64::from),
        ];
        let value = prop_oneof![(-5..20_i32).prop_map(|n| f64::from(n) * 10.0), -50.0..500.0];
        (cost, value).prop_map(|(cost, value)| Item { cost, value })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1_000))]
        #[test]
        fn it_is_as_good_as_trying_all(
            items in prop::collection::vec(item(), 0..11),
            places in 0_usize..7,
            budget in prop_oneof![Just(f64::INFINITY), (0..3_000_i32).prop_map(f64::from)],
        ) {
            let chosen = best_choice(&items, places, budget);
            prop_assert!(chosen.len() <= places);
            prop_assert!(chosen.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(chosen.iter().map(|at| items[*at].cost).sum::<f64>() <= budget);
            let best = by_trying_all(&items, places, budget);
            prop_assert!((value_of(&items, &chosen) - best).abs() < 1e-6);
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
