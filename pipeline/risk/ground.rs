//! What ways of foretelling are fitted on, and how hard their slopes are drawn to what is believed.

use super::feature::{Feature, Topic};
use super::model::{BatteryDays, fit_or_simpler, nothing_seen, prior, usual_hazard};
use super::scaled::Scaling;
use super::together::together;
use super::trials::{Trials, Try};
use super::without_warning::{Seen, WithoutWarning, part};
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::HazardFit;

/// Penalties of the way of all signs, from which trials choose; the others' columns are few.
const PENALTIES: [f64; 7] = [10_000.0, 3_000.0, 1_000.0, 300.0, 100.0, 30.0, 10.0];
pub const FEW_COLUMNS_PENALTY: f64 = 1_000.0;
const UNTRIED_PENALTY: f64 = 3_000.0;

/// Signs that are drawn to none together: fleets differ in what is on record, and in what it is worth.
const GROUPS: [&[Topic]; 4] = [
    &[Topic::Voltage],
    &[Topic::Codes],
    &[Topic::Mishaps],
    &[Topic::Kind, Topic::Usage, Topic::PastFailures],
];
/// A group is drawn so much harder or less hard where trials find it likelier by so much, in the logarithm.
const GROUP_FACTORS: [f64; 2] = [0.1, 10.0];
const LEAST_GAIN: f64 = 2.0;

/// How hard slopes are drawn to what is believed.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    pub penalty: f64,
    groups: [f64; GROUPS.len()],
}

impl Drawn {
    pub fn evenly(penalty: f64) -> Self {
        Self {
            penalty,
            groups: [1.0; GROUPS.len()],
        }
    }

    /// The factor on the penalty of a column.
    pub fn factor(&self, feature: &Feature) -> f64 {
        let mut groups = GROUPS.iter().zip(self.groups);
        let group = groups.find(|(topics, _)| topics.contains(&feature.topic));
        group.map_or(1.0, |(_, factor)| factor)
    }
}

/// Likelihood in the trials, by which penalties, and what was said then.
type Scored = (f64, Drawn, Vec<f64>);

/// What the ways are fitted on.
pub struct Ground<'a> {
    pub features: &'a [Feature],
    pub scaling: &'a [Scaling],
    pub looks: &'a BatteryDays,
    pub cells: Vec<f64>,
    pub horizon_days: f64,
}

impl Ground<'_> {
    fn row(&self, look: usize) -> &[f64] {
        let size = self.features.len();
        &self.cells[look * size..(look + 1) * size]
    }

    /// Parts what nothing foretells from what the columns of a way do, on some looks.
    pub fn part(&self, columns: &[usize], looks: &[usize]) -> WithoutWarning {
        let seen: Vec<Seen> = looks
            .iter()
            .map(|look| Seen {
                failed: self.looks.events[*look],
                weight: self.looks.weights[*look],
                watched: self.looks.offsets[*look].exp(),
            })
            .collect();
        part(&seen, usual_hazard(self.horizon_days), |foretold| {
            let drawn = Drawn::evenly(FEW_COLUMNS_PENALTY);
            let (fit, _) = self.fit(columns, looks, foretold, &drawn);
            looks
                .iter()
                .map(|look| self.predictor(&fit, *look).min(3.0).exp())
                .collect()
        })
    }

    /// Fits some columns on some looks, of which the failures count by their share `foretold`; the coefficients
    /// are of all columns, 0 where not looked at.
    pub fn fit(
        &self,
        columns: &[usize],
        looks: &[usize],
        foretold: &[f64],
        drawn: &Drawn,
    ) -> (HazardFit, Option<String>) {
        let features: Vec<&Feature> = columns.iter().map(|at| &self.features[*at]).collect();
        let scaling: Vec<Scaling> = columns.iter().map(|at| self.scaling[*at]).collect();
        let mut ridge: Ridge = prior(&features, &scaling, self.horizon_days);
        ridge.lambda = drawn.penalty;
        for (factor, feature) in ridge.factors.iter_mut().zip(&features) {
            *factor *= drawn.factor(feature);
        }
        // What the columns did not bring they came through.
        let counted = |look: usize, failed: bool, share: f64| {
            (share > 0.0).then(|| (look, failed, share * self.looks.weights[look]))
        };
        let rows: Vec<(usize, bool, f64)> = looks
            .iter()
            .zip(foretold)
            .flat_map(|(look, share)| {
                let share = if self.looks.events[*look] {
                    *share
                } else {
                    0.0
                };
                [
                    counted(*look, true, share),
                    counted(*look, false, 1.0 - share),
                ]
            })
            .flatten()
            .collect();
        let cells: Vec<f64> = rows
            .iter()
            .flat_map(|(look, ..)| columns.iter().map(|at| self.row(*look)[*at]))
            .collect();
        let events: Vec<bool> = rows.iter().map(|(_, failed, _)| *failed).collect();
        let weights: Vec<f64> = rows.iter().map(|(.., weight)| *weight).collect();
        let offsets: Vec<f64> = rows
            .iter()
            .map(|(look, ..)| self.looks.offsets[*look])
            .collect();
        let data = PersonPeriods {
            design: Design {
                columns: columns.len(),
                values: &cells,
            },
            events: &events,
            weights: Some(&weights),
            offsets: Some(&offsets),
        };
        let (fit, fallback) = match looks.is_empty() {
            true => (nothing_seen(&ridge), None),
            false => fit_or_simpler(&data, &mut ridge),
        };
        (spread_out(fit, columns, self.features.len()), fallback)
    }

    /// What these columns said of the looks of all tries, each learnt on those before it.
    pub fn foretold(&self, columns: &[usize], tries: &[Try], drawn: &Drawn) -> Vec<f64> {
        let of_try = |one: &Try| {
            let (fit, _) = self.fit(columns, &one.learnt, &one.parted.foretold, drawn);
            let said = one.tried.iter().map(|look| self.predictor(&fit, *look));
            said.collect::<Vec<_>>()
        };
        tries.iter().flat_map(of_try).collect()
    }

    /// How hard the columns of all signs are to be drawn, by what came in the trials, and what they then said.
    pub fn drawn(
        &self,
        columns: &[usize],
        tries: &[Try],
        trials: &Trials,
        given: Option<f64>,
    ) -> (Drawn, Vec<f64>) {
        if tries.is_empty() {
            return (Drawn::evenly(given.unwrap_or(UNTRIED_PENALTY)), Vec::new());
        }
        let scored = |candidates: Vec<Drawn>| {
            together(&candidates, |drawn| {
                let said = self.foretold(columns, tries, drawn);
                (trials.likelihood_of(&said), drawn.clone(), said)
            })
        };
        let penalties = given.map_or(PENALTIES.to_vec(), |penalty| vec![penalty]);
        let evenly = scored(penalties.into_iter().map(Drawn::evenly).collect());
        let likelier = |one: Scored, other: Scored| if other.0 > one.0 { other } else { one };
        let Some(mut best) = evenly.into_iter().reduce(likelier) else {
            return (Drawn::evenly(UNTRIED_PENALTY), Vec::new());
        };
        for group in 0..GROUPS.len() {
            let other = |factor: f64| {
                let mut drawn = best.1.clone();
                drawn.groups[group] = factor;
                drawn
            };
            let others = scored(GROUP_FACTORS.map(other).to_vec());
            if let Some(found) = others.into_iter().reduce(likelier)
                && found.0 > best.0 + LEAST_GAIN
            {
                best = found;
            }
        }
        (best.1, best.2)
    }

    fn predictor(&self, fit: &HazardFit, look: usize) -> f64 {
        let line = fit.coefficients.iter().zip(self.row(look));
        fit.intercept + self.looks.offsets[look] + line.map(|(b, x)| b * x).sum::<f64>()
    }
}

/// A fit of some columns as one of all, the others at nought.
fn spread_out(fit: HazardFit, columns: &[usize], all: usize) -> HazardFit {
    let (small, size) = (columns.len() + 1, all + 1);
    let place = |at: usize| if at == 0 { 0 } else { columns[at - 1] + 1 };
    let mut coefficients = vec![0.0; all];
    let mut covariance = vec![0.0; size * size];
    for (at, column) in columns.iter().enumerate() {
        coefficients[*column] = fit.coefficients[at];
    }
    for i in 0..small {
        for j in 0..small {
            covariance[place(i) * size + place(j)] = fit.covariance[i * small + j];
        }
    }
    HazardFit {
        coefficients,
        covariance,
        ..fit
    }
}
