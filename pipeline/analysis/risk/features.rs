//! What the model looks at: the columns of a row, each with its words, its topic and its prior.
//!
//! A value that is not known is NaN and stands for the average; that it is not known is a column of
//! its own. How columns are scaled is left to `scaled`.

use super::frame::Frame;

const DAYS_A_YEAR: f64 = 365.25;

/// Share of rated cranking ability of a new battery: makers deliver a little more than the label.
/// `common practice, no source`
pub const HEALTH_WHEN_NEW: f64 = 1.05;

/// The least lost ability that is told from none.
const LEAST_LOST: f64 = 0.05;

/// What a column is about, in the reasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Topic {
    Age,
    Tests,
    Voltage,
    Codes,
    Mishaps,
    Weather,
    Kind,
    Usage,
    PastFailures,
}

/// How a column is brought to a common scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Less its mean, by its standard deviation.
    Centred,
    /// By its standard deviation; 0 stays 0.
    Spread,
    /// By a scale of its own, for what may vary more in the weeks ahead than it did so far.
    By(f64),
    /// A yes or no, left as it is.
    Flag,
}

/// One column.
pub struct Feature {
    pub name: String,
    pub about: String,
    pub topic: Topic,
    pub scale: Scale,
    /// Prior slope of the unscaled column.
    pub centre: f64,
    /// How strongly the slope is drawn to it, as a factor on the penalty.
    pub factor: f64,
    pub values: Vec<f64>,
}

impl Feature {
    fn new(name: &str, about: &str, topic: Topic, scale: Scale, values: Vec<f64>) -> Self {
        Self {
            name: name.to_owned(),
            about: about.to_owned(),
            topic,
            scale,
            centre: 0.0,
            // A flag that holds for one row in ten has a variance of about a tenth.
            factor: if scale == Scale::Flag { 0.1 } else { 1.0 },
            values,
        }
    }

    fn leading(mut self, centre: f64) -> Self {
        self.centre = centre;
        self.factor = 0.01;
        self
    }
}

fn flag(is: bool) -> f64 {
    if is { 1.0 } else { 0.0 }
}

/// The usual life of a chemistry in years, for the prior. `common practice, no source`
pub fn usual_life_years(chemistry: Option<&str>) -> f64 {
    match chemistry {
        Some("flooded") => 5.0,
        Some("AGM" | "gel") => 7.0,
        Some("lithium") => 10.0,
        // EFB, and what is not known.
        _ => 6.0,
    }
}

/// The health expected by age and chemistry alone: in its usual life a battery goes from its
/// label to 60 % of it. `common practice, no source`
pub fn prior_health(age_years: f64, chemistry: Option<&str>) -> f64 {
    1.0 - 0.4 * age_years / usual_life_years(chemistry)
}

/// The age in the middle of the horizon, in years.
pub fn age_years(frame: &Frame, row: usize, horizon_days: f64) -> f64 {
    (frame.number("age_days", row) + horizon_days / 2.0).max(1.0) / DAYS_A_YEAR
}

fn tests(frame: &Frame, row: usize) -> f64 {
    let tests = frame.number("health_tests", row);
    if tests.is_nan() { 0.0 } else { tests }
}

/// Lost ability per year of age, over all tests so far: the slope of a line through a new battery's
/// health, drawn to 7.5 points a year as by tests at ages whose squares add up to 3.
fn lost_per_year(frame: &Frame, row: usize) -> f64 {
    let (drawn_to, weight) = (0.075, 3.0);
    let lost = HEALTH_WHEN_NEW * frame.number("age_sum", row) - frame.number("age_health_sum", row);
    (lost + weight * drawn_to) / (frame.number("age_square_sum", row) + weight)
}

/// The columns that tell the health a test today would show.
pub fn of_health(frame: &Frame, horizon_days: f64) -> Vec<Feature> {
    use Scale::{Centred, Flag, Spread};
    use Topic::{Age, Kind, PastFailures, Tests, Usage, Weather};
    let age = |row: usize| age_years(frame, row, horizon_days);
    let tested = |row: usize| tests(frame, row) > 0.0;
    let when_tested = |row: usize, value: f64| if tested(row) { value } else { 0.0 };
    let heat = |row: usize| {
        let heat = frame.number("heat", row);
        if heat.is_nan() {
            0.0
        } else {
            age(row) * (heat / 0.6).ln()
        }
    };
    let usage = |row: usize| {
        let km = frame.number("km_per_day", row);
        if km.is_nan() {
            0.0
        } else {
            age(row) * (km.ln_1p() - 80.0_f64.ln_1p())
        }
    };
    let doubtful = |row: usize| flag(frame.number("uncertainty_days", row) > 60.0);
    let aside = |row: usize| flag(frame.word("position", row) != Some("main"));
    let projected = |row: usize| when_tested(row, (lost_per_year(frame, row) - 0.075) * age(row));
    let last_lost = |row: usize| when_tested(row, HEALTH_WHEN_NEW - frame.number("health", row));
    let since = |row: usize| when_tested(row, frame.number("days_since_health", row) / DAYS_A_YEAR);
    let new = Feature::new;
    let mut features = vec![
        new("age", "age in years", Age, Centred, frame.map(age)),
        new(
            "age squared",
            "square of the age",
            Age,
            Centred,
            frame.map(|row| age(row).powi(2)),
        ),
        new(
            "age in doubt",
            "the install day is not on record",
            Age,
            Flag,
            frame.map(doubtful),
        ),
        new(
            "age if in doubt",
            "age where the install day is not on record",
            Age,
            Spread,
            frame.map(|row| doubtful(row) * age(row)),
        ),
        new(
            "untested",
            "no test of its health so far",
            Tests,
            Flag,
            frame.map(|row| flag(!tested(row))),
        ),
        new(
            "age if tested",
            "age where tested",
            Age,
            Spread,
            frame.map(|row| when_tested(row, age(row))),
        ),
        new(
            "projected loss",
            "loss of ability that all its tests project to today, beyond the usual",
            Tests,
            Spread,
            frame.map(projected),
        ),
        new(
            "projected loss of few tests",
            "the same, by one more than the tests it rests on",
            Tests,
            Spread,
            frame.map(|row| projected(row) / (1.0 + tests(frame, row))),
        ),
        new(
            "last loss",
            "ability lost by the last test",
            Tests,
            Spread,
            frame.map(last_lost),
        ),
        new(
            "last loss grown old",
            "the same times years since",
            Tests,
            Spread,
            frame.map(|row| last_lost(row) * since(row)),
        ),
        new(
            "years since test",
            "years since the last test of its health",
            Tests,
            Spread,
            frame.map(since),
        ),
        new(
            "mean loss",
            "ability lost in the mean of its tests",
            Tests,
            Spread,
            frame.map(|row| {
                when_tested(
                    row,
                    HEALTH_WHEN_NEW - frame.number("health_sum", row) / tests(frame, row),
                )
            }),
        ),
        new(
            "heat by age",
            "heat of the depot over the last year, times age",
            Weather,
            Centred,
            frame.map(heat),
        ),
        new(
            "heat not known",
            "less than 300 days of weather",
            Weather,
            Flag,
            frame.map(|row| flag(frame.number("heat", row).is_nan())),
        ),
        new(
            "use by age",
            "distance driven a day, times age",
            Usage,
            Spread,
            frame.map(usage),
        ),
        new(
            "further battery",
            "not the main battery",
            Kind,
            Flag,
            frame.map(aside),
        ),
        new(
            "further battery by age",
            "age where not the main battery",
            Kind,
            Spread,
            frame.map(|row| aside(row) * age(row)),
        ),
        new(
            "failed before",
            "batteries that failed here before",
            PastFailures,
            Spread,
            frame.map(|row| frame.number("failed_before", row).ln_1p()),
        ),
    ];
    features.extend(signs(frame));
    features.extend(kinds(frame, &|row| age(row)));
    features
}

/// The columns of the hazard; `health` is what a test today would show.
pub fn of_hazard(frame: &Frame, health: &[f64], horizon_days: f64) -> Vec<Feature> {
    use Scale::{By, Centred, Flag, Spread};
    use Topic::{Age, Kind, PastFailures, Tests, Usage, Weather};
    let age = |row: usize| age_years(frame, row, horizon_days);
    let tested = |row: usize| tests(frame, row) > 0.0;
    let when_tested = |row: usize, value: f64| if tested(row) { value } else { 0.0 };
    let unknown = |name: &'static str| frame.map(|row| flag(frame.number(name, row).is_nan()));
    let logged = |name: &'static str| frame.map(|row| frame.number(name, row).ln_1p());
    let number = |name: &'static str| frame.map(|row| frame.number(name, row));
    let new = Feature::new;
    let mut features = vec![
        // Hazards of wear-out rise about as the power 1.5 of the wear: a Weibull shape of 2.5.
        // `common practice, no source`
        new(
            LOST,
            "logarithm of the cranking ability lost by now, as expected from age and tests",
            Tests,
            Centred,
            health.iter().map(|health| lost(*health)).collect(),
        )
        .leading(1.5),
        new(
            "log age",
            "logarithm of the age",
            Age,
            Centred,
            frame.map(|row| age(row).ln()),
        )
        .leading(0.0),
        new(
            "cold ahead",
            "frost in the coming weeks, as a year before, degrees below 0",
            Weather,
            By(3.0),
            number("cold_ahead"),
        )
        .leading(0.0),
        new(
            "heat ahead",
            "heat in the coming weeks, as a year before, degrees above 30",
            Weather,
            By(3.0),
            number("heat_ahead"),
        )
        .leading(0.0),
        new(
            "age in doubt",
            "the install day is not on record",
            Age,
            Flag,
            frame.map(|row| flag(frame.number("uncertainty_days", row) > 60.0)),
        ),
        new(
            "untested",
            "no test of its health so far",
            Tests,
            Flag,
            frame.map(|row| flag(!tested(row))),
        ),
        new(
            "last loss",
            "ability lost by the last test",
            Tests,
            Spread,
            frame.map(|row| when_tested(row, HEALTH_WHEN_NEW - frame.number("health", row))),
        ),
        new(
            "years since test",
            "years since the last test of its health",
            Tests,
            Spread,
            frame.map(|row| {
                when_tested(
                    row,
                    (frame.number("days_since_health", row) / DAYS_A_YEAR * 4.0).ln_1p(),
                )
            }),
        ),
        new(
            "tests",
            "tests of its health so far, logarithm",
            Tests,
            Spread,
            frame.map(|row| tests(frame, row).ln_1p()),
        ),
        new(
            "heat",
            "heat of the depot over the last year, logarithm",
            Weather,
            Centred,
            frame.map(|row| frame.number("heat", row).ln()),
        ),
        new(
            "heat not known",
            "less than 300 days of weather",
            Weather,
            Flag,
            unknown("heat"),
        ),
        new(
            "use",
            "distance driven a day, logarithm",
            Usage,
            Centred,
            logged("km_per_day"),
        ),
        new(
            "use not known",
            "no two odometer readings",
            Usage,
            Flag,
            unknown("km_per_day"),
        ),
        new(
            "further battery",
            "not the main battery",
            Kind,
            Flag,
            frame.map(|row| flag(frame.word("position", row) != Some("main"))),
        ),
        new(
            "failed before",
            "batteries that failed here before",
            PastFailures,
            Spread,
            logged("failed_before"),
        ),
    ];
    features.extend(signs(frame));
    features.extend(kinds(frame, &|_| 1.0));
    features
}

/// The name of the leading column.
pub const LOST: &str = "log lost ability";

/// Logarithm of the ability lost.
pub fn lost(health: f64) -> f64 {
    (HEALTH_WHEN_NEW - health).clamp(LEAST_LOST, 1.0).ln()
}

/// Voltages, codes and mishaps: signs that come and go.
fn signs(frame: &Frame) -> Vec<Feature> {
    use Scale::{Flag, Spread};
    use Topic::{Codes, Mishaps, Voltage};
    let logged = |name: &'static str| frame.map(|row| frame.number(name, row).ln_1p());
    let below = |name: &'static str, limit: f64| {
        frame.map(|row| {
            let value = frame.number(name, row);
            if value.is_nan() {
                0.0
            } else {
                (limit - value).clamp(0.0, 2.0)
            }
        })
    };
    let new = Feature::new;
    vec![
        new(
            "low at rest",
            "volts below 12.6 at rest at the last test",
            Voltage,
            Spread,
            below("rest_voltage_v", 12.6),
        ),
        new(
            "rest voltage not known",
            "no voltage at rest so far",
            Voltage,
            Flag,
            frame.map(|row| flag(frame.number("rest_voltage_v", row).is_nan())),
        ),
        new(
            "low at scan",
            "volts below 12.2 at a scan of the last 13 weeks",
            Voltage,
            Spread,
            below("least_supply_v_91", 12.2),
        ),
        new(
            "supply codes of 4 weeks",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged("supply_sessions_28"),
        ),
        new(
            "supply codes of 13 weeks",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged("supply_sessions_91"),
        ),
        new(
            "supply codes of a year",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged("supply_sessions_364"),
        ),
        new(
            "lost communication",
            "sessions with such codes in 13 weeks",
            Codes,
            Spread,
            logged("lost_sessions_91"),
        ),
        new(
            "supply floods of 13 weeks",
            "floods of supply and communication codes",
            Codes,
            Spread,
            logged("supply_floods_91"),
        ),
        new(
            "supply floods of a year",
            "floods of supply and communication codes",
            Codes,
            Spread,
            logged("supply_floods_364"),
        ),
        new(
            "sessions",
            "scan sessions in a year",
            Codes,
            Spread,
            logged("sessions_364"),
        ),
        new(
            "found discharged",
            "tests that found it discharged",
            Mishaps,
            Spread,
            logged("found_discharged"),
        ),
        new(
            "charged",
            "orders that charged it",
            Mishaps,
            Spread,
            logged("charges"),
        ),
        new(
            "calls",
            "supply calls it came through",
            Mishaps,
            Spread,
            logged("calls"),
        ),
    ]
}

/// Chemistry, powertrain and size group: flags, or the age where they hold.
fn kinds(frame: &Frame, value: &dyn Fn(usize) -> f64) -> Vec<Feature> {
    let mut features = Vec::new();
    for (column, what) in [
        ("chemistry", "chemistry"),
        ("powertrain", "powertrain"),
        ("battery_group", "size group"),
    ] {
        for level in frame.levels(column) {
            let values =
                frame.map(|row| flag(frame.word(column, row) == Some(level.as_str())) * value(row));
            features.push(Feature::new(
                &format!("{what} {level}"),
                &format!("{what} is {level}"),
                Topic::Kind,
                Scale::Flag,
                values,
            ));
        }
    }
    features
}
