//! The vehicles of the invented fleet and their VINs.
//!
//! VINs begin with `G`, a first letter that ISO 3780 gives to no country (from memory), carry a true
//! check digit (49 CFR 565) and the model year's letter. Nothing here fails; what happens to a
//! vehicle is left to `life`.

use chrono::Datelike;

use super::models::MODELS;
use super::streams::{
    Domain, Stream, between, chance, gamma_of_mean_one, log_normal, stream, weighted, whole,
};
use super::weather::{DEPOTS, Weather};
use trade::vin::make_check_digit;

/// One vehicle, before anything happens to it. Days count from [`Weather::first_day`].
#[derive(Debug, Clone)]
pub struct Vehicle {
    pub index: u64,
    pub vin: String,
    pub unit_no: String,
    pub depot: usize,
    pub model: usize,
    pub model_year: i32,
    pub in_service_day: i32,
    /// Set where it came used.
    pub joined_day: Option<i32>,
    /// Day it leaves the fleet; beyond the last day it stays.
    pub leave_day: i32,
    pub km_a_week: f64,
    /// Share of weeks at a stand.
    pub standing: f64,
    /// How many more faults than its fellows it has.
    pub fault_factor: f64,
}

impl Vehicle {
    /// Draws vehicle `index` of the fleet.
    pub fn draw(seed: u64, index: u64, weather: &Weather, window_start: i32) -> Vehicle {
        const YEAR: f64 = 365.25;
        let rng = &mut stream(seed, Domain::Vehicle, index);
        let last_day = weather.weeks as i32 * 7 - 1;
        let depot = weighted(rng, DEPOTS.iter().map(|depot| depot.share));
        let kinds = DEPOTS[depot].models;
        let model = kinds[weighted(rng, kinds.iter().map(|kind| kind.1))].0;
        let spec = &MODELS[model];

        let present_at_start = chance(rng, 0.78);
        let (in_service_day, joined_day) = if present_at_start {
            let age_days = between(rng, 0.05, 8.0) * YEAR;
            let bought_used = chance(rng, 0.08)
                .then(|| window_start - (age_days * between(rng, 0.1, 0.5)) as i32);
            (window_start - age_days as i32, bought_used)
        } else {
            let joined = whole(rng, i64::from(window_start) + 1, i64::from(last_day)) as i32;
            if chance(rng, 0.15) {
                (
                    joined - (between(rng, 1.0, 4.0) * YEAR) as i32,
                    Some(joined),
                )
            } else {
                (joined, None)
            }
        };
        let in_service_day = in_service_day.max(0);
        let leave_day = leave_day(rng, in_service_day, joined_day, window_start, last_day);

        let in_service = weather.date(in_service_day);
        let model_year = in_service.year() + i32::from(in_service.month() >= 9);
        Vehicle {
            index,
            vin: vin(spec.vin_prefix, model_year, index),
            unit_no: format!(
                "{}{:05}",
                ['N', 'T', 'H', 'D', 'S', 'C', 'P', 'B'][depot],
                index + 1
            ),
            depot,
            model,
            model_year,
            in_service_day,
            joined_day,
            leave_day,
            km_a_week: log_normal(rng, spec.km_a_week, 0.35),
            standing: 0.03
                + if chance(rng, 0.15) {
                    between(rng, 0.1, 0.4)
                } else {
                    between(rng, 0.0, 0.06)
                },
            fault_factor: gamma_of_mean_one(rng, 0.8),
        }
    }

    /// First day in this fleet.
    pub fn entry_day(&self) -> i32 {
        self.joined_day.unwrap_or(self.in_service_day)
    }

    /// Whether it is in the fleet on that day.
    pub fn is_here(&self, day: i32) -> bool {
        (self.entry_day()..self.leave_day).contains(&day)
    }
}

/// Vehicles are kept 6.5 to 12 years; 2 percent a year are sold or wrecked before.
fn leave_day(
    rng: &mut Stream,
    in_service_day: i32,
    joined_day: Option<i32>,
    window_start: i32,
    last_day: i32,
) -> i32 {
    const YEAR: f64 = 365.25;
    let kept = in_service_day + (between(rng, 6.5, 12.0) * YEAR) as i32;
    let from = window_start.max(joined_day.unwrap_or(in_service_day));
    // Those whose time was up before the window still stood in the fleet when it began.
    let kept = if kept <= from + 30 {
        from + 30 + whole(rng, 0, i64::from((last_day - from).max(1)) * 2) as i32
    } else {
        kept
    };
    let lost = from + 30 - ((1.0 - between(rng, 0.0, 1.0)).ln() / 0.02 * YEAR).min(2e8) as i32;
    kept.min(lost)
}

fn vin(prefix: &str, model_year: i32, index: u64) -> String {
    let unchecked = format!(
        "{prefix}0{}K{:06}",
        model_year_letter(model_year),
        index % 1_000_000
    );
    let digit = make_check_digit(&unchecked).unwrap_or('0');
    format!("{prefix}{digit}{}", &unchecked[9..])
}

/// Position 10 of a VIN, 49 CFR 565.15 Table VII: 30 letters and digits in turn.
pub fn model_year_letter(year: i32) -> char {
    const LETTERS: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";
    LETTERS[(year - 1980).rem_euclid(30) as usize] as char
}
