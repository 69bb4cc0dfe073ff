//! What one column of the model is: its words, its topic, its scale and its prior; and the scale of lost ability.

use trade::calendar::DAYS_A_YEAR;

use super::frame::{Frame, Number};

/// Share of rated cranking ability of a new battery: makers deliver a little more than the label.
/// `common practice, no source`
pub const HEALTH_WHEN_NEW: f64 = 1.05;

/// Faults of making strike new batteries too, so the hazard does not fall to none with the wear: about
/// this loss counts for none. `common practice, no source`
const LOST_BY_MAKING: f64 = 0.15;

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

impl Topic {
    pub const ALL: [Topic; 9] = [
        Topic::Age,
        Topic::Tests,
        Topic::Voltage,
        Topic::Codes,
        Topic::Mishaps,
        Topic::Weather,
        Topic::Kind,
        Topic::Usage,
        Topic::PastFailures,
    ];

    /// What the table of chances calls it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Topic::Age => "age",
            Topic::Tests => "tests",
            Topic::Voltage => "voltage",
            Topic::Codes => "codes",
            Topic::Mishaps => "shop events",
            Topic::Weather => "weather",
            Topic::Kind => "kind",
            Topic::Usage => "usage",
            Topic::PastFailures => "past failures",
        }
    }

    /// The topic of that name.
    pub fn named(name: &str) -> Option<Topic> {
        Topic::ALL.into_iter().find(|topic| topic.as_str() == name)
    }
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
    pub fn new(name: &str, about: &str, topic: Topic, scale: Scale, values: Vec<f64>) -> Self {
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

    pub(super) fn leading(mut self, centre: f64) -> Self {
        self.centre = centre;
        self.factor = 0.001;
        self
    }
}

pub(super) fn flag(is: bool) -> f64 {
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

/// The ability lost by age and chemistry alone: in its usual life a battery goes from its label to 60 %
/// of it. `common practice, no source`
pub fn prior_lost(age_years: f64, chemistry: Option<&str>) -> f64 {
    HEALTH_WHEN_NEW - 1.0 + 0.4 * age_years / usual_life_years(chemistry)
}

/// The age in the middle of the horizon, in years.
pub fn age_years(frame: &Frame, row: usize, horizon_days: f64) -> f64 {
    // A battery older than twenty-five years is a wrong cell.
    (frame.number(Number::AgeDays, row) + horizon_days / 2.0).clamp(1.0, 9_131.0) / DAYS_A_YEAR
}

/// The name of the leading column.
pub const LOST: &str = "log lost ability";

/// Logarithm of the ability lost, levelling off where faults of making count for more than wear.
pub fn log_lost(lost: f64) -> f64 {
    lost.clamp(0.0, 1.0).hypot(LOST_BY_MAKING).ln()
}

/// How fast `log_lost` rises, per share of the rating.
pub fn log_lost_slope(lost: f64) -> f64 {
    let lost = lost.clamp(0.0, 1.0);
    lost / (lost * lost + LOST_BY_MAKING * LOST_BY_MAKING)
}

/// The column of a battery's last test, which is a way of foretelling by itself.
pub const LAST_TEST: &str = "last test";
