//! The columns that tell the ability a battery has lost: those of the usual loss, and those of what it
//! leaves over.

use super::feature::{Feature, HEALTH_WHEN_NEW, Scale, Topic, age_years};
use super::features::{
    DISCHARGED_LOST, age_in_doubt, discharged_last, distance_driven, distance_not_known,
    failed_before, heat, heat_not_known, kinds, signs, untested,
};
use super::frame::{Frame, Number};
use super::own_pace::{OwnPace, usual_rate};
use trade::calendar::DAYS_A_YEAR;

/// The columns of the usual loss: what makes batteries age faster or slower by a factor.
pub fn of_usual_loss(frame: &Frame, horizon_days: f64) -> Vec<Feature> {
    use Scale::Centred;
    use Topic::{Age, Weather};
    let log_age = |row: usize| age_years(frame, row, horizon_days).max(0.25).ln();
    let log_heat = |row: usize| frame.number(Number::Heat, row).ln();
    let new = Feature::new;
    let mut features = vec![
        new(
            "log age",
            "logarithm of the age",
            Age,
            Centred,
            frame.map(log_age),
        ),
        new(
            "log age squared",
            "square of that",
            Age,
            Centred,
            frame.map(|row| log_age(row).powi(2)),
        ),
        age_in_doubt(frame),
        heat(frame),
        new(
            "heat squared",
            "square of that",
            Weather,
            Centred,
            frame.map(|row| log_heat(row).powi(2)),
        ),
        heat_not_known(frame),
        distance_driven(frame),
        distance_not_known(frame),
        failed_before(frame),
    ];
    features.extend(kinds(frame));
    features
}

/// The columns of what usual loss and own pace leave over: `usual` and `own` are those of each row.
pub fn of_correction(
    frame: &Frame,
    usual: &[f64],
    own: &[OwnPace],
    horizon_days: f64,
) -> Vec<Feature> {
    use Scale::{Centred, Spread};
    use Topic::{Age, Tests};
    let years_since = |row: usize| {
        let days = frame.number(Number::DaysSinceHealth, row);
        if days.is_nan() {
            0.0
        } else {
            days / DAYS_A_YEAR
        }
    };
    let beyond = |row: usize| own[row].lost - usual[row];
    // What the last test found beyond the battery's own line.
    let last = |row: usize| {
        let lost = HEALTH_WHEN_NEW - frame.number(Number::Health, row);
        if lost.is_nan() {
            return 0.0;
        }
        let age = age_years(frame, row, horizon_days);
        let then = (age - years_since(row) - horizon_days / 2.0 / DAYS_A_YEAR).max(0.05);
        let line = usual_rate(usual[row], age) * then * (1.0 + own[row].faster) + own[row].start;
        lost - line
    };
    // What it read when it was found discharged, beyond what is expected of it without that.
    let read_lost = |row: usize| {
        let lost = HEALTH_WHEN_NEW - frame.number(Number::DischargedRead, row);
        if lost.is_nan() {
            0.0
        } else {
            lost - own[row].lost
        }
    };
    let new = Feature::new;
    let mut features = vec![
        untested(frame),
        discharged_last(frame),
        new(
            DISCHARGED_LOST,
            "loss it read when found discharged, beyond the battery's own line",
            Tests,
            Spread,
            frame.map(read_lost),
        ),
        new("usual loss", "the usual loss", Age, Centred, usual.to_vec()),
        new(
            "own loss",
            "loss by its own pace beyond the usual",
            Tests,
            Spread,
            frame.map(beyond),
        ),
        new(
            "own loss grown old",
            "the same times years since the last test",
            Tests,
            Spread,
            frame.map(|row| beyond(row) * years_since(row)),
        ),
        new(
            "last test",
            "loss the last test found beyond the battery's own line",
            Tests,
            Spread,
            frame.map(last),
        ),
        new(
            "last test grown old",
            "the same times years since, at most three",
            Tests,
            Spread,
            frame.map(|row| last(row) * years_since(row).min(3.0)),
        ),
    ];
    features.extend(signs(frame));
    features
}
