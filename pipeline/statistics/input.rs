//! What can be wrong with an estimator's input, and the checks that find it.
//!
//! The checks run before any arithmetic, so no estimator meets NaN. Deciding whether a bad row is
//! dropped or stops the run is left to the caller, who gets its index and value.

use thiserror::Error;

/// Input an estimator cannot use.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum InputError {
    #[error("{what}: {found} given, at least {needed} needed")]
    TooFew {
        what: &'static str,
        found: usize,
        needed: usize,
    },
    #[error("{what}[{index}] is {value}: it must be a finite number")]
    NotFinite {
        what: &'static str,
        index: usize,
        value: f64,
    },
    #[error("{what}[{index}] is {value}: it must be {needed}")]
    OutOfRange {
        what: &'static str,
        index: usize,
        value: f64,
        needed: &'static str,
    },
    #[error("{what} is {value}: it must be {needed}")]
    Setting {
        what: &'static str,
        value: f64,
        needed: &'static str,
    },
    #[error("{left} has {left_len} values and {right} has {right_len}: they must pair up")]
    Lengths {
        left: &'static str,
        left_len: usize,
        right: &'static str,
        right_len: usize,
    },
    #[error(
        "life {index} enters at {entry} and ends at {exit}: it must end later than it enters \
         (count an end on the day of entry as half a day)"
    )]
    NoTimeAtRisk { index: usize, entry: f64, exit: f64 },
    #[error("time {time} lies beyond the last follow-up at {last}: choose an earlier time")]
    BeyondFollowUp { time: f64, last: f64 },
}

/// Why an iterative fit has no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitError {
    #[error(transparent)]
    Input(#[from] InputError),
    #[error("{what}: no events among {rows} rows; give more data or a prior")]
    NoEvents { what: &'static str, rows: usize },
    #[error("{what}: the likelihood has no maximum (it still grows at {at}); {remedy}")]
    NoMaximum {
        what: &'static str,
        at: f64,
        remedy: &'static str,
    },
    #[error("{what}: no convergence after {iterations} iterations (last step {last_step:e})")]
    NotConverged {
        what: &'static str,
        iterations: usize,
        last_step: f64,
    },
    #[error("{what}: the information matrix cannot be inverted; drop columns that repeat others")]
    Singular { what: &'static str },
}

/// Fails unless `found >= needed`.
pub fn at_least(what: &'static str, found: usize, needed: usize) -> Result<(), InputError> {
    if found < needed {
        Err(InputError::TooFew {
            what,
            found,
            needed,
        })
    } else {
        Ok(())
    }
}

/// Fails on the first value that is NaN or infinite.
pub fn all_finite(what: &'static str, values: &[f64]) -> Result<(), InputError> {
    match values.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(InputError::NotFinite {
            what,
            index,
            value: values[index],
        }),
        None => Ok(()),
    }
}

/// Fails on the first value that is not finite or lies outside what `accepts` takes.
pub fn all_within(
    what: &'static str,
    values: &[f64],
    needed: &'static str,
    accepts: impl Fn(f64) -> bool,
) -> Result<(), InputError> {
    all_finite(what, values)?;
    match values.iter().position(|&value| !accepts(value)) {
        Some(index) => Err(InputError::OutOfRange {
            what,
            index,
            value: values[index],
            needed,
        }),
        None => Ok(()),
    }
}

/// Fails unless both slices have one length.
pub fn same_length(
    left: &'static str,
    left_len: usize,
    right: &'static str,
    right_len: usize,
) -> Result<(), InputError> {
    if left_len == right_len {
        Ok(())
    } else {
        Err(InputError::Lengths {
            left,
            left_len,
            right,
            right_len,
        })
    }
}

/// Fails unless a single setting is finite and accepted.
pub fn setting(
    what: &'static str,
    value: f64,
    needed: &'static str,
    accepts: impl Fn(f64) -> bool,
) -> Result<f64, InputError> {
    if value.is_finite() && accepts(value) {
        Ok(value)
    } else {
        Err(InputError::Setting {
            what,
            value,
            needed,
        })
    }
}

/// Fails unless a setting is finite and above 0.
pub fn positive(what: &'static str, value: f64) -> Result<f64, InputError> {
    setting(what, value, "above 0", |value| value > 0.0)
}

/// Fails unless a setting is finite and not below 0.
pub fn not_negative(what: &'static str, value: f64) -> Result<f64, InputError> {
    setting(what, value, "0 or more", |value| value >= 0.0)
}

/// Fails unless a setting lies strictly between 0 and 1.
pub fn open_unit(what: &'static str, value: f64) -> Result<f64, InputError> {
    setting(what, value, "between 0 and 1", |value| {
        value > 0.0 && value < 1.0
    })
}
