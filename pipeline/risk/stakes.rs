//! What replacing a battery early is worth: the one formula for it.
//!
//! Replacing prevents the failure that may come and gives up the service the battery would still have
//! given, valued at what new life costs a day when batteries are replaced at the best age
//! (renewal-reward; Barlow and Proschan, Mathematical Theory of Reliability, 1965, chapter 4):
//! `saving = chance x (failure - planned) - cost of new life x expected service`, where a battery that
//! fails does so in the middle of the time.

/// What a failure and new life cost, for one battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stakes {
    /// What a failure costs beyond a planned replacement; not above 0 where replacing early never pays.
    pub failure_extra: f64,
    /// What new life costs a day.
    pub cost_per_day: f64,
}

impl Stakes {
    /// Expected saving of replacing now against waiting so many days, with that chance of failing
    /// meanwhile.
    pub fn saving(self, chance: f64, days: f64) -> f64 {
        self.failure_extra * chance - self.cost_per_day * days * (1.0 - chance / 2.0)
    }

    /// The chance of failing within so many days from which replacing now pays; `None` where it never
    /// does.
    pub fn pays_from(self, days: f64) -> Option<f64> {
        let service = self.cost_per_day * days;
        let chance = service / (self.failure_extra + service / 2.0);
        (self.failure_extra > 0.0 && chance <= 1.0).then_some(chance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_pays_from_the_chance_at_which_it_saves_nothing() {
        let stakes = Stakes {
            failure_extra: 900.0,
            cost_per_day: 0.25,
        };
        // 14 of service in 56 days: 14 / (900 + 7) = 1.5436 %.
        let chance = stakes.pays_from(56.0).expect("it pays somewhere");
        assert!((chance - 14.0 / 907.0).abs() < 1e-12);
        assert!(stakes.saving(chance, 56.0).abs() < 1e-12);
    }

    #[test]
    fn a_replacement_dearer_than_a_failure_never_pays() {
        let stakes = Stakes {
            failure_extra: -100.0,
            cost_per_day: 0.25,
        };
        assert_eq!(stakes.pays_from(56.0), None);
        assert!(stakes.saving(1.0, 56.0) < stakes.saving(0.0, 56.0));
        assert!(stakes.saving(0.0, 56.0) < 0.0);
    }
}
