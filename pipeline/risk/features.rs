//! What the model looks at: the columns of a row, each with its words, its topic and its prior.
//!
//! A value that is not known is NaN and stands for the average; that it is not known is a column of
//! its own. How columns are scaled is left to `scaled`.

use super::cold::{Outlook, of_cold};
use super::feature::{
    Feature, HEALTH_WHEN_NEW, LAST_TEST, LOST, Scale, Topic, age_years, flag, log_lost,
};
use super::frame::{Frame, Number, Word};

/// The names of the columns of a battery found discharged and not tested charged since.
pub const DISCHARGED_LAST: &str = "discharged last";
pub const DISCHARGED_LOST: &str = "lost when discharged";

/// Half the rating is about what batteries found discharged read. `common practice, no source`
const HALF_LOST: f64 = HEALTH_WHEN_NEW - 0.5;

/// The name of the column of heat to come.
pub const HEAT_AHEAD: &str = "heat ahead";

/// The name of the column of heat gone by: what wore in it fails in the weeks after.
pub const HEAT_BEHIND: &str = "heat behind";

fn unknown(frame: &Frame, name: Number) -> Vec<f64> {
    frame.map(|row| flag(frame.number(name, row).is_nan()))
}

fn logged(frame: &Frame, name: Number) -> Vec<f64> {
    frame.map(|row| frame.number(name, row).ln_1p())
}

pub(super) fn age_in_doubt(frame: &Frame) -> Feature {
    Feature::new(
        "age in doubt",
        "the install day is not on record",
        Topic::Age,
        Scale::Flag,
        frame.map(|row| flag(frame.number(Number::UncertaintyDays, row) > 60.0)),
    )
}

pub(super) fn untested(frame: &Frame) -> Feature {
    Feature::new(
        "untested",
        "no test of its health so far",
        Topic::Tests,
        Scale::Flag,
        unknown(frame, Number::Health),
    )
}

/// Whether its last test found it discharged, and none since has found it charged.
pub(super) fn found_discharged(frame: &Frame, row: usize) -> bool {
    !frame.number(Number::DaysSinceDischarged, row).is_nan()
}

pub(super) fn discharged_last(frame: &Frame) -> Feature {
    Feature::new(
        DISCHARGED_LAST,
        "found discharged, and not tested charged since",
        Topic::Tests,
        Scale::Flag,
        frame.map(|row| flag(found_discharged(frame, row))),
    )
}

pub(super) fn heat(frame: &Frame) -> Feature {
    Feature::new(
        "heat",
        "heat of the depot over the last year, logarithm",
        Topic::Weather,
        Scale::Centred,
        frame.map(|row| frame.number(Number::Heat, row).ln()),
    )
}

pub(super) fn heat_not_known(frame: &Frame) -> Feature {
    Feature::new(
        "heat not known",
        "less than 300 days of weather",
        Topic::Weather,
        Scale::Flag,
        unknown(frame, Number::Heat),
    )
}

pub(super) fn distance_driven(frame: &Frame) -> Feature {
    Feature::new(
        "use",
        "distance driven a day, logarithm",
        Topic::Usage,
        Scale::Centred,
        logged(frame, Number::KmPerDay),
    )
}

pub(super) fn distance_not_known(frame: &Frame) -> Feature {
    Feature::new(
        "use not known",
        "no two odometer readings",
        Topic::Usage,
        Scale::Flag,
        unknown(frame, Number::KmPerDay),
    )
}

pub(super) fn failed_before(frame: &Frame) -> Feature {
    Feature::new(
        "failed before",
        "batteries that failed here before",
        Topic::PastFailures,
        Scale::Spread,
        logged(frame, Number::FailedBefore),
    )
}

/// The columns of the hazard; `lost_ability` is what each row's battery has lost by now.
pub fn of_hazard(
    frame: &Frame,
    lost_ability: &[f64],
    outlook: Outlook,
    horizon_days: f64,
) -> Vec<Feature> {
    use Scale::{By, Centred};
    use Topic::{Age, Tests, Weather};
    let age = |row: usize| age_years(frame, row, horizon_days);
    let number = |name: Number| frame.map(|row| frame.number(name, row));
    let new = Feature::new;
    let mut features = vec![
        // From 60 down to 40 % of the rating the hazard is believed to rise fourfold: ln 4 over the 0.34 that the
        // levelled logarithm rises. `common practice, no source`
        new(
            LOST,
            "logarithm of the cranking ability lost by now, as expected from age and tests",
            Tests,
            Centred,
            lost_ability.iter().map(|share| log_lost(*share)).collect(),
        )
        .leading(4.0),
        new(
            "log age",
            "logarithm of the age",
            Age,
            Centred,
            frame.map(|row| age(row).ln()),
        )
        .leading(0.0),
        new(
            HEAT_AHEAD,
            "heat in the coming weeks, as in years before, degrees above 30",
            Weather,
            By(3.0),
            number(Number::HeatAhead),
        )
        .leading(0.0),
        new(
            HEAT_BEHIND,
            "heat of the last 13 weeks, degrees above 30",
            Weather,
            By(3.0),
            number(Number::HeatBehind),
        )
        .leading(0.0),
        age_in_doubt(frame),
        untested(frame),
        heat(frame),
        heat_not_known(frame),
        distance_driven(frame),
        distance_not_known(frame),
        failed_before(frame),
    ];
    features.push(
        new(
            LAST_TEST,
            "logarithm of the ability the last test found lost",
            Tests,
            Centred,
            frame.map(|row| log_lost(HEALTH_WHEN_NEW - frame.number(Number::Health, row))),
        )
        .leading(0.0),
    );
    features.push(discharged_last(frame));
    features.push(
        new(
            DISCHARGED_LOST,
            "logarithm of the ability it then read lost, beyond that of half the rating",
            Tests,
            Scale::Spread,
            frame.map(|row| {
                let read = frame.number(Number::DischargedRead, row);
                match read.is_nan() {
                    true => 0.0,
                    false => log_lost(HEALTH_WHEN_NEW - read) - log_lost(HALF_LOST),
                }
            }),
        )
        .leading(0.0),
    );
    features.extend(of_cold(frame, lost_ability, outlook));
    features.extend(signs(frame));
    features.extend(kinds(frame));
    features
}

/// Voltages, codes and mishaps: signs that come and go.
pub(super) fn signs(frame: &Frame) -> Vec<Feature> {
    use Scale::{Flag, Spread};
    use Topic::{Codes, Mishaps, Voltage};
    let logged = |name: Number| logged(frame, name);
    let below = |name: Number, limit: f64| {
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
            below(Number::RestVoltageV, 12.6),
        ),
        new(
            "rest voltage not known",
            "no voltage at rest so far",
            Voltage,
            Flag,
            unknown(frame, Number::RestVoltageV),
        ),
        new(
            "low at scan",
            "volts below 12.2 at a scan of the last 13 weeks",
            Voltage,
            Spread,
            below(Number::LeastSupplyV91, 12.2),
        ),
        new(
            "supply codes of 4 weeks",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged(Number::SupplySessions28),
        ),
        new(
            "supply codes of 13 weeks",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged(Number::SupplySessions91),
        ),
        new(
            "supply codes of a year",
            "sessions with low-voltage codes",
            Codes,
            Spread,
            logged(Number::SupplySessions364),
        ),
        new(
            "lost communication",
            "sessions with such codes in 13 weeks",
            Codes,
            Spread,
            logged(Number::LostSessions91),
        ),
        new(
            "supply floods of 13 weeks",
            "floods of supply and communication codes",
            Codes,
            Spread,
            logged(Number::SupplyFloods91),
        ),
        new(
            "supply floods of a year",
            "floods of supply and communication codes",
            Codes,
            Spread,
            logged(Number::SupplyFloods364),
        ),
        new(
            "sessions",
            "scan sessions in a year",
            Codes,
            Spread,
            logged(Number::Sessions364),
        ),
        new(
            "found discharged",
            "tests that found it discharged",
            Mishaps,
            Spread,
            logged(Number::FoundDischarged),
        ),
        new(
            "charged",
            "orders that charged it",
            Mishaps,
            Spread,
            logged(Number::Charges),
        ),
        new(
            "calls",
            "supply calls it came through",
            Mishaps,
            Spread,
            logged(Number::Calls),
        ),
    ]
}

/// Chemistry, powertrain, size group and place in the vehicle.
pub(super) fn kinds(frame: &Frame) -> Vec<Feature> {
    let further = frame.map(|row| flag(frame.word(Word::Position, row) != Some("main")));
    let mut features = vec![Feature::new(
        "further battery",
        "not the main battery",
        Topic::Kind,
        Scale::Flag,
        further,
    )];
    for (column, what) in [
        (Word::Chemistry, "chemistry"),
        (Word::Powertrain, "powertrain"),
        (Word::BatteryGroup, "size group"),
    ] {
        for level in frame.levels(column) {
            features.push(Feature::new(
                &format!("{what} {level}"),
                &format!("{what} is {level}"),
                Topic::Kind,
                Scale::Flag,
                frame.map(|row| flag(frame.word(column, row) == Some(level.as_str()))),
            ));
        }
    }
    features
}
