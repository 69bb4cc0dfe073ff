//! Whether trouble put down to the traction battery is as well explained by the 12 V supply.
//!
//! Each sign weighs by how much oftener it is seen with trouble of the supply than with trouble of the
//! traction battery, in the fleet's own cases; half a case is added to each count (Jeffreys' prior), so a
//! sign that few cases speak for weighs little. Signs are taken to be independent given the cause, which
//! overstates how sure the ratio is where they are not. A sign that nobody looked for does not weigh.

use serde::Deserialize;

/// Trouble with its signs, and what a shop put it down to.
#[derive(Debug, Clone, Deserialize)]
pub struct Trouble {
    pub vin: String,
    pub opened_on: String,
    pub cause: String,
    pub bad_test: Option<bool>,
    pub low_supply: Option<bool>,
    pub supply_codes: Option<bool>,
    pub many_silent: Option<bool>,
}

impl Trouble {
    fn signs(&self) -> [(Option<bool>, &'static str, &'static str); 4] {
        [
            (
                self.bad_test,
                "a 12 V battery that was discharged, worn or failed",
                "a fit 12 V battery",
            ),
            (
                self.low_supply,
                "less than 11.8 V during a scan",
                "no low supply during a scan",
            ),
            (
                self.supply_codes,
                "codes for the supply's voltage",
                "no code for the supply's voltage",
            ),
            (
                self.many_silent,
                "three modules or more that others lost",
                "hardly a module that others lost",
            ),
        ]
    }
}

/// How many times likelier the signs are if the 12 V supply is the cause.
#[derive(Debug, Clone)]
pub struct LikelihoodRatio {
    pub ratio: f64,
    pub lower: f64,
    pub upper: f64,
    /// Cases of the supply and of the traction battery that the weights rest on.
    pub supply_cases: usize,
    pub traction_cases: usize,
    /// The signs that weigh, with their own ratios.
    pub evidence: Vec<String>,
}

/// The ratio for one case, weighed by the other cases; none where nobody looked for any sign.
pub fn likelihood_ratio(case: &Trouble, cases: &[Trouble]) -> Option<LikelihoodRatio> {
    // The case itself says nothing about how the signs weigh.
    let others: Vec<&Trouble> = cases.iter().filter(|other| other.vin != case.vin).collect();
    let of = |cause: &'static str| others.iter().filter(move |other| other.cause == cause);
    let (mut log_ratio, mut variance) = (0.0, 0.0);
    let mut evidence = Vec::new();
    for (at, (seen, with, without)) in case.signs().into_iter().enumerate() {
        let Some(seen) = seen else { continue };
        let share = |cause: &'static str| {
            let looked: Vec<bool> = of(cause).filter_map(|other| other.signs()[at].0).collect();
            let alike = looked.iter().filter(|other| **other == seen).count() as f64 + 0.5;
            let all = looked.len() as f64 + 1.0;
            (alike / all, 1.0 / alike - 1.0 / all)
        };
        let (supply, supply_variance) = share("supply");
        let (traction, traction_variance) = share("traction battery");
        log_ratio += (supply / traction).ln();
        variance += supply_variance + traction_variance;
        let words = if seen { with } else { without };
        let factor = supply / traction;
        evidence.push(match factor >= 1.0 {
            true => format!("{words} (× {})", times(factor)),
            false => format!("{words} (÷ {})", times(1.0 / factor)),
        });
    }
    if evidence.is_empty() {
        return None;
    }
    // 95 % limits on the log scale.
    let reach = 1.96 * variance.sqrt();
    Some(LikelihoodRatio {
        ratio: f64::exp(log_ratio),
        lower: (log_ratio - reach).exp(),
        upper: (log_ratio + reach).exp(),
        supply_cases: of("supply").count(),
        traction_cases: of("traction battery").count(),
        evidence,
    })
}

/// The chance that the traction battery is at fault after all, given how often each cause was found:
/// the mean over the ratios that its limits allow, so that a ratio few cases speak for makes nobody sure.
pub fn chance_of_traction(ratio: &LikelihoodRatio) -> f64 {
    let prior = (ratio.traction_cases as f64 + 0.5) / (ratio.supply_cases as f64 + 0.5);
    let reach = (ratio.upper / ratio.lower).ln() / 2.0;
    // Weights of the normal law at steps of a tenth of the way to the 95 % limits, out to twice them.
    let (mut sum, mut weights) = (0.0, 0.0);
    for step in -20..=20 {
        let away = f64::from(step) / 10.0;
        let weight = (-0.5 * (1.96 * away).powi(2)).exp();
        let odds = prior / (ratio.ratio.ln() + away * reach).exp();
        sum += weight * odds / (1.0 + odds);
        weights += weight;
    }
    sum / weights
}

/// How many times, with the digits that tell something: "3.2", "0.04", "more than 1,000".
pub fn times(ratio: f64) -> String {
    match ratio {
        ratio if ratio > 1_000.0 => "more than 1,000".to_owned(),
        ratio if ratio >= 10.0 => format!("{ratio:.0}"),
        ratio if ratio >= 0.095 => format!("{ratio:.1}"),
        ratio if ratio >= 0.001 => format!("{ratio:.3}"),
        _ => "less than 0.001".to_owned(),
    }
}
