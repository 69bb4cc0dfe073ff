//! The columns of cold: the coldest morning of the weeks ahead, and how far it lies beyond what the battery
//! came through.
//!
//! Cold reveals what has worn, so failures go with the *coldest morning*, the more so the more is lost, and
//! a battery that has just started on such a morning fails on the next colder one. The hazard is fitted to the
//! coldest morning that came; nobody knows that of the weeks ahead, so a chance is the mean over mornings
//! as cold as those the depot's recorded years had in these weeks ([`OUTLOOKS`]). Nothing here fails.

use super::feature::{Feature, Scale, Topic, log_lost};
use super::frame::{Frame, Number};

/// Mornings looked at for a chance, in standard deviations from the mean of the coldest morning: the middles
/// of five equally likely parts of the normal distribution.
pub const OUTLOOKS: [f64; 5] = [-1.281_552, -0.524_401, 0.0, 0.524_401, 1.281_552];

/// Which coldest morning the columns are made for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outlook {
    /// The one that came; where that is not known, the mean of those that may.
    Came,
    /// One that may come, in standard deviations from the mean.
    MayCome(f64),
}

/// From one year to another the coldest morning of some weeks differs by about 3 degrees, and what is known
/// of a depot counts for so many years beside it. `common practice, no source`
const USUAL_SD_C: f64 = 3.0;
const USUAL_YEARS: f64 = 4.0;

/// Batteries alike in all that is on record fail on mornings some 8 degrees apart, as vehicles ask for more
/// or less and charge comes and goes. `common practice, no source`
pub const OWN_MORNING_SD_C: f64 = 8.0;

/// What was survived counts for less as the battery wears on: so many degrees a year.
/// `common practice, no source`
const FADES_C_A_YEAR: f64 = 6.0;

/// `common practice, no source`
const SPARE_WHEN_NEW_C: f64 = 5.0;

/// Above this no morning asks more of a battery than another. `common practice, no source`
const NOT_COLD_C: f64 = 10.0;
/// `common practice, no source`
const DEEP_FROST_C: f64 = -5.0;
/// A morning so many tens of degrees colder than the quarter's coldest asks for no more than it did.
/// `common practice, no source`
const NEARLY_AS_COLD: f64 = 0.5;
/// Degrees that a scaled column counts as one.
const DEGREES: f64 = 10.0;

/// The coldest mornings on record, with the days back from and to which they were.
const SURVIVED: [(Number, f64, f64); 5] = [
    (Number::Coldest28, 0.0, 28.0),
    (Number::Coldest91, 28.0, 91.0),
    (Number::Coldest182, 91.0, 182.0),
    (Number::Coldest364, 182.0, 364.0),
    (Number::Coldest728, 364.0, 728.0),
];

/// The coldest morning of the weeks ahead in degrees C, NaN where no year is on record.
pub fn coldest_ahead(frame: &Frame, row: usize, outlook: Outlook) -> f64 {
    let mean = frame.number(Number::ColdAhead, row);
    match outlook {
        Outlook::Came => {
            let came = frame.number(Number::ColdestCame, row);
            if came.is_nan() { mean } else { came }
        }
        Outlook::MayCome(deviations) => mean + deviations * sd_ahead(frame, row),
    }
}

/// Standard deviation of the coldest morning ahead about its mean, of which few years tell little.
pub fn sd_ahead(frame: &Frame, row: usize) -> f64 {
    let years = frame.number(Number::YearsAhead, row).max(1.0);
    let seen = frame.number(Number::ColdAheadVariance, row).max(0.0);
    let variance = (years * seen + USUAL_YEARS * USUAL_SD_C.powi(2)) / (years + USUAL_YEARS);
    (variance * (1.0 + 1.0 / years)).sqrt()
}

/// The coldest morning of a usual year of the last two, NaN below 300 days of weather.
fn usual_coldest(frame: &Frame, row: usize) -> f64 {
    let coldest = |buckets: &[(Number, f64, f64)]| {
        let mornings = buckets
            .iter()
            .map(|(column, ..)| frame.number(*column, row));
        mornings.fold(f64::NAN, f64::min)
    };
    if frame.number(Number::Heat, row).is_nan() {
        return f64::NAN;
    }
    let (last, before) = (coldest(&SURVIVED[..4]), coldest(&SURVIVED[4..]));
    if before.is_nan() {
        last
    } else {
        0.5 * (last + before)
    }
}

/// The coldest morning the battery came through, or would have when it was new, less cold the longer ago; NaN
/// where nothing is on record.
fn coldest_survived(frame: &Frame, row: usize) -> f64 {
    let age_days = frame.number(Number::AgeDays, row);
    let faded = |morning_c: f64, days: f64| morning_c + FADES_C_A_YEAR * days / 365.25;
    // A vehicle is fitted for the cold of its place, and a new battery has something to spare.
    let when_new = faded(usual_coldest(frame, row) - SPARE_WHEN_NEW_C, age_days);
    SURVIVED
        .iter()
        .filter(|(_, from, to)| age_days >= 0.5 * (from + to))
        .map(|(column, from, to)| faded(frame.number(*column, row), 0.5 * (from + to)))
        .fold(when_new, f64::min)
}

/// How cold a coldest morning is, in tens of degrees.
pub fn cold(morning_c: f64) -> f64 {
    ((NOT_COLD_C - morning_c) / DEGREES).clamp(0.0, 6.0)
}

/// The same of deep frost alone, in which a battery gives least and an engine asks for most.
pub fn deep_frost(morning_c: f64) -> f64 {
    ((DEEP_FROST_C - morning_c) / DEGREES).clamp(0.0, 4.0)
}

/// How much warmer a coldest morning is than the coldest of the quarter before it: who came through that is safe for
/// now, in spring more than in autumn. Nothing where no quarter is on record.
pub fn warming(morning_c: f64, behind_c: f64) -> f64 {
    let warmer = (morning_c - behind_c) / DEGREES;
    match warmer.is_nan() {
        true => 0.0,
        false => (warmer + NEARLY_AS_COLD).clamp(0.0, 3.0),
    }
}

/// How far the coldest morning ahead lies beyond the coldest the battery came through, in tens of degrees.
pub fn strain(frame: &Frame, row: usize, outlook: Outlook) -> f64 {
    let beyond = (coldest_survived(frame, row) - coldest_ahead(frame, row, outlook)) / DEGREES;
    match beyond.is_nan() {
        true => 0.0,
        false => beyond.clamp(0.0, 4.0),
    }
}

/// The columns.
pub fn of_cold(frame: &Frame, lost_ability: &[f64], outlook: Outlook) -> Vec<Feature> {
    let ahead = |row: usize| coldest_ahead(frame, row, outlook);
    let strain = |row: usize| strain(frame, row, outlook);
    let record = |row: usize| {
        let beyond = (usual_coldest(frame, row) - ahead(row)) / DEGREES;
        if beyond.is_nan() {
            0.0
        } else {
            beyond.clamp(0.0, 3.0)
        }
    };
    let cold = |row: usize| cold(ahead(row));
    let behind = |row: usize| {
        let lately = frame.number(Number::Coldest28, row);
        lately.min(frame.number(Number::Coldest91, row))
    };
    let by_lost = |value: f64, row: usize| value * (log_lost(lost_ability[row]) + 1.0);
    let new = |name: &str, about: &str, values: Vec<f64>| {
        Feature::new(name, about, Topic::Weather, Scale::By(1.0), values)
    };
    vec![
        new(
            COLD,
            "coldest morning of the weeks ahead, tens of degrees below 10",
            frame.map(cold),
        )
        .leading(0.0),
        new(
            COLD_ON_LOST,
            "the same times the logarithm of the ability lost",
            frame.map(|row| by_lost(cold(row), row)),
        )
        .leading(0.0),
        new(
            DEEP_FROST,
            "the same below -5 degrees",
            frame.map(|row| deep_frost(ahead(row))),
        )
        .leading(0.0),
        new(
            WARMING,
            "coldest morning ahead over the coldest of the last 13 weeks, tens of degrees",
            frame.map(|row| warming(ahead(row), behind(row))),
        )
        .leading(0.0),
        new(
            "colder than usual",
            "coldest morning ahead beyond the coldest of a usual year, tens of degrees",
            frame.map(record),
        )
        .leading(0.0),
        new(
            "colder than survived",
            "coldest morning ahead beyond the coldest it came through, tens of degrees",
            frame.map(strain),
        )
        .leading(0.0),
        new(
            STRAIN_ON_LOST,
            "the same times the logarithm of the ability lost",
            frame.map(|row| by_lost(strain(row), row)),
        )
        .leading(0.0),
    ]
}

/// The name of the leading one.
pub const COLD: &str = "cold ahead";

/// The name of its bend.
pub const DEEP_FROST: &str = "cold of deep frost";

/// The name of the leading one's product with the lost ability.
pub const COLD_ON_LOST: &str = "cold on lost ability";

/// The name of that of strain.
pub const STRAIN_ON_LOST: &str = "colder than survived on lost ability";

/// The name of the one that tells spring from autumn.
pub const WARMING: &str = "warming";

#[cfg(test)]
mod tests {
    use super::super::frame::Words;
    use super::*;

    /// One row of these numbers.
    fn frame(cells: &[(Number, f64)]) -> Frame {
        let number = |column| {
            let cell = cells.iter().find(|(name, _)| *name == column);
            vec![cell.map_or(f64::NAN, |(_, value)| *value)]
        };
        Frame::new(vec![false], number, |_| Words::default())
    }

    const OLD: [(Number, f64); 9] = [
        (Number::AgeDays, 1_500.0),
        (Number::Heat, 0.4),
        (Number::ColdAhead, -14.0),
        (Number::YearsAhead, 2.0),
        (Number::ColdAheadVariance, 9.0),
        (Number::Coldest28, 2.0),
        (Number::Coldest91, 9.0),
        (Number::Coldest364, -10.0),
        (Number::Coldest728, -12.0),
    ];

    fn value(frame: &Frame, name: &str, outlook: Outlook) -> f64 {
        let features = of_cold(frame, &[0.4], outlook);
        let found = features.iter().find(|feature| feature.name == name);
        found.expect("a column").values[0]
    }

    #[test]
    fn what_was_survived_fades_and_the_rest_is_strain() {
        // -10 degrees 273 days ago (the middle of 182 and 364) counts as -10 + 6 x 0.747 = -5.52 today;
        // -12 degrees 546 days ago as -3.03. The -11 of a usual year less 5 to spare, 1,500 days ago, as +8.64.
        let frame = frame(&OLD);
        let survived = coldest_survived(&frame, 0);
        assert!((survived + 5.515).abs() < 0.01, "{survived}");
        let strain = value(&frame, "colder than survived", Outlook::MayCome(0.0));
        assert!((strain - 0.848).abs() < 0.001, "{strain}");
        // Against a usual year's -11, three degrees.
        let record = value(&frame, "colder than usual", Outlook::MayCome(0.0));
        assert!((record - 0.3).abs() < 1e-9, "{record}");
    }

    #[test]
    fn a_new_battery_is_fitted_for_the_cold_of_its_place() {
        let mut young = OLD.to_vec();
        young[0].1 = 60.0;
        // It came through none of those mornings but that of this month.
        let survived = coldest_survived(&frame(&young), 0);
        assert!(
            (survived - (-16.0 + 6.0 * 60.0 / 365.25)).abs() < 1e-9,
            "{survived}"
        );
    }

    #[test]
    fn few_years_leave_the_coming_cold_open() {
        // Two years with a variance of 9 and four believed years of the same: 9, and half as much for the mean.
        let frame = frame(&OLD);
        assert!((sd_ahead(&frame, 0) - 13.5f64.sqrt()).abs() < 1e-9);
        assert_eq!(coldest_ahead(&frame, 0, Outlook::MayCome(0.0)), -14.0);
        assert!(coldest_ahead(&frame, 0, Outlook::MayCome(-1.0)) < -17.0);
    }

    #[test]
    fn the_fit_sees_the_cold_that_came() {
        let mut seen = OLD.to_vec();
        seen.push((Number::ColdestCame, -21.0));
        assert_eq!(coldest_ahead(&frame(&seen), 0, Outlook::Came), -21.0);
        assert_eq!(coldest_ahead(&frame(&OLD), 0, Outlook::Came), -14.0);
    }

    #[test]
    fn spring_is_told_from_autumn_by_the_quarter_before() {
        // The quarter's coldest was 2 degrees; -14 is colder, and 12 are ten degrees warmer.
        let column = |ahead: f64| {
            let mut cells = OLD.to_vec();
            cells[2].1 = ahead;
            value(&frame(&cells), WARMING, Outlook::MayCome(0.0))
        };
        assert_eq!(column(-14.0), 0.0);
        assert!((column(12.0) - 1.5).abs() < 1e-9);
    }

    #[test]
    fn where_no_weather_is_known_no_column_says_anything() {
        let frame = frame(&[(Number::AgeDays, 900.0)]);
        for feature in of_cold(&frame, &[0.4], Outlook::MayCome(-1.0)) {
            let value = feature.values[0];
            assert!(value.is_nan() || value == 0.0, "{} {value}", feature.name);
        }
    }
}
