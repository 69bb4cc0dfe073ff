//! Who was at risk at each age at which something happened, with late entry.
//!
//! Never fails; lives are checked by the estimators that use it. What is computed from the counts
//! is left to them. Only the event ages are sorted: entries and exits are counted into their place
//! among them, which for a million lives is several times faster than sorting those too.

use super::life::sorted_ages;

/// The lives with `entry < age <= exit`, and how many of them ended in an event at that age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RiskSet {
    pub age: f64,
    pub at_risk: usize,
    pub events: usize,
    /// The events empty the set although lives that enter later follow.
    pub emptied_early: bool,
}

/// Few enough to search quickly, many enough to keep the table of stretches in fast memory.
const AGES_PER_STRETCH: usize = 4;

/// Distinct ages in rising order, with the place of any age among them found in a few steps.
pub(crate) struct AgeIndex {
    pub ages: Vec<f64>,
    /// Where the ages of each of many equal stretches begin.
    begins: Vec<u32>,
    per_age: f64,
}

impl AgeIndex {
    pub(crate) fn new(ages: impl Iterator<Item = f64>) -> Self {
        let mut ages = sorted_ages(ages);
        ages.dedup();
        let stretches = ages.len() / AGES_PER_STRETCH + 1;
        let greatest = ages.last().copied().unwrap_or(0.0);
        // A last age so small that the share overflows puts all ages into one stretch.
        let per_age = Some(stretches as f64 / greatest).filter(|share| share.is_finite());
        let mut index = Self {
            ages,
            begins: vec![0; stretches + 2],
            per_age: per_age.unwrap_or(0.0),
        };
        for age in &index.ages {
            index.begins[stretch(*age, index.per_age, stretches) + 1] += 1;
        }
        let mut sum = 0;
        for begin in &mut index.begins {
            sum += *begin;
            *begin = sum;
        }
        index
    }

    /// How many of the ages are at most `age`.
    pub(crate) fn up_to(&self, age: f64) -> usize {
        let stretch = stretch(age, self.per_age, self.begins.len() - 2);
        let begin = self.begins[stretch] as usize;
        let end = self.begins[stretch + 1] as usize;
        begin + self.ages[begin..end].partition_point(|&other| other <= age)
    }

    /// At each age, the lives at risk and the events among them, of lives given as
    /// `(entry, exit, ended in an event)`; the events must be among the ages.
    pub(crate) fn risk_sets(
        &self,
        lives: impl Iterator<Item = (f64, f64, bool)>,
    ) -> impl Iterator<Item = RiskSet> {
        // A life begins to count at the first age past its entry, and stops past its exit. The
        // changes are narrow, as a million lives reach into them in no order, and wrap, as a sum
        // of them is exact all the same while fewer than four thousand million are at risk.
        let mut changes = vec![0_u32; self.ages.len() + 1];
        let mut events = vec![0_u32; self.ages.len() + 1];
        let mut last_entry = 0.0;
        for (entry, exit, event) in lives {
            let (from, past) = (self.up_to(entry), self.up_to(exit));
            changes[from] = changes[from].wrapping_add(1);
            changes[past] = changes[past].wrapping_sub(1);
            if event {
                events[past - 1] += 1;
            }
            last_entry = f64::max(last_entry, entry);
        }
        let mut at_risk = 0_u32;
        self.ages
            .iter()
            .zip(changes)
            .zip(events)
            .map(move |((&age, change), events)| {
                at_risk = at_risk.wrapping_add(change);
                let emptied_early = events == at_risk && last_entry >= age;
                RiskSet {
                    age,
                    at_risk: at_risk as usize,
                    events: events as usize,
                    emptied_early,
                }
            })
    }
}

fn stretch(age: f64, per_age: f64, stretches: usize) -> usize {
    ((age * per_age) as usize).min(stretches)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_those_of_the_definition() {
        let lives: Vec<(f64, f64, bool)> = (0..500u32)
            .map(|k| {
                let entry = f64::from(k * 37 % 101);
                (
                    entry,
                    entry + 1.0 + f64::from(k * 53 % 89) / 3.0,
                    k % 3 == 0,
                )
            })
            .collect();
        let index = AgeIndex::new(lives.iter().filter(|life| life.2).map(|life| life.1));
        let sets: Vec<RiskSet> = index.risk_sets(lives.iter().copied()).collect();
        assert!(sets.windows(2).all(|pair| pair[0].age < pair[1].age));
        for set in &sets {
            let at_risk = lives
                .iter()
                .filter(|l| l.0 < set.age && set.age <= l.1)
                .count();
            let events = lives.iter().filter(|l| l.2 && l.1 == set.age).count();
            assert_eq!((set.at_risk, set.events), (at_risk, events), "{set:?}");
        }
        assert_eq!(sets.iter().map(|set| set.events).sum::<usize>(), 167);
    }

    #[test]
    fn ages_of_any_size_find_their_place() {
        for unit in [f64::MIN_POSITIVE * 1e-10, 1e-200, 1.0, 1e300] {
            let index = AgeIndex::new([3.0, 1.0, 4.0, 1.0, 5.0].into_iter().map(|age| age * unit));
            let places = [0.0, 1.0, 2.0, 3.0, 4.5, 5.0, 7.0].map(|age| index.up_to(age * unit));
            assert_eq!(places, [0, 1, 1, 2, 3, 4, 4], "{unit:e}");
        }
        assert_eq!(AgeIndex::new(std::iter::empty()).up_to(3.0), 0);
    }
}
