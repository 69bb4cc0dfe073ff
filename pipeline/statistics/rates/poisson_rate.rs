//! A failure rate over exposure with exact limits.
//!
//! Fails for exposure that is not above 0. Comparing one period with others is left to
//! `rate_trend`, lists of many small rates to `shrinkage` and `funnel`.

use crate::distributions::gamma_quantile;
use crate::input::{InputError, open_unit, positive};
use crate::limits::Limits;

/// Events per unit of exposure, with limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    pub events: u64,
    pub exposure: f64,
    pub rate: f64,
    pub limits: Limits,
}

/// Exact limits for the mean of a Poisson count (Garwood, Biometrika 28:437, 1936):
/// `chi2(a/2, 2k)/2` and `chi2(1-a/2, 2k+2)/2`. The lower limit of 0 events is 0.
pub fn garwood_limits(events: u64, confidence: f64) -> Result<Limits, InputError> {
    open_unit("confidence", confidence)?;
    let tail = (1.0 - confidence) / 2.0;
    let k = events as f64;
    let lower = if events == 0 {
        0.0
    } else {
        gamma_quantile(tail, k)
    };
    Ok(Limits {
        lower,
        upper: gamma_quantile(1.0 - tail, k + 1.0),
    })
}

/// Events over exposure with Garwood's limits. `per` scales the rate: with exposure in
/// battery-months and `per` 1000, the rate is per 1,000 battery-months.
pub fn poisson_rate(
    events: u64,
    exposure: f64,
    per: f64,
    confidence: f64,
) -> Result<Rate, InputError> {
    positive("exposure", exposure)?;
    positive("rate per", per)?;
    let scale = per / exposure;
    let limits = garwood_limits(events, confidence)?.map(|count| count * scale);
    Ok(Rate {
        events,
        exposure,
        rate: events as f64 * scale,
        limits,
    })
}
