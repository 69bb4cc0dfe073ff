//! What instruments read against each other, in SQL.

use arrow::datatypes::DataType;
use datafusion::logical_expr::AggregateUDF;

use super::Documented;
use super::answer::{step_list, steps};
use super::collect::collecting;
use statistics::regression::instrument_effects::{Anchor, Reading, instrument_effects};
use trade::battery::reading::NEW_SHARE;

const FACTOR: [&str; 6] = [
    "instrument",
    "factor",
    "lower",
    "upper",
    "log_sigma",
    "things",
];

/// `instrument_factors(thing, instrument, share, is_new)`.
pub fn instrument_factors() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "instrument_factors",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
            ],
            step_list(&FACTOR),
            |columns| {
                let [things, instruments, shares, new] = columns else {
                    return Ok(steps(&FACTOR, &[]));
                };
                let readings: Vec<Reading> = (0..shares.len())
                    .filter(|row| shares[*row] > 0.0)
                    .map(|row| Reading {
                        thing: things[row].to_bits(),
                        instrument: instruments[row].to_bits(),
                        value: shares[row].ln(),
                        anchored: new[row] != 0.0,
                    })
                    .collect();
                let (level, level_sigma, thing_sigma) = NEW_SHARE;
                let anchor = Anchor {
                    level: level.ln(),
                    level_sigma,
                    thing_sigma,
                };
                let effects = instrument_effects(&readings, anchor).unwrap_or_default();
                let rows: Vec<_> = effects
                    .iter()
                    .map(|found| {
                        let limits = found.limits().map(f64::exp);
                        [
                            Some(f64::from_bits(found.instrument)),
                            Some(found.effect.exp()),
                            Some(limits.lower),
                            Some(limits.upper),
                            Some(found.sigma),
                            Some(found.things as f64),
                        ]
                    })
                    .collect();
                Ok(steps(&FACTOR, &rows))
            },
        ),
        signature: "instrument_factors(thing, instrument, share, is_new)",
        about: "the factor each instrument (a number) reads high by against the others, from the shares of rated ability it read of things (numbers) that others read too, or that are new and so near their rating: a list of structs, one an instrument, with 95 % limits, the sigma of the factor's logarithm and the things it rests on, to UNNEST",
    }
}
