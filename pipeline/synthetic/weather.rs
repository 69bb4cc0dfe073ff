//! Invented depots and their weather.
//!
//! The mean temperature of a day is `mean + swing * cos(2 pi (day of year - 200) / 365.25) + noise`,
//! the noise an autoregression of order one (0.8 from day to day). The highest and lowest lie 3 to
//! 9 C around the mean. The numbers are `common practice, no source`; they copy no real place.
//! Nothing here fails. What heat and cold do to a battery is left to `wear`.

use chrono::{Datelike, Days, NaiveDate};

use super::streams::{Domain, Stream, normal, stream};
use super::wear;
use super::worlds::Climate;

/// Weeks simulated before the first dump, so that vehicles enter with a past.
pub const HISTORY_WEEKS: usize = 12 * 52;

/// A depot: where vehicles stand and which shop cares for them.
#[derive(Debug)]
pub struct Depot {
    pub name: &'static str,
    pub mean_c: f64,
    /// Half the way from the coldest to the warmest time of the year.
    pub swing_c: f64,
    pub noise_c: f64,
    /// Share of the fleet.
    pub share: f64,
    /// Index of its shop in [`super::shops::SHOPS`].
    pub shop: usize,
    /// Index of the register that lists it, in [`super::dialects`].
    pub register: usize,
    /// Indices of its models in [`super::models::MODELS`], with their shares.
    pub models: &'static [(usize, f64)],
    /// The planner changes main batteries at this age whatever their state.
    pub change_age_years: Option<f64>,
}

/// Every depot. All names are invented.
pub const DEPOTS: [Depot; 8] = [
    Depot {
        name: "Northfell",
        mean_c: 3.0,
        swing_c: 14.0,
        noise_c: 4.2,
        share: 0.14,
        shop: 1,
        register: 0,
        models: &[(0, 0.35), (1, 0.35), (3, 0.15), (6, 0.15)],
        change_age_years: None,
    },
    Depot {
        name: "Tarnwick",
        mean_c: 9.0,
        swing_c: 9.0,
        noise_c: 3.2,
        share: 0.14,
        shop: 1,
        register: 0,
        models: &[(1, 0.4), (2, 0.25), (4, 0.35)],
        change_age_years: Some(6.0),
    },
    Depot {
        name: "Harrowmere",
        mean_c: 12.0,
        swing_c: 8.0,
        noise_c: 3.0,
        share: 0.15,
        shop: 2,
        register: 0,
        models: &[(0, 0.3), (3, 0.3), (4, 0.2), (5, 0.2)],
        change_age_years: None,
    },
    Depot {
        name: "Dunmarrow",
        mean_c: 14.0,
        swing_c: 13.0,
        noise_c: 4.0,
        share: 0.15,
        shop: 0,
        register: 1,
        models: &[(0, 0.3), (1, 0.2), (6, 0.5)],
        change_age_years: None,
    },
    Depot {
        name: "Saltquay",
        mean_c: 19.0,
        swing_c: 7.0,
        noise_c: 2.4,
        share: 0.12,
        shop: 2,
        register: 1,
        models: &[(2, 0.5), (5, 0.3), (3, 0.2)],
        change_age_years: None,
    },
    Depot {
        name: "Cindermoor",
        mean_c: 24.0,
        swing_c: 10.0,
        noise_c: 2.8,
        share: 0.12,
        shop: 3,
        register: 1,
        models: &[(0, 0.35), (2, 0.3), (6, 0.35)],
        change_age_years: Some(5.0),
    },
    Depot {
        name: "Palewater",
        mean_c: 26.0,
        swing_c: 4.0,
        noise_c: 1.8,
        share: 0.08,
        shop: 4,
        register: 1,
        models: &[(1, 0.4), (3, 0.3), (5, 0.3)],
        change_age_years: None,
    },
    Depot {
        name: "Brisk Hollow",
        mean_c: 10.0,
        swing_c: 12.0,
        noise_c: 4.0,
        share: 0.10,
        shop: 5,
        register: 2,
        models: &[(7, 0.6), (8, 0.4)],
        change_age_years: Some(5.5),
    },
];

/// What a week was like at a depot.
#[derive(Debug, Clone, Copy)]
pub struct Week {
    /// How fast batteries age: see [`wear::ageing_speed`].
    pub ageing: f32,
    /// Factor on the hazard: see [`wear::strain`].
    pub strain: f32,
    mean_c: f32,
    lowest_c: f32,
    /// Which of its days, from 0, had the coldest morning.
    pub coldest_day: u8,
}

impl Week {
    /// Mean temperature of the air, degrees C.
    pub fn mean_c(&self) -> f64 {
        f64::from(self.mean_c)
    }

    /// Lowest temperature of the air, degrees C.
    pub fn lowest_c(&self) -> f64 {
        f64::from(self.lowest_c)
    }
}

/// The weather of every depot, from the start of the history to the last day.
#[derive(Debug)]
pub struct Weather {
    /// Day 0.
    pub first_day: NaiveDate,
    pub weeks: usize,
    by_week: Vec<Vec<Week>>,
    /// Mean and highest temperature of each day.
    by_day: Vec<Vec<(f32, f32)>>,
    /// Mean, swing and noise of each depot in this climate.
    by_climate: Vec<(f64, f64, f64)>,
    /// The mean ageing and strain of each week of the year over the whole series.
    normal_year: Vec<[(f64, f64); 53]>,
}

impl Weather {
    /// Simulates the weather of `weeks` weeks that end on `last_day`.
    pub fn simulate(seed: u64, last_day: NaiveDate, weeks: usize, climate: Climate) -> Weather {
        let days = weeks as u64 * 7;
        let first_day = (last_day + Days::new(1))
            .checked_sub_days(Days::new(days))
            .unwrap_or(last_day);
        let mut weather = Weather {
            first_day,
            weeks,
            by_week: Vec::new(),
            by_day: Vec::new(),
            by_climate: DEPOTS.iter().map(|depot| climate.of(depot)).collect(),
            normal_year: Vec::new(),
        };
        for depot in 0..DEPOTS.len() {
            let mut rng = stream(seed, Domain::Weather, depot as u64);
            let mut noise = normal(&mut rng, 0.0, weather.by_climate[depot].2);
            let mut by_day = Vec::with_capacity(weeks * 7);
            let by_week: Vec<Week> = (0..weeks)
                .map(|week| weather.draw_week(&mut rng, depot, week, &mut noise, &mut by_day))
                .collect();
            weather.normal_year.push(normal_year(first_day, &by_week));
            weather.by_day.push(by_day);
            weather.by_week.push(by_week);
        }
        weather
    }

    /// Draws a week; `noise` is what the day before was off the season, and is carried on.
    fn draw_week(
        &self,
        rng: &mut Stream,
        depot: usize,
        week: usize,
        noise: &mut f64,
        by_day: &mut Vec<(f32, f32)>,
    ) -> Week {
        const KEPT: f64 = 0.8;
        let fresh = self.by_climate[depot].2 * (1.0 - KEPT * KEPT).sqrt();
        let (mut sum, mut min, mut max, mut coldest_day) = (0.0, f64::MAX, f64::MIN, 0);
        for day in 0..7 {
            let season = self.season_c(depot, (week * 7 + day) as i32);
            *noise = KEPT * *noise + normal(rng, 0.0, fresh);
            let mean = season + *noise;
            let half_span = normal(rng, 6.0, 1.2).clamp(3.0, 9.0);
            sum += mean;
            if mean - half_span < min {
                coldest_day = day as u8;
            }
            min = min.min(mean - half_span);
            max = max.max(mean + half_span);
            by_day.push((mean as f32, (mean + half_span) as f32));
        }
        let mean = sum / 7.0;
        Week {
            ageing: wear::ageing_speed(mean + wear::BONNET_RISE_C) as f32,
            strain: wear::strain(min, max) as f32,
            mean_c: mean as f32,
            lowest_c: min as f32,
            coldest_day,
        }
    }

    /// About the coldest morning of a usual year, degrees C.
    pub fn usual_coldest_c(&self, depot: usize) -> f64 {
        let (mean_c, swing_c, noise_c) = self.by_climate[depot];
        mean_c - swing_c - 2.0 * noise_c - 6.0
    }

    /// A week that may come, carrying `noise` on.
    pub fn live_week(&self, rng: &mut Stream, depot: usize, week: usize, noise: &mut f64) -> Week {
        self.draw_week(rng, depot, week, noise, &mut Vec::with_capacity(7))
    }

    /// How far a day's mean was off the season, degrees C.
    pub fn noise_at(&self, depot: usize, day: i32) -> f64 {
        f64::from(self.day(depot, day).0) - self.season_c(depot, day)
    }

    /// The mean temperature of that day of the year.
    fn season_c(&self, depot: usize, day: i32) -> f64 {
        let (mean_c, swing_c, _) = self.by_climate[depot];
        let turn = std::f64::consts::TAU * (f64::from(self.date(day).ordinal()) - 200.0) / 365.25;
        mean_c + swing_c * turn.cos()
    }

    /// The week's weather; beyond the end the last week stands in.
    pub fn week(&self, depot: usize, week: usize) -> Week {
        self.by_week[depot][week.min(self.weeks - 1)]
    }

    /// Mean and highest temperature of a day.
    pub fn day(&self, depot: usize, day: i32) -> (f32, f32) {
        self.by_day[depot][(day.max(0) as usize).min(self.weeks * 7 - 1)]
    }

    /// Expected ageing and strain of that week from the season alone.
    pub fn expected(&self, depot: usize, week: usize) -> (f64, f64) {
        self.normal_year[depot][week_of_year(self.first_day, week)]
    }

    /// The date of a day number.
    pub fn date(&self, day: i32) -> NaiveDate {
        self.first_day + chrono::Duration::days(i64::from(day))
    }
}

fn week_of_year(first_day: NaiveDate, week: usize) -> usize {
    (first_day + Days::new(week as u64 * 7)).ordinal0() as usize / 7
}

fn normal_year(first_day: NaiveDate, by_week: &[Week]) -> [(f64, f64); 53] {
    let mut sums = [(0.0, 0.0, 0.0); 53];
    for (week, weather) in by_week.iter().enumerate() {
        let sum = &mut sums[week_of_year(first_day, week)];
        sum.0 += f64::from(weather.ageing);
        sum.1 += f64::from(weather.strain);
        sum.2 += 1.0;
    }
    sums.map(|(ageing, strain, count)| {
        if count > 0.0 {
            (ageing / count, strain / count)
        } else {
            (1.0, 1.0)
        }
    })
}
