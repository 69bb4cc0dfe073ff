//! Cumulative incidence with competing ends: the chance to have ended by each cause.
//!
//! Where an end such as a preventive replacement forestalls failure, one less Kaplan-Meier
//! overstates the chance of failing; this does not. Fails for unusable lives and unknown causes.

use super::kaplan_meier::log_log_limits;
use super::life::{Life, check_lives};
use super::risk_set::AgeIndex;
use crate::input::{InputError, at_least};
use crate::limits::{Limits, two_sided_z};

/// A life that ended by a cause (counted from 0), or was still going.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompetingLife {
    pub entry: f64,
    pub exit: f64,
    pub cause: Option<usize>,
}

/// The incidence of one cause just after one age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Incidence {
    pub events: usize,
    pub incidence: f64,
    pub se: f64,
    /// Limits on the log(-log) scale; `None` while the incidence is 0 or once it is 1.
    pub limits: Option<Limits>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct IncidenceStep {
    pub age: f64,
    pub at_risk: usize,
    /// Chance to have ended by no cause yet.
    pub survival: f64,
    /// One entry a cause.
    pub causes: Vec<Incidence>,
}

/// Cumulative incidences as steps in order of age.
#[derive(Debug, Clone, PartialEq)]
pub struct IncidenceCurve {
    pub steps: Vec<IncidenceStep>,
    pub lives: usize,
    /// As in a survival curve: the incidences are given survival to this age.
    pub given_age: f64,
    pub last_age: f64,
}

/// Sums from which the variance of one cause's incidence follows at every later age.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    incidence: f64,
    greenwood: f64,
    greenwood_by_incidence: f64,
    greenwood_by_square: f64,
    own: f64,
    mixed: f64,
    mixed_by_incidence: f64,
}

impl Sums {
    /// Adds an age with `all` ends, `own` of them by this cause, survival just before `before`.
    fn add(&mut self, at_risk: f64, all: f64, own: f64, before: f64) {
        self.incidence += before * own / at_risk;
        // Once all have ended the incidence moves no more and the term vanishes.
        if all < at_risk {
            let greenwood = all / (at_risk * (at_risk - all));
            self.greenwood += greenwood;
            self.greenwood_by_incidence += greenwood * self.incidence;
            self.greenwood_by_square += greenwood * self.incidence * self.incidence;
        }
        let mixed = before * own / (at_risk * at_risk);
        self.own += before * mixed * (at_risk - own) / at_risk;
        self.mixed += mixed;
        self.mixed_by_incidence += mixed * self.incidence;
    }

    fn variance(&self) -> f64 {
        let f = self.incidence;
        let greenwood = f * f * self.greenwood - 2.0 * f * self.greenwood_by_incidence
            + self.greenwood_by_square;
        (greenwood + self.own - 2.0 * (f * self.mixed - self.mixed_by_incidence)).max(0.0)
    }
}

/// Aalen and Johansen (Scand. J. Statist. 5:141, 1978): `F_k(t) = sum S(t-) d_k/n`, with the
/// delta-method variance of Marubini and Valsecchi (Analysing Survival Data, 1995, section 10.4).
/// `causes` is the number of causes. As in `kaplan_meier`, a risk set emptied before older lives
/// enter starts the curve anew at that age; where more ends lie before it than after, the curve is
/// complete there instead, as it would be with nobody older.
pub fn aalen_johansen(
    lives: &[CompetingLife],
    causes: usize,
    confidence: f64,
) -> Result<IncidenceCurve, InputError> {
    let z = two_sided_z(confidence)?;
    at_least("causes", causes, 1)?;
    let as_life = |life: &CompetingLife| Life {
        entry: life.entry,
        exit: life.exit,
        event: life.cause.is_some(),
    };
    let last_age = check_lives(&lives.iter().map(as_life).collect::<Vec<_>>())?;
    let unknown = |life: &CompetingLife| life.cause.is_some_and(|cause| cause >= causes);
    if let Some(index) = lives.iter().position(unknown) {
        let value = lives[index].cause.map_or(0.0, |cause| cause as f64);
        let needed = "below the number of causes";
        return Err(InputError::OutOfRange {
            what: "cause",
            index,
            value,
            needed,
        });
    }
    let ended = lives.iter().filter(|life| life.cause.is_some());
    let index = AgeIndex::new(ended.map(|life| life.exit));
    let mut counts = vec![vec![0; causes]; index.ages.len()];
    for life in lives {
        if let Some(cause) = life.cause {
            counts[index.up_to(life.exit) - 1][cause] += 1;
        }
    }
    let sets = index.risk_sets(lives.iter().map(|l| (l.entry, l.exit, l.cause.is_some())));
    let all: usize = counts.iter().flatten().sum();

    let mut curve = IncidenceCurve {
        steps: Vec::new(),
        lives: lives.len(),
        given_age: 0.0,
        last_age,
    };
    let mut survival = 1.0;
    let mut sums = vec![Sums::default(); causes];
    let mut ended = 0;
    for (set, counts) in sets.zip(counts) {
        ended += set.events;
        if set.emptied_early && 2 * ended <= all {
            curve.steps.clear();
            curve.given_age = set.age;
            survival = 1.0;
            sums.fill(Sums::default());
            ended = 0;
            continue;
        }
        let (n, d) = (set.at_risk as f64, set.events as f64);
        for (sum, &own) in sums.iter_mut().zip(&counts) {
            sum.add(n, d, own as f64, survival);
        }
        survival *= (n - d) / n;
        let incidence = |(sum, &events): (&Sums, &usize)| {
            let (value, se) = (sum.incidence, sum.variance().sqrt());
            let limits = (value > 0.0 && value < 1.0).then(|| log_log_limits(value, se / value, z));
            Incidence {
                events,
                incidence: value,
                se,
                limits,
            }
        };
        let causes = sums.iter().zip(&counts).map(incidence).collect();
        curve.steps.push(IncidenceStep {
            age: set.age,
            at_risk: set.at_risk,
            survival,
            causes,
        });
        if set.emptied_early {
            break;
        }
    }
    Ok(curve)
}

impl IncidenceCurve {
    /// The last step at or before `age`; `None` before the first end, where incidences are 0.
    pub fn step_at(&self, age: f64) -> Option<&IncidenceStep> {
        let after = self.steps.partition_point(|step| step.age <= age);
        self.steps[..after].last()
    }

    /// Incidence of a cause by `age`; `None` past the last follow-up or for an unknown cause.
    pub fn incidence_at(&self, age: f64, cause: usize) -> Option<f64> {
        let step = self.step_at(age);
        let exhausted = step.is_some_and(|step| step.survival == 0.0);
        if age > self.last_age && !exhausted {
            return None;
        }
        step.map_or(Some(0.0), |step| {
            step.causes.get(cause).map(|cause| cause.incidence)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lives::kaplan_meier::kaplan_meier;

    /// The incidences and survival add to 1, and one cause alone is one less Kaplan-Meier, with
    /// Greenwood's standard error.
    #[test]
    fn incidences_add_up_with_survival() {
        let lives: Vec<CompetingLife> = (0..60u32)
            .map(|unit| CompetingLife {
                entry: f64::from(unit % 4),
                exit: f64::from(5 + unit * 7 % 23),
                cause: [None, Some(0), Some(1), Some(0)][unit as usize % 4],
            })
            .collect();
        let curve = aalen_johansen(&lives, 2, 0.95).unwrap();
        for step in &curve.steps {
            let total: f64 = step.causes.iter().map(|cause| cause.incidence).sum();
            assert!((total + step.survival - 1.0).abs() < 1e-12);
        }
        let alone: Vec<CompetingLife> = lives
            .iter()
            .map(|life| CompetingLife {
                cause: life.cause.map(|_| 0),
                ..*life
            })
            .collect();
        let plain: Vec<Life> = lives
            .iter()
            .map(|life| Life {
                entry: life.entry,
                exit: life.exit,
                event: life.cause.is_some(),
            })
            .collect();
        let alone = aalen_johansen(&alone, 1, 0.95).unwrap();
        let survival = kaplan_meier(&plain, 0.95).unwrap();
        for (step, km) in alone.steps.iter().zip(&survival.steps) {
            assert!((step.causes[0].incidence + km.survival - 1.0).abs() < 1e-12);
            if let Some(se) = km.survival_se {
                assert!((step.causes[0].se - se).abs() < 1e-12, "{step:?} {km:?}");
            }
        }
    }

    #[test]
    fn an_unknown_cause_is_named() {
        let life = CompetingLife {
            entry: 0.0,
            exit: 1.0,
            cause: Some(2),
        };
        assert!(
            aalen_johansen(&[life], 2, 0.95)
                .unwrap_err()
                .to_string()
                .contains("cause[0]")
        );
    }
}
