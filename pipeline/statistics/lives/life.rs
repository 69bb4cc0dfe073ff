//! One observed life, exact or known only to an interval, with late entry.
//!
//! Fails for times that are negative, not finite or out of order, naming the row. Where the times
//! come from, and in what unit, is left to the caller: every result is in the same unit.

use crate::input::{InputError, at_least};

/// A life seen from age `entry` (0 when seen from new) to age `exit`, where it failed (`event`) or
/// was still alive. It is at risk at ages in `(entry, exit]`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    pub entry: f64,
    pub exit: f64,
    pub event: bool,
}

impl Life {
    pub fn failed(entry: f64, exit: f64) -> Self {
        Self {
            entry,
            exit,
            event: true,
        }
    }

    pub fn censored(entry: f64, exit: f64) -> Self {
        Self {
            entry,
            exit,
            event: false,
        }
    }
}

/// A life, seen from age `entry`, whose failure age lies in `(alive_at, failed_by]`.
/// `failed_by == alive_at` is a failure at exactly that age; an infinite `failed_by` is no failure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntervalLife {
    pub entry: f64,
    pub alive_at: f64,
    pub failed_by: f64,
}

impl IntervalLife {
    pub fn is_exact(&self) -> bool {
        self.alive_at == self.failed_by
    }

    pub fn is_censored(&self) -> bool {
        self.failed_by == f64::INFINITY
    }
}

impl From<Life> for IntervalLife {
    fn from(life: Life) -> Self {
        let failed_by = if life.event { life.exit } else { f64::INFINITY };
        Self {
            entry: life.entry,
            alive_at: life.exit,
            failed_by,
        }
    }
}

fn check_age(what: &'static str, index: usize, value: f64) -> Result<(), InputError> {
    if !value.is_finite() {
        Err(InputError::NotFinite { what, index, value })
    } else if value < 0.0 {
        Err(InputError::OutOfRange {
            what,
            index,
            value,
            needed: "0 or more",
        })
    } else {
        Ok(())
    }
}

/// Fails on the first life that cannot be used, and on an empty slice. Returns the greatest exit.
pub fn check_lives(lives: &[Life]) -> Result<f64, InputError> {
    at_least("lives", lives.len(), 1)?;
    let mut last = 0.0;
    for (index, life) in lives.iter().enumerate() {
        check_age("entry", index, life.entry)?;
        check_age("exit", index, life.exit)?;
        if life.exit <= life.entry {
            let (entry, exit) = (life.entry, life.exit);
            return Err(InputError::NoTimeAtRisk { index, entry, exit });
        }
        last = f64::max(last, life.exit);
    }
    Ok(last)
}

/// Fails on the first interval life that cannot be used, and on an empty slice.
pub fn check_interval_lives(lives: &[IntervalLife]) -> Result<(), InputError> {
    at_least("lives", lives.len(), 1)?;
    for (index, life) in lives.iter().enumerate() {
        check_age("entry", index, life.entry)?;
        check_age("last age alive", index, life.alive_at)?;
        if !life.is_censored() {
            check_age("age failed by", index, life.failed_by)?;
        }
        if life.failed_by < life.alive_at {
            let value = life.failed_by;
            let needed = "no earlier than the last age alive";
            return Err(InputError::OutOfRange {
                what: "age failed by",
                index,
                value,
                needed,
            });
        }
        if life.alive_at < life.entry || life.failed_by <= life.entry {
            let (entry, exit) = (life.entry, life.alive_at.min(life.failed_by));
            return Err(InputError::NoTimeAtRisk { index, entry, exit });
        }
    }
    Ok(())
}

/// Ages in rising order. Ages are not negative, so their bit patterns sort as they do, which is
/// several times faster than comparing floating-point numbers.
pub(crate) fn sorted_ages(ages: impl Iterator<Item = f64>) -> Vec<f64> {
    // Adding 0 turns -0 into +0, whose bits sort first.
    let mut keys: Vec<u64> = ages.map(|age| (age + 0.0).to_bits()).collect();
    keys.sort_unstable();
    keys.into_iter().map(f64::from_bits).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bad_life_is_named() {
        let good = Life::failed(0.0, 3.0);
        let cases = [
            (Life::failed(f64::NAN, 3.0), "entry[1] is NaN"),
            (Life::failed(-1.0, 3.0), "entry[1] is -1"),
            (Life::failed(0.0, f64::INFINITY), "exit[1] is inf"),
            (Life::censored(3.0, 3.0), "life 1 enters at 3 and ends at 3"),
        ];
        for (bad, message) in cases {
            let error = check_lives(&[good, bad]).unwrap_err().to_string();
            assert!(error.starts_with(message), "{error}");
        }
        assert!(matches!(check_lives(&[]), Err(InputError::TooFew { .. })));
    }

    #[test]
    fn a_bad_interval_is_named() {
        let life = |entry, alive_at, failed_by| IntervalLife {
            entry,
            alive_at,
            failed_by,
        };
        assert!(check_interval_lives(&[life(0.0, 2.0, 5.0), life(1.0, 1.0, 4.0)]).is_ok());
        assert!(check_interval_lives(&[life(0.0, 0.0, 4.0)]).is_ok());
        for bad in [
            life(0.0, 5.0, 2.0),
            life(3.0, 2.0, 5.0),
            life(0.0, 2.0, f64::NAN),
        ] {
            assert!(check_interval_lives(&[bad]).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn negative_zero_sorts_first() {
        assert_eq!(sorted_ages([2.0, -0.0, 1.0].into_iter()), [0.0, 1.0, 2.0]);
    }
}
