//! The ability each battery has lost by now, expected from all that is known of it.
//!
//! Tests are many and failures few, so what wears a battery is learnt from tests; the hazard then
//! needs few columns. Three steps, each fitted to the tests that came within the horizon after a look:
//! the *usual loss* of batteries of that age, kind, place and use, a product of factors; the battery's
//! *own pace* against it, from its tests so far; and a *correction* by what goes beside, such as low
//! voltage and deep discharges. Without tests the prior by age and chemistry is the usual loss, and no
//! correction is made.
//!
//! Nothing here fails: a test far from what is expected of it counts for less (Huber's weights, Annals of
//! Mathematical Statistics 35:73, 1964), and where a step cannot be fitted the simpler one before it
//! stands, which is said.

use serde::Deserialize;

use super::feature::{Feature, HEALTH_WHEN_NEW, Topic, age_years, prior_lost};
use super::features::found_discharged;
use super::frame::{Frame, Number, Word};
use super::loss_features::{of_correction, of_usual_loss};
use super::own_pace::{
    MOST_HEALTH, NextTest, OwnPace, Spread, Tested, USUAL_SPREAD, most_likely_spread, own_pace,
    settled_by_tests,
};
use super::scaled::{Scaling, design, learn};
use statistics::FitError;
use statistics::regression::design::Design;
use statistics::regression::log_linear::{Answers, log_linear};
use statistics::regression::ridge_regression::ridge_regression;

/// Penalty on the factors of the usual loss, and on the slopes of the correction.
const USUAL_RIDGE: f64 = 1.0;
const CORRECTION_RIDGE: f64 = 10.0;

/// Fewer tests than this are not fitted: the prior stands.
const FEWEST_TESTS: usize = 20;

/// A test counts in full up to so many standard deviations from what is expected of it; the fits are made
/// again so often with the weights of those beyond.
const FAR_DEVIATIONS: f64 = 2.5;
const ROUNDS: usize = 3;

/// The usual loss ends here, as a share of the rating.
const LEAST_USUAL: f64 = 0.002;
const MOST_USUAL: f64 = 1.2;

/// What a discharge leaves of a battery is open: by so much about what is expected, a share of the rating, which is
/// believed like so many tests. `common practice, no source`
const USUAL_OPEN: f64 = 0.12;
const USUAL_OPEN_TESTS: f64 = 10.0;

/// What a kept number belongs to.
const USUAL_LOSS: &str = "usual loss";
const OWN_PACE: &str = "own pace";
const CORRECTION: &str = "correction";
const INTERCEPT: &str = "intercept";

/// One number of the fit; slopes are of scaled columns.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct HealthSlope {
    pub part: String,
    pub feature: String,
    pub about: String,
    pub coefficient: f64,
    pub mean: f64,
    pub deviation: f64,
    /// Tests the fit rests on, the same on every row.
    pub tests: i64,
}

/// The fit of the three steps.
pub struct HealthFit {
    pub slopes: Vec<HealthSlope>,
    /// The step that could not be fitted and what stands in its place.
    pub fallback: Option<String>,
}

/// What is expected of every row.
pub struct Expected {
    pub usual: Vec<f64>,
    pub own: Vec<OwnPace>,
    /// Share of the rating lost by now.
    pub lost: Vec<f64>,
    pub spread: Spread,
    /// Variance of that beyond what the own pace leaves open: of batteries found discharged.
    pub beside: Vec<f64>,
}

impl Expected {
    /// Share of the rating left.
    pub fn health(&self, row: usize) -> f64 {
        HEALTH_WHEN_NEW - self.lost[row]
    }

    /// Standard deviation of the share lost, of this battery.
    pub fn sd(&self, row: usize) -> f64 {
        let own = &self.own[row];
        (own.variance + self.beside[row]).sqrt()
    }

    /// Standard deviation of what a test of it would read about what is expected.
    pub fn reading_sd(&self, row: usize) -> f64 {
        self.sd(row).hypot(self.spread.test_sd)
    }
}

/// Fits the three steps.
pub fn fit(frame: &Frame, horizon_days: f64) -> HealthFit {
    let mut fallback: Option<String> = None;
    let rows: Vec<usize> = (0..frame.rows)
        .filter(|row| {
            (0.0..=MOST_HEALTH).contains(&frame.number(Number::NextHealth, *row))
                && frame.number(Number::Weight, *row) > 0.0
        })
        .collect();
    let enough = rows.len() >= FEWEST_TESTS;
    // Looks before a failure are all drawn, the others in part: weights make the tests those of the fleet.
    let column =
        |value: &dyn Fn(usize) -> f64| -> Vec<f64> { rows.iter().map(|row| value(*row)).collect() };
    let weights = column(&|row| frame.number(Number::Weight, row));
    let found = column(&|row| HEALTH_WHEN_NEW - frame.number(Number::NextHealth, row));
    let mut kept = Kept {
        tests: rows.len() as i64,
        slopes: Vec::new(),
    };

    let features = of_usual_loss(frame, horizon_days);
    let scaling = learn(&features, &rows);
    let cells = design(&features, &scaling, &rows);
    let offsets = column(&|row| log_prior(frame, row, horizon_days));
    let line = enough.then(|| {
        robust(&weights, |weights| {
            let answers = Answers {
                values: &found,
                weights,
                offsets: &offsets,
            };
            let line = log_linear(cells_of(&features, &cells), answers, USUAL_RIDGE)?;
            let off = found
                .iter()
                .zip(&offsets)
                .enumerate()
                .map(|(at, (found, offset))| {
                    let eta = offset + line.intercept + along(&line.coefficients, &cells, at);
                    found - eta.exp().clamp(LEAST_USUAL, MOST_USUAL)
                });
            Ok::<_, FitError>((off.collect(), (line.intercept, line.coefficients)))
        })
    });
    let (level, factors) = match line {
        Some(Ok(line)) => line,
        Some(Err(error)) => {
            fallback = Some(format!("usual loss by age and chemistry alone: {error}"));
            (0.0, vec![0.0; features.len()])
        }
        None => (0.0, vec![0.0; features.len()]),
    };
    kept.line(
        USUAL_LOSS,
        "usual loss against the prior, all else average",
        level,
        &features,
        &factors,
        &scaling,
    );

    let usual = usual_loss(frame, &kept.slopes, horizon_days);
    let spread = if enough {
        let tests: Vec<NextTest<'_>> = rows
            .iter()
            .zip(found.iter().zip(&weights))
            .map(|(&row, (&lost, &weight))| NextTest {
                battery: Tested::of(frame, row, usual[row], horizon_days),
                lost,
                weight,
            })
            .collect();
        most_likely_spread(&tests)
    } else {
        USUAL_SPREAD
    };
    kept.number(
        OWN_PACE,
        "pace spread",
        "standard deviation of the pace of batteries alike",
        spread.pace_sd,
    );
    kept.number(
        OWN_PACE,
        "test spread",
        "standard deviation of a test about the battery's true ability",
        spread.test_sd,
    );
    kept.number(
        OWN_PACE,
        "stray",
        "standard deviation of what a battery strays from its line in a year",
        spread.stray_sd,
    );

    let own = own_paces(frame, &usual, spread, horizon_days);
    let features = of_correction(frame, &usual, &own, horizon_days);
    let scaling = learn(&features, &rows);
    let cells = design(&features, &scaling, &rows);
    let left: Vec<f64> = rows
        .iter()
        .zip(&found)
        .map(|(row, found)| found - own[*row].lost)
        .collect();
    let line = enough.then(|| {
        robust(&weights, |weights| {
            let columns = cells_of(&features, &cells);
            let line = ridge_regression(columns, &left, weights, CORRECTION_RIDGE)?;
            let off = left
                .iter()
                .enumerate()
                .map(|(at, left)| left - line.intercept - along(&line.coefficients, &cells, at));
            Ok::<_, FitError>((off.collect(), (line.intercept, line.coefficients)))
        })
    });
    let (level, slopes) = match line {
        Some(Ok(line)) => line,
        Some(Err(error)) => {
            fallback.get_or_insert(format!("no correction by other signs: {error}"));
            (0.0, vec![0.0; features.len()])
        }
        None => (0.0, vec![0.0; features.len()]),
    };
    kept.line(
        CORRECTION,
        "loss beyond that, all else average",
        level,
        &features,
        &slopes,
        &scaling,
    );
    let discharged = rows
        .iter()
        .enumerate()
        .filter(|(_, row)| found_discharged(frame, **row));
    let open = discharged.map(|(at, row)| {
        let off = left[at] - level - along(&slopes, &cells, at);
        let known = own[*row].variance + spread.test_sd.powi(2);
        (weights[at], off * off - known)
    });
    kept.number(
        OWN_PACE,
        "discharged spread",
        "standard deviation of the ability of batteries found discharged, beside all that",
        open_of_discharged(open),
    );
    HealthFit {
        slopes: kept.slopes,
        fallback,
    }
}

/// Standard deviation that the tests leave of batteries found discharged; each with its weight and what its answer was
/// off, squared, beyond what was known.
fn open_of_discharged(tests: impl Iterator<Item = (f64, f64)>) -> f64 {
    let believed = (USUAL_OPEN_TESTS, USUAL_OPEN_TESTS * USUAL_OPEN.powi(2));
    let (weight, open) = tests.fold(believed, |(weights, sum), (weight, open)| {
        (weights + weight, sum + weight * open.clamp(-0.25, 0.25))
    });
    (open / weight).max(0.0).sqrt()
}

/// A row's sum of slopes times scaled columns.
fn along(slopes: &[f64], cells: &[f64], at: usize) -> f64 {
    let row = &cells[at * slopes.len()..(at + 1) * slopes.len()];
    slopes.iter().zip(row).map(|(slope, x)| slope * x).sum()
}

/// Fits again with less weight on answers far off: `fit` gives what is left of each answer, and its line.
fn robust<L, E>(weights: &[f64], fit: impl Fn(&[f64]) -> Result<(Vec<f64>, L), E>) -> Result<L, E> {
    let (mut off, mut line) = fit(weights)?;
    for _ in 1..ROUNDS {
        let mut sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        // Of a normal law the median size is 0.6745 standard deviations.
        let far = FAR_DEVIATIONS * sizes.get(sizes.len() / 2).map_or(0.0, |size| size / 0.6745);
        if far <= 0.0 {
            break;
        }
        let less: Vec<f64> = weights
            .iter()
            .zip(&off)
            .map(|(weight, off)| weight * (far / off.abs().max(far)))
            .collect();
        (off, line) = fit(&less)?;
    }
    Ok(line)
}

/// What is expected of every row, by a fit that was kept.
pub fn predict(frame: &Frame, kept: &[HealthSlope], horizon_days: f64) -> Expected {
    let number = |feature: &str| {
        kept.iter()
            .find(|slope| slope.part == OWN_PACE && slope.feature == feature)
            .map(|slope| slope.coefficient)
    };
    let spread = Spread {
        pace_sd: number("pace spread").unwrap_or(USUAL_SPREAD.pace_sd),
        test_sd: number("test spread").unwrap_or(USUAL_SPREAD.test_sd),
        stray_sd: number("stray").unwrap_or(USUAL_SPREAD.stray_sd),
    };
    let usual = usual_loss(frame, kept, horizon_days);
    let own = own_paces(frame, &usual, spread, horizon_days);
    let open = number("discharged spread").unwrap_or(USUAL_OPEN);
    let beside = frame.map(|row| match found_discharged(frame, row) {
        true => open * open,
        false => 0.0,
    });
    let level = intercept(kept, CORRECTION);
    let mut lost: Vec<f64> = own.iter().map(|own| own.lost + level).collect();
    for (feature, slope) in with_slopes(
        kept,
        CORRECTION,
        of_correction(frame, &usual, &own, horizon_days),
    ) {
        for (lost, value) in lost.iter_mut().zip(&feature.values) {
            *lost += slope.coefficient * slope.scaling().apply(*value);
        }
    }
    Expected {
        usual,
        own,
        lost,
        spread,
        beside,
    }
}

/// What each topic adds to the logarithm of the ability lost, row by row, against the average row.
///
/// What age, kind, place and use make usual counts for them as far as it had to be assumed, and for the
/// tests as far as these settled it: a battery measured at half its rating is at half its rating,
/// whatever its age.
pub fn shares_of_log_lost(
    frame: &Frame,
    kept: &[HealthSlope],
    expected: &Expected,
    rows: &[usize],
    horizon_days: f64,
) -> Vec<(Topic, Vec<f64>)> {
    let from_mean = |value: &dyn Fn(usize) -> f64| -> Vec<f64> {
        less_mean(rows.iter().map(|row| value(*row)).collect())
    };
    let scaled = |feature: &Feature, slope: &HealthSlope, row: usize| {
        slope.coefficient * slope.scaling().apply(feature.values[row])
    };
    let log_prior = from_mean(&|row| log_prior(frame, row, horizon_days));
    let mut shares = vec![(Topic::Age, log_prior)];
    for (feature, slope) in with_slopes(kept, USUAL_LOSS, of_usual_loss(frame, horizon_days)) {
        shares.push((
            feature.topic,
            from_mean(&|row| scaled(&feature, slope, row)),
        ));
    }
    let settled: Vec<f64> = rows
        .iter()
        .map(|&row| {
            let battery = Tested::of(frame, row, expected.usual[row], horizon_days);
            settled_by_tests(&expected.own[row], battery, expected.spread)
        })
        .collect();
    let mut of_tests = vec![0.0; rows.len()];
    for (_, values) in &mut shares {
        for ((value, tested), settled) in values.iter_mut().zip(&mut of_tests).zip(&settled) {
            *tested += settled * *value;
            *value *= 1.0 - settled;
        }
    }
    shares.push((Topic::Tests, of_tests));
    // The rest is a sum of losses: by the logarithmic mean, its terms share out the logarithm exactly.
    let per_loss =
        |row: usize| 1.0 / logarithmic_mean(expected.usual[row], expected.lost[row].max(0.01));
    let beyond = |row: usize| expected.own[row].lost - expected.usual[row];
    shares.push((Topic::Tests, from_mean(&|row| beyond(row) * per_loss(row))));
    let corrections = of_correction(frame, &expected.usual, &expected.own, horizon_days);
    for (feature, slope) in with_slopes(kept, CORRECTION, corrections) {
        let values = from_mean(&|row| scaled(&feature, slope, row) * per_loss(row));
        shares.push((feature.topic, values));
    }
    shares
}

/// Each value less the mean of all.
pub fn less_mean(values: Vec<f64>) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / (values.len() as f64).max(1.0);
    values.iter().map(|value| value - mean).collect()
}

/// `(a - b) / (ln a - ln b)`.
fn logarithmic_mean(a: f64, b: f64) -> f64 {
    let ratio = (a / b).ln();
    if ratio.abs() < 1e-6 {
        (a + b) / 2.0
    } else {
        (a - b) / ratio
    }
}

fn cells_of<'a>(features: &[Feature], values: &'a [f64]) -> Design<'a> {
    Design {
        columns: features.len(),
        values,
    }
}

/// Logarithm of the loss that age and chemistry alone say.
fn log_prior(frame: &Frame, row: usize, horizon_days: f64) -> f64 {
    let age = age_years(frame, row, horizon_days);
    prior_lost(age, frame.word(Word::Chemistry, row)).ln()
}

fn usual_loss(frame: &Frame, kept: &[HealthSlope], horizon_days: f64) -> Vec<f64> {
    let level = intercept(kept, USUAL_LOSS);
    let mut log_loss = frame.map(|row| level + log_prior(frame, row, horizon_days));
    for (feature, slope) in with_slopes(kept, USUAL_LOSS, of_usual_loss(frame, horizon_days)) {
        for (log_loss, value) in log_loss.iter_mut().zip(&feature.values) {
            *log_loss += slope.coefficient * slope.scaling().apply(*value);
        }
    }
    log_loss
        .into_iter()
        .map(|log_loss| log_loss.exp().clamp(LEAST_USUAL, MOST_USUAL))
        .collect()
}

fn own_paces(frame: &Frame, usual: &[f64], spread: Spread, horizon_days: f64) -> Vec<OwnPace> {
    usual
        .iter()
        .enumerate()
        .map(|(row, usual)| own_pace(Tested::of(frame, row, *usual, horizon_days), spread))
        .collect()
}

fn intercept(kept: &[HealthSlope], part: &str) -> f64 {
    kept.iter()
        .find(|slope| slope.part == part && slope.feature == INTERCEPT)
        .map_or(0.0, |slope| slope.coefficient)
}

/// Each column with its slope; one without is left out.
fn with_slopes<'a>(
    kept: &'a [HealthSlope],
    part: &'a str,
    features: Vec<Feature>,
) -> impl Iterator<Item = (Feature, &'a HealthSlope)> {
    features.into_iter().filter_map(move |feature| {
        let slope = kept
            .iter()
            .find(|slope| slope.part == part && slope.feature == feature.name)?;
        Some((feature, slope))
    })
}

impl HealthSlope {
    fn scaling(&self) -> Scaling {
        Scaling {
            mean: self.mean,
            deviation: self.deviation,
        }
    }
}

/// The numbers of a fit as they come.
struct Kept {
    tests: i64,
    slopes: Vec<HealthSlope>,
}

impl Kept {
    fn push(&mut self, part: &str, feature: &str, about: &str, coefficient: f64, scaling: Scaling) {
        self.slopes.push(HealthSlope {
            part: part.to_owned(),
            feature: feature.to_owned(),
            about: about.to_owned(),
            coefficient,
            mean: scaling.mean,
            deviation: scaling.deviation,
            tests: self.tests,
        });
    }

    fn number(&mut self, part: &str, feature: &str, about: &str, number: f64) {
        let unscaled = Scaling {
            mean: 0.0,
            deviation: 1.0,
        };
        self.push(part, feature, about, number, unscaled);
    }

    fn line(
        &mut self,
        part: &str,
        about_level: &str,
        level: f64,
        features: &[Feature],
        slopes: &[f64],
        scaling: &[Scaling],
    ) {
        self.number(part, INTERCEPT, about_level, level);
        for ((feature, slope), scaling) in features.iter().zip(slopes).zip(scaling) {
            self.push(part, &feature.name, &feature.about, *slope, *scaling);
        }
    }
}
