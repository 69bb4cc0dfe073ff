//! Curves in SQL, without a law: survival (also of failures known only to an interval), incidence by
//! cause, and repeat events, step by step.
//!
//! Each answers with a list of structs, one a step, to UNNEST; the list is empty where nothing
//! happened.

use arrow::datatypes::DataType;
use datafusion::error::{DataFusionError, Result};
use datafusion::logical_expr::AggregateUDF;
use datafusion::scalar::ScalarValue;

use super::Documented;
use super::answer::{step_list, steps};
use super::collect::collecting;
use super::life::{Observed, ended_at_entry, observed};
use statistics::lives::aalen_johansen::{CompetingLife, aalen_johansen};
use statistics::lives::kaplan_meier::kaplan_meier;
use statistics::lives::life::IntervalLife;
use statistics::lives::mean_cumulative::{Watched, mean_cumulative};
use statistics::lives::turnbull::turnbull;

const CONFIDENCE: f64 = 0.95;

const SURVIVAL: [&str; 9] = [
    "age",
    "at_risk",
    "failures",
    "survival",
    "lower",
    "upper",
    "cumulative_hazard",
    "given_age",
    "ended_at_entry",
];

/// `survival_steps(entry, exit, failed)`.
pub fn survival_steps() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "survival_steps",
            vec![DataType::Float64, DataType::Float64, DataType::Boolean],
            step_list(&SURVIVAL),
            |columns| {
                let Observed {
                    lives,
                    ended_at_entry,
                } = observed(columns);
                let curve = kaplan_meier(&lives, CONFIDENCE).ok();
                let rows: Vec<_> = curve
                    .iter()
                    .flat_map(|curve| curve.steps.iter().map(|step| (step, curve.given_age)))
                    .map(|(step, given_age)| {
                        [
                            Some(step.age),
                            Some(step.at_risk as f64),
                            Some(step.events as f64),
                            Some(step.survival),
                            step.limits.map(|limits| limits.lower),
                            step.limits.map(|limits| limits.upper),
                            Some(step.cumulative_hazard),
                            Some(given_age),
                            Some(ended_at_entry),
                        ]
                    })
                    .collect();
                Ok(steps(&SURVIVAL, &rows))
            },
        ),
        signature: "survival_steps(entry, exit, failed)",
        about: "Kaplan–Meier steps with log-log 95 % limits for lives observed from entry to exit, of those that reach given_age (0: of all; above 0 where all that were followed at first had failed before the others entered): a list of structs, one a failure age, to UNNEST; ended_at_entry counts failures at the very age of entry, which are in no step",
    }
}

const INTERVALS: [&str; 5] = [
    "from_age",
    "to_age",
    "chance",
    "survival_after",
    "ended_at_entry",
];

/// `interval_steps(entry, alive_at, failed_by, failed)`.
pub fn interval_steps() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "interval_steps",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
            ],
            step_list(&INTERVALS),
            intervals,
        ),
        signature: "interval_steps(entry, alive_at, failed_by, failed)",
        about: "Turnbull's survival of lives, observed from entry, that failed between two ages (equal: at that age); where failed is false the life was last seen alive at alive_at and failed_by, which must be a number, is not looked at: a list of structs, one an interval in which some fail (to_age null: beyond all that was seen), to UNNEST; empty where the estimate cannot be found; ended_at_entry as in survival_steps",
    }
}

fn intervals(columns: &[Vec<f64>]) -> Result<ScalarValue> {
    let [entries, alive, failed_by, failed] = columns else {
        return Ok(steps(&INTERVALS, &[]));
    };
    let lives: Vec<IntervalLife> = (0..entries.len())
        .map(|row| IntervalLife {
            entry: entries[row],
            alive_at: alive[row],
            failed_by: if failed[row] > 0.5 {
                failed_by[row]
            } else {
                f64::INFINITY
            },
        })
        .filter(|life| {
            life.entry >= 0.0
                && life.alive_at >= life.entry
                && life.failed_by >= life.alive_at
                && life.failed_by > life.entry
        })
        .collect();
    let failed = failed.iter().map(|failed| *failed > 0.5);
    let spans = entries.iter().zip(failed_by).zip(failed);
    let at_entry = ended_at_entry(spans.map(|((entry, by), failed)| (entry, by, failed)));
    let masses = turnbull(&lives)
        .map(|survival| survival.masses)
        .unwrap_or_default();
    let rows: Vec<_> = masses
        .iter()
        .map(|mass| {
            [
                Some(mass.from),
                Some(mass.to),
                Some(mass.chance),
                Some(mass.survival_after),
                Some(at_entry),
            ]
        })
        .collect();
    Ok(steps(&INTERVALS, &rows))
}

const INCIDENCE: [&str; 10] = [
    "age",
    "at_risk",
    "cause",
    "ends",
    "incidence",
    "lower",
    "upper",
    "survival",
    "given_age",
    "ended_at_entry",
];

/// More causes than this are a column mistaken for one of causes.
const MOST_CAUSES: usize = 32;

/// `incidence_steps(entry, exit, cause)`.
pub fn incidence_steps() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "incidence_steps",
            vec![DataType::Float64, DataType::Float64, DataType::Float64],
            step_list(&INCIDENCE),
            incidence,
        ),
        signature: "incidence_steps(entry, exit, cause)",
        about: "Aalen–Johansen cumulative incidence of each cause, the others competing, with log-log 95 % limits; cause 0 has not ended, any other number is a cause; of those that reach given_age, as in survival_steps: a list of structs, one an age and a cause that ended some there, to UNNEST; ended_at_entry as there",
    }
}

fn incidence(columns: &[Vec<f64>]) -> Result<ScalarValue> {
    let mut causes: Vec<f64> = columns[2].clone();
    causes.retain(|cause| *cause != 0.0);
    causes.sort_unstable_by(f64::total_cmp);
    causes.dedup();
    if causes.len() > MOST_CAUSES {
        return Err(DataFusionError::Execution(format!(
            "incidence_steps: {} different causes, at most {MOST_CAUSES} are allowed; \
             give a number a cause and 0 for lives that have not ended",
            causes.len()
        )));
    }
    let lives: Vec<CompetingLife> = columns[0]
        .iter()
        .zip(&columns[1])
        .zip(&columns[2])
        .filter(|((entry, exit), _)| **entry >= 0.0 && exit > entry)
        .map(|((entry, exit), cause)| CompetingLife {
            entry: *entry,
            exit: *exit,
            cause: causes.iter().position(|known| known == cause),
        })
        .collect();
    let at_entry = ended_at_entry(
        columns[0]
            .iter()
            .zip(&columns[1])
            .zip(&columns[2])
            .map(|((entry, exit), cause)| (entry, exit, *cause != 0.0)),
    );
    let curve = aalen_johansen(&lives, causes.len(), CONFIDENCE).ok();
    let given_age = curve.as_ref().map(|curve| curve.given_age);
    let rows: Vec<_> = curve
        .iter()
        .flat_map(|curve| &curve.steps)
        .flat_map(|step| step.causes.iter().zip(&causes).map(move |own| (step, own)))
        .filter(|(_, (own, _))| own.events > 0)
        .map(|(step, (own, cause))| {
            [
                Some(step.age),
                Some(step.at_risk as f64),
                Some(*cause),
                Some(own.events as f64),
                Some(own.incidence),
                own.limits.map(|limits| limits.lower),
                own.limits.map(|limits| limits.upper),
                Some(step.survival),
                given_age,
                Some(at_entry),
            ]
        })
        .collect();
    Ok(steps(&INCIDENCE, &rows))
}

const REPEATS: [&str; 6] = ["age", "at_risk", "events", "mean", "lower", "upper"];

/// `mean_cumulative_steps(unit, entry, age, event)`.
pub fn mean_cumulative_steps() -> Documented<AggregateUDF> {
    Documented {
        function: collecting(
            "mean_cumulative_steps",
            vec![
                DataType::Float64,
                DataType::Float64,
                DataType::Float64,
                DataType::Boolean,
            ],
            step_list(&REPEATS),
            repeats,
        ),
        signature: "mean_cumulative_steps(unit, entry, age, event)",
        about: "Nelson's mean cumulative function of repeat events with robust 95 % limits; a unit (a number) has a row for each event and one with event false for the end of its watch, which began at entry: a list of structs, one an age with events, to UNNEST",
    }
}

/// A unit's watch: when it began and ended, and which of the event ages fall into it.
struct Watch {
    start: f64,
    end: f64,
    events: std::ops::Range<usize>,
}

fn repeats(columns: &[Vec<f64>]) -> Result<ScalarValue> {
    let [units, entries, ages, happened] = columns else {
        return Ok(steps(&REPEATS, &[]));
    };
    let mut events = Vec::new();
    let mut watches = Vec::new();
    let rows: Vec<usize> = (0..units.len()).collect();
    for own in rows.chunk_by(|left, right| units[*left] == units[*right]) {
        let start = entries[own[0]].max(0.0);
        let end = own.iter().fold(0.0, |end, row| f64::max(end, ages[*row]));
        let before = events.len();
        let seen = own
            .iter()
            .filter(|row| happened[**row] > 0.5 && ages[**row] > start);
        events.extend(seen.map(|row| ages[*row]));
        if end > start {
            watches.push(Watch {
                start,
                end,
                events: before..events.len(),
            });
        }
    }
    let subjects: Vec<Watched> = watches
        .iter()
        .map(|watch| Watched {
            start: watch.start,
            end: watch.end,
            events: &events[watch.events.clone()],
        })
        .collect();
    let rows: Vec<_> = mean_cumulative(&subjects, CONFIDENCE)
        .unwrap_or_default()
        .iter()
        .map(|step| {
            [
                Some(step.age),
                Some(step.at_risk as f64),
                Some(step.events as f64),
                Some(step.mean),
                Some(step.limits.lower),
                Some(step.limits.upper),
            ]
        })
        .collect();
    Ok(steps(&REPEATS, &rows))
}
