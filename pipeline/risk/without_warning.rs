//! Failures that nothing foretells.
//!
//! An open cell or a short ends a battery whatever it has lost and whatever the morning is. So the hazard is a sum:
//! one part is the same for all batteries at all times, the other goes with the columns. Were the first left out,
//! those who look sound would be promised too much, and the columns would be bent to explain what they do not.
//! Fitted by expectation and maximisation (Dempster, Laird and Rubin, J. R. Statist. Soc. B 39:1, 1977): each failure
//! counts for the columns by the chance that they brought it.

/// About one failure in five gives no warning, which is believed like so many failures.
/// `common practice, no source`
const USUAL_SHARE: f64 = 0.2;
const USUAL_FAILURES: f64 = 10.0;

const ROUNDS: usize = 6;

const Z_95: f64 = 1.959_963_984_540_054;

/// A look as far as this needs it.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    pub failed: bool,
    pub weight: f64,
    /// Share of the horizon it was watched.
    pub watched: f64,
}

/// The part of the hazard that is the same for all batteries at all times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// Gathered over a horizon.
    pub hazard: f64,
    /// Standard deviation of its logarithm.
    pub log_sd: f64,
}

impl Alike {
    /// The chance over a horizon and its 95 % limits, of a battery whose own part differs by `own_sd`.
    pub fn limits(self, own_sd: f64) -> [f64; 3] {
        let sd = self.log_sd.hypot(own_sd);
        [0.0, -Z_95, Z_95].map(|z| -(-self.hazard * (z * sd).exp()).exp_m1())
    }
}

/// Failures parted.
#[derive(Debug, Clone, PartialEq)]
pub struct WithoutWarning {
    pub alike: Alike,
    /// Of each look that failed, the chance that the columns brought it; of the others 1.
    pub foretold: Vec<f64>,
}

/// Parts the hazard. `hazards` fits the columns to failures that count by the shares given, and gives what each look
/// gathers by them while it was watched; `usual_hazard` is what is believed of a horizon before any failure is seen.
pub fn part(
    seen: &[Seen],
    usual_hazard: f64,
    mut hazards: impl FnMut(&[f64]) -> Vec<f64>,
) -> WithoutWarning {
    let exposure: f64 = seen.iter().map(|look| look.weight * look.watched).sum();
    let failures: f64 = seen
        .iter()
        .map(|look| if look.failed { look.weight } else { 0.0 })
        .sum();
    let believed = USUAL_FAILURES / usual_hazard;
    let of = |sudden: f64| {
        (sudden + USUAL_SHARE * USUAL_FAILURES) / (exposure + believed).max(f64::MIN_POSITIVE)
    };
    let mut parted = WithoutWarning {
        alike: Alike {
            hazard: of(USUAL_SHARE * failures),
            log_sd: 0.0,
        },
        foretold: vec![1.0; seen.len()],
    };
    let mut sudden = USUAL_SHARE * failures;
    if failures > 0.0 {
        for look in parted
            .foretold
            .iter_mut()
            .zip(seen)
            .filter(|(_, look)| look.failed)
        {
            *look.0 = 1.0 - USUAL_SHARE;
        }
        for _ in 0..ROUNDS {
            let gathered = hazards(&parted.foretold);
            sudden = 0.0;
            for ((foretold, look), gathered) in parted.foretold.iter_mut().zip(seen).zip(gathered) {
                if look.failed {
                    let alike = parted.alike.hazard * look.watched;
                    *foretold = gathered / (gathered + alike).max(f64::MIN_POSITIVE);
                    sudden += look.weight * (1.0 - *foretold);
                }
            }
            parted.alike.hazard = of(sudden);
        }
    }
    parted.alike.log_sd = (sudden + USUAL_SHARE * USUAL_FAILURES).sqrt().recip();
    parted
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 10,000 looks, half of them of batteries of which one in ten is failed by wear; of all, two in a thousand
    /// without warning.
    fn looks(sudden: usize) -> (Vec<Seen>, Vec<bool>) {
        let worn = |at: usize| at < 5_000;
        let failed = |at: usize| (at < 500) || (9_000..9_000 + sudden).contains(&at);
        let seen = |at| Seen {
            failed: failed(at),
            weight: 1.0,
            watched: 1.0,
        };
        (
            (0..10_000).map(seen).collect(),
            (0..10_000).map(worn).collect(),
        )
    }

    /// The hazard of either half, by what its failures count.
    fn by_half(seen: &[Seen], worn: &[bool], foretold: &[f64]) -> Vec<f64> {
        let of = |half: bool| {
            let failed = seen.iter().zip(foretold).zip(worn);
            let sum: f64 = failed
                .filter(|((look, _), worn)| look.failed && **worn == half)
                .map(|((_, foretold), _)| foretold)
                .sum();
            sum / 5_000.0
        };
        let (worn_part, sound_part) = (of(true), of(false));
        worn.iter()
            .map(|worn| if *worn { worn_part } else { sound_part })
            .collect()
    }

    #[test]
    fn what_strikes_those_who_look_sound_is_told_from_wear() {
        let (seen, worn) = looks(10);
        // The columns cannot give the sound half less than nothing, so all its failures may be without warning.
        let parted = part(&seen, 0.02, |foretold| {
            let mut hazards = by_half(&seen, &worn, foretold);
            hazards
                .iter_mut()
                .for_each(|hazard| *hazard = hazard.max(1e-9));
            hazards
        });
        // Ten in 5,000 of the sound half, drawn to a fifth of ten in 500 horizons.
        assert!(
            (0.0008..0.0026).contains(&parted.alike.hazard),
            "{parted:?}"
        );
        let of_worn: f64 = parted.foretold[..500].iter().sum::<f64>() / 500.0;
        assert!(of_worn > 0.97, "{of_worn}");
    }

    #[test]
    fn before_any_failure_a_fifth_of_what_is_believed_stands() {
        let parted = part(&[], 0.01, |_| Vec::new());
        assert!((parted.alike.hazard - 0.002).abs() < 1e-12);
        assert!(parted.alike.log_sd > 0.5);
    }
}
