//! Limits for a share: Wilson's score interval.
//!
//! Fails for no trials or more successes than trials. Rates over exposure are left to
//! `poisson_rate`.

use crate::input::{InputError, setting};
use crate::limits::{Limits, two_sided_z};

/// Wilson's score limits for `successes` out of `trials` (Wilson, J. Amer. Statist. Assoc. 22:209,
/// 1927): `(p + z²/2n -+ z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n)`.
pub fn wilson_limits(successes: u64, trials: u64, confidence: f64) -> Result<Limits, InputError> {
    let z = two_sided_z(confidence)?;
    let n = setting("trials", trials as f64, "1 or more", |trials| trials >= 1.0)?;
    let x = setting("successes", successes as f64, "at most the trials", |x| {
        x <= n
    })?;
    let share = x / n;
    let centre = share + z * z / (2.0 * n);
    let reach = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    let denominator = 1.0 + z * z / n;
    // At 0 and at n the far end is exact; subtraction would leave a rounding error there.
    let lower = if successes == 0 {
        0.0
    } else {
        (centre - reach) / denominator
    };
    let upper = if successes == trials {
        1.0
    } else {
        (centre + reach) / denominator
    };
    Ok(Limits { lower, upper })
}
