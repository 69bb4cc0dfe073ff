//! Looks as the rows on which the columns of a way are fitted, laid out once however often they are fitted.

use super::drawn::{Drawn, FEW_COLUMNS_PENALTY};
use super::feature::Feature;
use super::ground::Ground;
use super::model::{fit_or_simpler, line_or_simpler, nothing_seen, prior, usual_hazard};
use super::trials::Try;
use super::without_warning::{Seen, WithoutWarning, part};
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::HazardFit;

/// Some looks under some columns. A failed look is two rows: one that failed, counted by the share of it that was
/// foretold, and one that came through, counted by the rest.
pub struct Learnt<'a> {
    ground: &'a Ground<'a>,
    columns: &'a [usize],
    prior: Ridge,
    /// Of each row the place of its look among those learnt from, and the look.
    rows: Vec<(usize, usize)>,
    events: Vec<bool>,
    offsets: Vec<f64>,
    cells: Vec<f64>,
}

impl<'a> Learnt<'a> {
    pub fn of(ground: &'a Ground<'a>, columns: &'a [usize], looks: &[usize]) -> Self {
        let features: Vec<&Feature> = columns.iter().map(|at| &ground.features[*at]).collect();
        let scaling: Vec<_> = columns.iter().map(|at| ground.scaling[*at]).collect();
        let failed = looks.iter().filter(|look| ground.looks.events[**look]);
        let rows = looks.len() + failed.count();
        let mut learnt = Self {
            ground,
            columns,
            prior: prior(&features, &scaling, ground.horizon_days),
            rows: Vec::with_capacity(rows),
            events: Vec::with_capacity(rows),
            offsets: Vec::with_capacity(rows),
            cells: Vec::with_capacity(rows * columns.len()),
        };
        for (place, look) in looks.iter().enumerate() {
            let ends: &[bool] = match ground.looks.events[*look] {
                true => &[true, false],
                false => &[false],
            };
            for failed in ends {
                let cells = ground.row(*look);
                learnt.rows.push((place, *look));
                learnt.events.push(*failed);
                learnt.offsets.push(ground.looks.offsets[*look]);
                learnt.cells.extend(columns.iter().map(|at| cells[*at]));
            }
        }
        learnt
    }

    /// Fits them, their failures counted by their shares `foretold`, from coefficients known to be near; those of the
    /// fit are of all columns, 0 where not looked at.
    pub fn fit(
        &self,
        foretold: &[f64],
        drawn: &Drawn,
        near: Option<&[f64]>,
    ) -> (HazardFit, Option<String>) {
        let mut ridge = self.ridge(drawn);
        if self.rows.is_empty() {
            return (self.spread_out(nothing_seen(&ridge)), None);
        }
        let weights = self.weights(foretold);
        let start = near.map(|near| self.own_of(near));
        let (fit, why) = fit_or_simpler(&self.data(&weights), &mut ridge, start.as_deref());
        (self.spread_out(fit), why)
    }

    /// The coefficients of such a fit alone, of all columns, the intercept first.
    pub fn line(&self, foretold: &[f64], drawn: &Drawn, near: Option<&[f64]>) -> Vec<f64> {
        let mut ridge = self.ridge(drawn);
        let own = if self.rows.is_empty() {
            nothing_seen(&ridge).line()
        } else {
            let weights = self.weights(foretold);
            let start = near.map(|near| self.own_of(near));
            line_or_simpler(&self.data(&weights), &mut ridge, start.as_deref())
        };
        let mut line = vec![0.0; self.ground.features.len() + 1];
        line[0] = own[0];
        for (column, slope) in self.columns.iter().zip(&own[1..]) {
            line[column + 1] = *slope;
        }
        line
    }

    fn ridge(&self, drawn: &Drawn) -> Ridge {
        let mut ridge = self.prior.clone();
        ridge.lambda = drawn.penalty;
        for (factor, at) in ridge.factors.iter_mut().zip(self.columns) {
            *factor *= drawn.factor(&self.ground.features[*at]);
        }
        ridge
    }

    fn weights(&self, foretold: &[f64]) -> Vec<f64> {
        let looks = self.ground.looks;
        let weight = |((place, look), failed): (&(usize, usize), &bool)| {
            let weight = looks.weights[*look];
            match (looks.events[*look], *failed) {
                (false, _) => weight,
                (true, true) => weight * foretold[*place],
                (true, false) => weight * (1.0 - foretold[*place]),
            }
        };
        self.rows.iter().zip(&self.events).map(weight).collect()
    }

    fn data<'d>(&'d self, weights: &'d [f64]) -> PersonPeriods<'d> {
        PersonPeriods {
            design: Design {
                columns: self.columns.len(),
                values: &self.cells,
            },
            events: &self.events,
            weights: Some(weights),
            offsets: Some(&self.offsets),
        }
    }

    /// Those coefficients of all columns that are of these.
    fn own_of(&self, line: &[f64]) -> Vec<f64> {
        let slopes = self.columns.iter().map(|at| line[at + 1]);
        std::iter::once(line[0]).chain(slopes).collect()
    }

    /// A fit of these columns as one of all, the others at nought.
    fn spread_out(&self, fit: HazardFit) -> HazardFit {
        let all = self.ground.features.len();
        let (small, size) = (self.columns.len() + 1, all + 1);
        let place = |at: usize| if at == 0 { 0 } else { self.columns[at - 1] + 1 };
        let mut coefficients = vec![0.0; all];
        let mut covariance = vec![0.0; size * size];
        for (at, column) in self.columns.iter().enumerate() {
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
}

/// Parts what nothing foretells from what the columns of a way do, on some looks.
pub fn parted(ground: &Ground<'_>, columns: &[usize], looks: &[usize]) -> WithoutWarning {
    let seen: Vec<Seen> = looks
        .iter()
        .map(|look| Seen {
            failed: ground.looks.events[*look],
            weight: ground.looks.weights[*look],
            watched: ground.looks.offsets[*look].exp(),
        })
        .collect();
    let learnt = Learnt::of(ground, columns, looks);
    let drawn = Drawn::evenly(FEW_COLUMNS_PENALTY);
    let mut near: Option<Vec<f64>> = None;
    part(&seen, usual_hazard(ground.horizon_days), |foretold| {
        let line = learnt.line(foretold, &drawn, near.as_deref());
        let gathered = looks
            .iter()
            .map(|look| match ground.looks.events[*look] {
                true => ground.predictor(&line, *look).min(3.0).exp(),
                false => 0.0,
            })
            .collect();
        near = Some(line);
        gathered
    })
}

/// What these columns said of the looks of all tries, each learnt on those before it.
pub fn foretold(ground: &Ground<'_>, columns: &[usize], tries: &[Try], drawn: &Drawn) -> Vec<f64> {
    let mut near: Option<Vec<f64>> = None;
    let mut told = Vec::new();
    for one in tries {
        let learnt = Learnt::of(ground, columns, &one.learnt);
        let line = learnt.line(&one.parted.foretold, drawn, near.as_deref());
        told.extend(said(ground, &line, one));
        near = Some(line);
    }
    told
}

/// What the coefficients of a fit say of the looks that a try tries.
pub fn said(ground: &Ground<'_>, line: &[f64], one: &Try) -> Vec<f64> {
    let looks = one.tried.iter();
    looks.map(|look| ground.predictor(line, *look)).collect()
}
