//! The true chance of failing within the coming weeks, by living many futures from the hidden state.
//!
//! In every future the battery lives on by the world's own law, week by week: wear, charge, stands,
//! discharges, steps, a charging fault that may begin, and a weather that may come. The chance of
//! failing in a future is one minus the product of its weeks' chances of going on; the truth is the
//! mean over the futures. Planned replacement and leaving are not counted. Nothing here fails.

use super::super::streams::{Domain, chance, stream};
use super::super::wear::Hidden;
use super::law::Law;
use super::outlook::Outlook;
use super::traits::Traits;

/// Whether the vehicle's charging is at fault, and whether it can come to be.
#[derive(Debug, Clone, Copy)]
pub struct FaultNow {
    pub stands: bool,
    pub may_come: bool,
}

/// The chance; `key` names the battery and week, so that its futures are its own.
pub fn chance_of_failing(
    law: &Law,
    outlook: &Outlook,
    (seed, key): (u64, u64),
    hidden: &Hidden,
    traits: &Traits,
    standing_share: f64,
    fault: FaultNow,
) -> f64 {
    let mut rng = stream(seed, Domain::Futures, key);
    let fault_a_week = if fault.may_come {
        law.faults_a_year * 7.0 / 365.25
    } else {
        0.0
    };
    let (mut failing, mut futures) = (0.0, 0.0);
    for future in outlook.futures() {
        let (mut battery, mut at_fault, mut going_on) = (*hidden, fault.stands, 1.0);
        for &air in future {
            let standing = chance(&mut rng, standing_share);
            at_fault |= chance(&mut rng, fault_a_week);
            let prospect = law.week(&mut rng, &mut battery, traits, air, standing, at_fault);
            going_on *= 1.0 - prospect.failing();
        }
        failing += 1.0 - going_on;
        futures += 1.0;
    }
    failing / f64::max(futures, 1.0)
}
