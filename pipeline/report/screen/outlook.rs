//! What it costs to put a vehicle right: the mean of what may be needed, and the range it lies in.
//!
//! Items are taken to be independent of each other. The range is exact: every combination of what may
//! be needed is weighed. It knows nothing of vehicles.

use serde::Serialize;

/// Something that may have to be paid for.
#[derive(Debug, Clone)]
pub struct Item {
    pub words: String,
    /// How likely it is needed.
    pub chance: f64,
    pub cost: f64,
    /// The check that settles whether it is needed, where one would.
    pub check: Option<&'static str>,
}

impl Item {
    /// The money that hangs on whether it is needed.
    pub fn doubt(&self) -> f64 {
        self.cost * self.chance.min(1.0 - self.chance)
    }
}

/// The cost of all items together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outlook {
    pub expected: f64,
    /// At most one chance in forty that it costs less.
    pub lower: f64,
    /// At most one chance in forty that it costs more.
    pub upper: f64,
}

/// Weighs every combination of the items.
pub fn outlook(items: &[Item]) -> Outlook {
    let mut outcomes = vec![(0.0, 1.0)];
    for item in items {
        let chance = item.chance.clamp(0.0, 1.0);
        outcomes = outcomes
            .iter()
            .flat_map(|&(cost, weight)| {
                [
                    (cost, weight * (1.0 - chance)),
                    (cost + item.cost, weight * chance),
                ]
            })
            .filter(|(_, weight)| *weight > 0.0)
            .collect();
    }
    outcomes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let expected = outcomes.iter().map(|(cost, weight)| cost * weight).sum();
    let below = |share: f64| {
        let mut sum = 0.0;
        for (cost, weight) in &outcomes {
            sum += weight;
            // Sums of chances may miss a share by a rounding.
            if sum >= share - 1e-12 {
                return *cost;
            }
        }
        outcomes.last().map_or(0.0, |(cost, _)| *cost)
    };
    Outlook {
        expected,
        lower: below(0.025),
        upper: below(0.975),
    }
}
