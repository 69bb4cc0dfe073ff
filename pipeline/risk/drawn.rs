//! How hard slopes are drawn to what is believed of them.

use super::feature::{Feature, Topic};

/// Signs that are drawn to none together: fleets differ in what is on record, and in what it is worth.
const GROUPS: [&[Topic]; 4] = [
    &[Topic::Voltage],
    &[Topic::Codes],
    &[Topic::Mishaps],
    &[Topic::Kind, Topic::Usage, Topic::PastFailures],
];

/// Penalty of ways whose columns are few.
pub const FEW_COLUMNS_PENALTY: f64 = 1_000.0;

/// How hard slopes are drawn to what is believed.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    pub penalty: f64,
    /// The factor on it of each group of signs.
    pub groups: [f64; GROUPS.len()],
}

impl Drawn {
    pub fn evenly(penalty: f64) -> Self {
        Self {
            penalty,
            groups: [1.0; GROUPS.len()],
        }
    }

    /// The factor on the penalty of a column.
    pub fn factor(&self, feature: &Feature) -> f64 {
        let mut groups = GROUPS.iter().zip(self.groups);
        let group = groups.find(|(topics, _)| topics.contains(&feature.topic));
        group.map_or(1.0, |(_, factor)| factor)
    }
}
