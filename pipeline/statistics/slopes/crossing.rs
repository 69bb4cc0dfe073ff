//! When a drifting reading will cross a threshold, with an interval.
//!
//! Fails as `theil_sen` does. A straight line is carried on; whether the drift stays straight is
//! for the caller to judge.

use super::theil_sen::{RobustLine, median, theil_sen};
use crate::distributions::student_quantile;
use crate::input::{InputError, open_unit, setting};

/// Standard error of a median over that of a mean, for normal errors: sqrt(pi / 2).
const MEDIAN_LOSS: f64 = 1.253_314_137_315_500_3;
/// Makes the median absolute deviation an estimate of a normal standard deviation.
const MAD_SCALE: f64 = 1.482_602_218_505_602;

/// The level of a line at the last reading and where it goes. Times are in the unit of x.
#[derive(Debug, Clone, PartialEq)]
pub struct CrossingForecast {
    pub line: RobustLine,
    pub level_now: f64,
    pub crossing: Crossing,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// The line is already at or past the threshold at the last reading.
    Past,
    /// The line crosses at `at`. `earliest` is not before the last reading; `latest` is `None`
    /// when the data do not rule out that it never crosses.
    Expected {
        at: f64,
        earliest: f64,
        latest: Option<f64>,
    },
    /// The line is level or leads away. `earliest` is `None` when the data rule a crossing out.
    NotExpected { earliest: Option<f64> },
}

/// On which side of the threshold a reading is past it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Below,
    Above,
}

/// Forecasts from the Theil-Sen line. The interval holds the times at which the line's level cannot
/// be told from the threshold (Fieller's way): `|m + b(t - c) - threshold| <= q sqrt(v_m +
/// v_b (t - c)^2)` with c the median time, m the median level there with variance from the median
/// absolute deviation of the residuals, `v_b` from the rank limits of the slope, and q Student's
/// quantile on n - 2 degrees of freedom. It is an interval for the line, not for single readings.
/// With too few points for slope limits the interval is open: `earliest` is the last reading.
pub fn forecast_crossing(
    x: &[f64],
    y: &[f64],
    threshold: f64,
    side: Side,
    confidence: f64,
) -> Result<CrossingForecast, InputError> {
    open_unit("confidence", confidence)?;
    setting("threshold", threshold, "a number", |_| true)?;
    let line = theil_sen(x, y, confidence)?;
    let now = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // Turned so that the reading falls towards 0 from above.
    let sign = if side == Side::Below { 1.0 } else { -1.0 };
    let slope = sign * line.slope;
    let margin = sign * (line.at(now) - threshold);
    let level_now = line.at(now);
    if margin <= 0.0 {
        return Ok(CrossingForecast {
            line,
            level_now,
            crossing: Crossing::Past,
        });
    }
    let span = first_and_last(&line, x, y, threshold, sign, now, confidence);
    let crossing = if slope < 0.0 {
        let at = now - margin / slope;
        let (earliest, latest) = span.unwrap_or((now, None));
        Crossing::Expected {
            at,
            earliest: earliest.min(at),
            latest: latest.map(|l| l.max(at)),
        }
    } else {
        Crossing::NotExpected {
            earliest: span.map(|(earliest, _)| earliest),
        }
    };
    Ok(CrossingForecast {
        line,
        level_now,
        crossing,
    })
}

/// The earliest and latest time after `now` inside the interval; `None` when it holds no time
/// after `now`. Without slope limits every time is inside.
fn first_and_last(
    line: &RobustLine,
    x: &[f64],
    y: &[f64],
    threshold: f64,
    sign: f64,
    now: f64,
    confidence: f64,
) -> Option<(f64, Option<f64>)> {
    let Some(slope_limits) = line.slope_limits else {
        return Some((now, None));
    };
    let degrees = (line.points_used as f64 - 2.0).max(1.0);
    let q = student_quantile(0.5 + confidence / 2.0, degrees);
    let centre = median(x.to_vec());
    let residuals = x
        .iter()
        .zip(y)
        .map(|(x, y)| (y - line.at(*x)).abs())
        .collect();
    let level_se = MEDIAN_LOSS * MAD_SCALE * median(residuals) / (x.len() as f64).sqrt();
    // The limits are taken as normal ones, so their half width is z standard errors; q stands in
    // for z to keep short series honest.
    let z = crate::limits::two_sided_z(confidence).ok()?;
    let slope_reach = q / z * 0.5 * (slope_limits.upper - slope_limits.lower);
    let level_reach = q * level_se;
    let (m, b) = (sign * (line.at(centre) - threshold), sign * line.slope);
    // Past `now` the lower edge of the band is m + b u - sqrt(level_reach^2 + (slope_reach u)^2)
    // with u = t - centre, the upper edge the same with plus; each meets 0 at a root of
    // (b^2 - slope_reach^2) u^2 + 2 m b u + m^2 - level_reach^2 = 0.
    let band = |u: f64| (level_reach * level_reach + slope_reach * slope_reach * u * u).sqrt();
    let start = now - centre;
    let roots = quadratic_roots(
        b * b - slope_reach * slope_reach,
        m * b,
        m * m - level_reach * level_reach,
    );
    let first = |edge: &dyn Fn(f64) -> f64| {
        if edge(start) <= 0.0 {
            return Some(start);
        }
        // A root belongs to the edge that is 0 there; at the other edge the two parts add up.
        roots
            .iter()
            .flatten()
            .copied()
            .filter(|&u| u > start && edge(u).abs() < 1e-6 * ((m + b * u).abs() + band(u)))
            .reduce(f64::min)
    };
    let earliest = first(&|u| m + b * u - band(u))?;
    let latest = first(&|u| m + b * u + band(u));
    Some((centre + earliest, latest.map(|u| centre + u)))
}

/// Real roots of `a u^2 + 2 h u + c = 0`.
fn quadratic_roots(a: f64, h: f64, c: f64) -> [Option<f64>; 2] {
    let discriminant = h * h - a * c;
    if discriminant < 0.0 {
        return [None, None];
    }
    // The sum of like signs keeps its digits; the other root follows from the product.
    let q = -(h + discriminant.sqrt().copysign(h));
    let finite = |root: f64| root.is_finite().then_some(root);
    [finite(q / a), finite(c / q)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(slope: f64) -> (Vec<f64>, Vec<f64>) {
        let x: Vec<f64> = (0..24).map(f64::from).collect();
        let wobble = [0.02, -0.01, 0.0, 0.03, -0.03, 0.01, -0.02];
        let y = x
            .iter()
            .map(|x| 12.7 + slope * x + wobble[*x as usize % 7])
            .collect();
        (x, y)
    }

    #[test]
    fn a_clear_fall_crosses_within_its_interval() {
        let (x, y) = series(-0.01);
        let forecast = forecast_crossing(&x, &y, 12.3, Side::Below, 0.95).unwrap();
        let Crossing::Expected {
            at,
            earliest,
            latest: Some(latest),
        } = forecast.crossing
        else {
            panic!("{forecast:?}");
        };
        assert!(
            (at - 40.0).abs() < 4.0 && earliest < at && at < latest,
            "{forecast:?}"
        );
        assert!(
            earliest > 23.0 && earliest < 40.0 && latest > 40.0,
            "{forecast:?}"
        );
    }

    #[test]
    fn the_sides_mirror_each_other() {
        let (x, y) = series(-0.01);
        let turned: Vec<f64> = y.iter().map(|y| -y).collect();
        let below = forecast_crossing(&x, &y, 12.3, Side::Below, 0.95)
            .unwrap()
            .crossing;
        let above = forecast_crossing(&x, &turned, -12.3, Side::Above, 0.95)
            .unwrap()
            .crossing;
        assert_eq!(below, above);
    }

    #[test]
    fn other_ways_of_standing_are_told_apart() {
        let (x, y) = series(-0.01);
        let past = forecast_crossing(&x, &y, 12.6, Side::Below, 0.95).unwrap();
        assert_eq!(past.crossing, Crossing::Past);
        let (x, y) = series(0.01);
        let away = forecast_crossing(&x, &y, 12.3, Side::Below, 0.95).unwrap();
        assert_eq!(away.crossing, Crossing::NotExpected { earliest: None });
        let (x, y) = series(-0.0002);
        let slow = forecast_crossing(&x, &y, 12.3, Side::Below, 0.95).unwrap();
        assert!(
            matches!(slow.crossing, Crossing::Expected { latest: None, .. }),
            "{slow:?}"
        );
        let few = forecast_crossing(&x[..3], &y[..3], 12.3, Side::Below, 0.95).unwrap();
        match few.crossing {
            Crossing::Expected {
                earliest, latest, ..
            } => {
                assert_eq!((earliest, latest), (2.0, None));
            }
            other => assert_eq!(
                other,
                Crossing::NotExpected {
                    earliest: Some(2.0)
                }
            ),
        }
    }
}
