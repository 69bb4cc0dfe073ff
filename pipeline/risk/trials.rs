//! What ways of foretelling said before a day, and what came after it: the weights under which what came was the
//! likeliest, and whether all chances were too high or too low.

use super::model::BatteryDays;
use super::without_warning::WithoutWarning;

/// The weights believed before count like so many failures; the level is believed right within a third.
const USUAL_FAILURES: f64 = 10.0;
const LEVEL_SD: f64 = 0.2;

/// Looks of the trials: the predictor of each way, and what came.
pub struct Trials {
    pub predictors: Vec<Vec<f64>>,
    pub events: Vec<bool>,
    pub weights: Vec<f64>,
    /// What each gathers of the hazard that is the same for all.
    pub alike: Vec<f64>,
    /// Where each trial's looks end.
    pub ends: Vec<usize>,
}

/// One trial: the looks learnt from, parted, and those tried.
pub struct Try {
    pub learnt: Vec<usize>,
    pub tried: Vec<usize>,
    pub parted: WithoutWarning,
}

impl Trials {
    /// The trials before anything is said of them.
    pub fn of(looks: &BatteryDays, tries: &[Try]) -> Self {
        let mut trials = Self {
            predictors: Vec::new(),
            events: Vec::new(),
            weights: Vec::new(),
            alike: Vec::new(),
            ends: Vec::new(),
        };
        for one in tries {
            for look in &one.tried {
                trials.events.push(looks.events[*look]);
                trials.weights.push(looks.weights[*look]);
                let watched = looks.offsets[*look].exp();
                trials.alike.push(one.parted.alike.hazard * watched);
            }
            trials.ends.push(trials.events.len());
        }
        trials
    }

    /// Log-likelihood of what was said of each look.
    pub fn likelihood_of(&self, said: &[f64]) -> f64 {
        let levels = self.levels(said);
        (0..self.events.len())
            .map(|look| {
                let all = foretold(said[look]) + self.alike[look];
                let gathered = (levels[look].exp() * all).max(1e-13);
                self.weights[look]
                    * match self.events[look] {
                        true => (-(-gathered).exp_m1()).ln(),
                        false => -gathered,
                    }
            })
            .sum()
    }

    pub fn failures(&self) -> f64 {
        let all = self.events.iter().zip(&self.weights);
        all.map(|(failed, weight)| if *failed { *weight } else { 0.0 })
            .sum()
    }

    /// What the ways say of each look, pooled by these weights.
    fn pooled(&self, weights: &[f64]) -> Vec<f64> {
        let of_look = |look: usize| -> f64 {
            let ways = self.predictors.iter().zip(weights);
            ways.map(|(way, weight)| weight * way[look]).sum()
        };
        (0..self.events.len()).map(of_look).collect()
    }

    /// Where each trial's looks are.
    pub fn spans(&self) -> Vec<std::ops::Range<usize>> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(from, to)| from..*to).collect()
    }

    /// Of each trial the failures that came and those told.
    fn came_and_told(&self, said: &[f64]) -> Vec<(f64, f64)> {
        let of_trial = |looks: std::ops::Range<usize>| {
            let (mut came, mut told) = (0.0, 0.0);
            for look in looks {
                came += if self.events[look] {
                    self.weights[look]
                } else {
                    0.0
                };
                told += self.weights[look] * (foretold(said[look]) + self.alike[look]);
            }
            (came, told)
        };
        self.spans().into_iter().map(of_trial).collect()
    }

    /// The level of each trial, drawn to none, look by look. A hard winter raises all chances of its quarter,
    /// which says nothing of which way tells batteries apart.
    fn levels(&self, said: &[f64]) -> Vec<f64> {
        let precision = LEVEL_SD.powi(-2);
        let levels = self.came_and_told(said).into_iter().zip(self.spans());
        levels
            .flat_map(|((came, told), looks)| {
                let level = ((came + precision) / (told + precision)).ln();
                std::iter::repeat_n(level, looks.len())
            })
            .collect()
    }

    /// Logarithm of the factor on all chances, drawn to none, and its standard deviation. Quarters differ for
    /// what they have in common, so each counts about the same however many failed in it (a random-effects
    /// mean, DerSimonian and Laird, Controlled Clinical Trials 7:177, 1986).
    pub fn level(&self, weights: &[f64]) -> (f64, f64) {
        let quarters: Vec<(f64, f64)> = self
            .came_and_told(&self.pooled(weights))
            .into_iter()
            .map(|(came, told)| (((came + 0.5) / (told + 0.5)).ln(), 1.0 / (came + 0.5)))
            .collect();
        let mean_by = |between: f64| {
            let weights = quarters
                .iter()
                .map(|(_, variance)| 1.0 / (variance + between));
            let total: f64 = weights.clone().sum();
            let sum: f64 = quarters
                .iter()
                .zip(weights)
                .map(|((level, _), w)| level * w)
                .sum();
            (sum / total, 1.0 / total)
        };
        let (mean, _) = mean_by(0.0);
        let (mut spread, mut first, mut second) = (0.0, 0.0, 0.0);
        for (level, variance) in &quarters {
            spread += (level - mean).powi(2) / variance;
            first += 1.0 / variance;
            second += variance.powi(-2);
        }
        let excess = spread - (quarters.len() as f64 - 1.0);
        let between = (excess / (first - second / first).max(1e-9)).max(0.0);
        let (mean, variance) = mean_by(between);
        let drawn = LEVEL_SD.powi(2) / (LEVEL_SD.powi(2) + variance);
        (mean * drawn, (drawn * variance).sqrt())
    }

    /// Log-likelihood under these weights and this level.
    pub fn likelihood(&self, weights: &[f64]) -> f64 {
        self.likelihood_of(&self.pooled(weights))
    }

    /// The slopes of the log-likelihood in the weights.
    pub fn slopes(&self, weights: &[f64]) -> Vec<f64> {
        let said = self.pooled(weights);
        let levels = self.levels(&said);
        let mut slopes = vec![0.0; weights.len()];
        for look in 0..self.events.len() {
            let level = levels[look].exp();
            let foretold = level * foretold(said[look]);
            let gathered = (foretold + level * self.alike[look]).max(1e-13);
            let of_predictor = self.weights[look]
                * foretold
                * match self.events[look] {
                    true => gathered.exp_m1().recip(),
                    false => -1.0,
                };
            for (slope, way) in slopes.iter_mut().zip(&self.predictors) {
                *slope += of_predictor * way[look];
            }
        }
        slopes
    }

    /// The weights under which what came was the likeliest.
    pub fn weigh(&self, usual: &[f64]) -> Vec<f64> {
        let failures = self.failures();
        let mut weights = usual.to_vec();
        let value = |weights: &[f64]| {
            let prior: f64 = usual
                .iter()
                .zip(weights)
                .map(|(usual, weight)| USUAL_FAILURES * usual * weight.max(1e-9).ln())
                .sum();
            self.likelihood(weights) + prior
        };
        let mut best = value(&weights);
        let mut step = 1.0 / failures.max(1.0);
        for _ in 0..200 {
            let mut slopes = self.slopes(&weights);
            for (slope, (usual, weight)) in slopes.iter_mut().zip(usual.iter().zip(&weights)) {
                *slope += USUAL_FAILURES * usual / weight.max(1e-9);
            }
            let mean: f64 = slopes.iter().zip(&weights).map(|(s, w)| s * w).sum();
            // Exponentiated gradient: stays within the simplex.
            let mut next: Vec<f64> = weights
                .iter()
                .zip(&slopes)
                .map(|(weight, slope)| weight * (step * (slope - mean)).clamp(-2.0, 2.0).exp())
                .collect();
            let sum: f64 = next.iter().sum();
            next.iter_mut().for_each(|weight| *weight /= sum);
            let found = value(&next);
            if found > best {
                let gain = found - best;
                (weights, best) = (next, found);
                step *= 1.5;
                if gain < 1e-4 {
                    break;
                }
            } else {
                step *= 0.4;
                if step * failures.max(1.0) < 1e-4 {
                    break;
                }
            }
        }
        weights
    }
}

/// What a look gathers by its columns.
fn foretold(said: f64) -> f64 {
    said.min(3.0).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trials of two ways over four quarters: one that tells the failing batteries apart and one that does
    /// not. In the last quarter three times as many fail.
    fn trials() -> Trials {
        let mut trials = Trials {
            predictors: vec![Vec::new(); 2],
            events: Vec::new(),
            weights: Vec::new(),
            alike: Vec::new(),
            ends: Vec::new(),
        };
        for quarter in 0..4 {
            let shock: f64 = if quarter == 3 { 3.0 } else { 1.0 };
            for bad in [true, false] {
                let chance: f64 = if bad { 0.08 } else { 0.02 };
                let count = 1_000;
                for at in 0..count {
                    trials.predictors[0].push(chance.ln());
                    trials.predictors[1].push(0.05_f64.ln());
                    trials
                        .events
                        .push(f64::from(at) < f64::from(count) * chance * shock);
                    trials.weights.push(1.0);
                    trials.alike.push(0.0);
                }
            }
            trials.ends.push(trials.events.len());
        }
        trials
    }

    #[test]
    fn the_way_that_tells_apart_carries_the_weight() {
        let weights = trials().weigh(&[0.5, 0.5]);
        assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-9);
        assert!(weights.iter().all(|weight| *weight >= 0.0));
        assert!(weights[0] > 0.85, "{weights:?}");
    }

    #[test]
    fn few_failures_leave_the_weights_as_they_were() {
        let mut few = trials();
        few.weights.iter_mut().for_each(|weight| *weight *= 0.003);
        let weights = few.weigh(&[0.5, 0.5]);
        assert!((0.5..0.65).contains(&weights[0]), "{weights:?}");
    }

    #[test]
    fn one_hard_quarter_does_not_set_the_level() {
        let trials = trials();
        let told: f64 = trials
            .came_and_told(&trials.predictors[0])
            .iter()
            .map(|(_, told)| told)
            .sum();
        // All together 1.5 times as many failed as told; by quarters as one of four.
        assert!((trials.failures() / told - 1.5).abs() < 0.02);
        let (level, sd) = trials.level(&[1.0, 0.0]);
        assert!((0.0..0.25).contains(&level), "{level}");
        assert!(sd > 0.15, "{sd}");
    }

    #[test]
    fn a_level_that_is_off_in_every_quarter_is_put_right() {
        let mut high = trials();
        high.predictors[0].iter_mut().for_each(|eta| *eta += 0.7);
        // The last quarter's failures are as the others'.
        let (from, to) = (high.ends[2], high.ends[3]);
        for look in from..to {
            high.events[look] = high.events[look - from];
        }
        let (level, sd) = high.level(&[1.0, 0.0]);
        assert!((-0.75..-0.55).contains(&level), "{level}");
        assert!(sd < 0.12, "{sd}");
    }
}
