//! The power of the lost ability that a battery's hazard goes with, through every column that looks at it.
//!
//! Beside the column of the lost ability itself these are its products with the cold ahead, so that wear counts
//! for more in winter, and the last test or what a battery read when it was found discharged, which a new test
//! replaces. Were these left out, a test would be thought to tell less than the model makes of it. Nothing here
//! fails.

use super::cold::{COLD_ON_LOST, Outlook, STRAIN_ON_LOST, cold, coldest_ahead, strain};
use super::feature::LAST_TEST;
use super::features::{DISCHARGED_LOST, found_discharged};
use super::frame::Frame;
use super::stored_model::StoredModel;

/// Powers of the (levelled) lost ability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearPower {
    /// As the battery wears on and nobody tests it.
    pub worn: f64,
    /// As a test finds more or less lost than expected.
    pub tested: f64,
}

/// The slopes of a model that these powers are made of.
#[derive(Debug, Clone, Copy)]
pub struct WearSlopes {
    lost: f64,
    cold_on_lost: f64,
    strain_on_lost: f64,
    last_test: f64,
    discharged_lost: f64,
}

impl WearSlopes {
    pub fn of(model: &StoredModel) -> Self {
        Self {
            lost: model.lost_slope(),
            cold_on_lost: model.slope(COLD_ON_LOST),
            strain_on_lost: model.slope(STRAIN_ON_LOST),
            last_test: model.slope(LAST_TEST),
            discharged_lost: model.slope(DISCHARGED_LOST),
        }
    }

    /// The powers of a row over its horizon, on the mean of the coldest mornings that may come.
    pub fn power(&self, frame: &Frame, row: usize) -> WearPower {
        let outlook = Outlook::MayCome(0.0);
        let cold = cold(coldest_ahead(frame, row, outlook));
        let cold = if cold.is_nan() { 0.0 } else { cold };
        let worn = self.lost
            + self.cold_on_lost * cold
            + self.strain_on_lost * strain(frame, row, outlook);
        let discharged = match found_discharged(frame, row) {
            true => self.discharged_lost,
            false => 0.0,
        };
        WearPower {
            worn,
            tested: worn + self.last_test + discharged,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::feature::LOST;
    use super::super::frame::{Number, Words};
    use super::super::stored_model::StoredCoefficient;
    use super::*;

    fn model(slopes: &[(&str, f64, f64)]) -> StoredModel {
        let kept = |(feature, coefficient, deviation): &(&str, f64, f64)| StoredCoefficient {
            feature: (*feature).to_owned(),
            coefficient: *coefficient,
            mean: 0.0,
            deviation: *deviation,
            alike_hazard: 0.0,
            alike_log_sd: 0.0,
            covariances: vec![0.0; slopes.len()],
        };
        StoredModel::new(&slopes.iter().map(kept).collect::<Vec<_>>())
    }

    #[test]
    fn wear_counts_for_more_in_the_cold_and_a_test_also_as_the_last() {
        let model = model(&[
            ("intercept", -4.0, 1.0),
            (LOST, 0.6, 0.5),
            (COLD_ON_LOST, 0.3, 1.0),
            (LAST_TEST, 0.2, 0.4),
        ]);
        let frame = |ahead_c: f64| {
            let number = |column| {
                vec![match column {
                    Number::ColdAhead => ahead_c,
                    _ => f64::NAN,
                }]
            };
            Frame::new(vec![false], number, |_| Words::default())
        };
        // 0.6 / 0.5 in the warmth; at -10 degrees, two tens below 10, 2 x 0.3 more; the last test 0.2 / 0.4.
        let power = |ahead_c| WearSlopes::of(&model).power(&frame(ahead_c), 0);
        let (warm, cold) = (power(15.0), power(-10.0));
        assert!((warm.worn - 1.2).abs() < 1e-12 && (cold.worn - 1.8).abs() < 1e-12);
        assert!((cold.tested - 2.3).abs() < 1e-12);
        // Where no weather is known the cold says nothing.
        assert!((power(f64::NAN).worn - 1.2).abs() < 1e-12);
    }
}
