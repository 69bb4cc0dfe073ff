//! A battery's chance of failing in each of the coming weeks, from its chance over the horizon.
//!
//! The horizon's cumulative hazard is spread over its weeks, and beyond, as the hazard grows with the
//! ability lost and follows the season: `h(w) ~ season(w) x levelled loss(w)^slope`. The loss goes on at
//! the battery's average pace so far. What comes without warning is the same in every week.

use super::feature::log_lost;

use trade::calendar::DAYS_A_WEEK;

/// What a battery's hazard grows with.
#[derive(Debug, Clone, Copy)]
pub struct Growth {
    /// Share of the rating lost by now, and the age at which.
    pub lost: f64,
    pub age_days: f64,
    /// The power of the lost ability that the hazard goes with.
    pub slope: f64,
    /// Hazard over the horizon of what comes without warning.
    pub alike: f64,
}

/// The hazard gathered in each of the weeks ahead; over those of the horizon it adds up to what the chance
/// says. `season` has a factor for each week.
pub fn weekly_hazards(chance: f64, horizon_days: f64, growth: Growth, season: &[f64]) -> Vec<f64> {
    let pace = growth.lost.max(0.0) / growth.age_days.max(DAYS_A_WEEK);
    let shape: Vec<f64> = season
        .iter()
        .enumerate()
        .map(|(week, season)| {
            let days = DAYS_A_WEEK * (week as f64 + 0.5);
            let grown = log_lost(growth.lost + pace * days) - log_lost(growth.lost);
            season * (growth.slope.max(0.0) * grown).exp()
        })
        .collect();
    // The horizon may end within a week.
    let in_horizon: f64 = shape
        .iter()
        .enumerate()
        .map(|(week, shape)| shape * (horizon_days / DAYS_A_WEEK - week as f64).clamp(0.0, 1.0))
        .sum();
    let gathered = -(-chance.clamp(0.0, 0.999_999)).ln_1p();
    let alike = growth.alike.clamp(0.0, gathered);
    let scale = match in_horizon > 0.0 {
        true => (gathered - alike) / in_horizon,
        false => 0.0,
    };
    let of_week = alike * DAYS_A_WEEK / horizon_days;
    shape
        .into_iter()
        .map(|shape| of_week + shape * scale)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const GROWTH: Growth = Growth {
        lost: 0.4,
        age_days: 1_000.0,
        slope: 1.5,
        alike: 0.0,
    };

    #[test]
    fn the_weeks_of_the_horizon_add_up_to_its_chance() {
        for horizon_days in [56.0, 60.0, 7.0] {
            let hazards = weekly_hazards(0.05, horizon_days, GROWTH, &[1.0; 52]);
            let whole = (horizon_days / 7.0) as usize;
            let within: f64 = hazards[..whole].iter().sum::<f64>()
                + hazards[whole] * (horizon_days / 7.0 - whole as f64);
            assert!((-(-within).exp_m1() - 0.05).abs() < 1e-12, "{horizon_days}");
        }
    }

    #[test]
    fn what_comes_without_warning_knows_no_season() {
        let growth = Growth {
            alike: 0.008,
            ..GROWTH
        };
        let mut season = [1.0; 26];
        season[20] = 1e-9;
        let hazards = weekly_hazards(0.05, 56.0, growth, &season);
        assert!((hazards[20] - 0.001).abs() < 1e-9);
        let within: f64 = hazards[..8].iter().sum();
        assert!((-(-within).exp_m1() - 0.05).abs() < 1e-12);
    }

    #[test]
    fn it_grows_with_wear_and_follows_the_season() {
        let even = weekly_hazards(0.05, 56.0, GROWTH, &[1.0; 26]);
        assert!(even.windows(2).all(|pair| pair[1] > pair[0]));
        let mut season = [1.0; 26];
        season[20] = 3.0;
        let wintry = weekly_hazards(0.05, 56.0, GROWTH, &season);
        assert!((wintry[20] / even[20] - 3.0).abs() < 1e-12);
        assert_eq!(wintry[..8], even[..8]);
    }
}
