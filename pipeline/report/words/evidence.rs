//! What speaks for which cause of a flood of codes.

use serde::Deserialize;

use super::word;
use trade::calendar::DAYS_A_YEAR;
use trade::derived_words::{FloodCause, FloodSign};

/// A piece of evidence as the table of floods gives it.
#[derive(Debug, Clone, Deserialize)]
pub struct Evidence {
    #[serde(deserialize_with = "word")]
    pub cause: FloodCause,
    #[serde(deserialize_with = "word")]
    pub sign: FloodSign,
    pub weight: f64,
    pub value: Option<f64>,
}

/// All of it as one line, of a flood of so many codes.
pub fn said(evidence: &[Evidence], codes: i64) -> String {
    let parts: Vec<String> = evidence
        .iter()
        .map(|piece| {
            format!(
                "{} ({} +{:.1})",
                sign(piece.sign, piece.value, codes),
                piece.cause,
                piece.weight
            )
        })
        .collect();
    parts.join("; ")
}

fn sign(sign: FloodSign, value: Option<f64>, codes: i64) -> String {
    let value = value.unwrap_or(f64::NAN);
    match sign {
        FloodSign::LowVoltageCodes => format!("{value:.0} of {codes} codes say low voltage"),
        FloodSign::ManyModulesLost => {
            format!("lost communication named {value:.0} different modules")
        }
        FloodSign::LowSupply => format!("the supply stood at {value:.1} V during the scan"),
        FloodSign::TestedDischarged => "a test nearby found the battery discharged".to_owned(),
        FloodSign::TestedWorn => "a test nearby found the battery worn".to_owned(),
        FloodSign::TestedFailed => "a test nearby found the battery failed".to_owned(),
        FloodSign::DidNotStart => "the vehicle did not start by itself nearby".to_owned(),
        FloodSign::ChargedOrReplaced => "the battery was charged or replaced nearby".to_owned(),
        FloodSign::OldBattery => format!("the battery was {:.1} years old", value / DAYS_A_YEAR),
        FloodSign::OneModuleLost => format!("{value:.0} modules miss the same one"),
        FloodSign::BusDown => format!("{value:.0} modules say their bus is down"),
        FloodSign::NoLowVoltageCode => "no module says low voltage".to_owned(),
        FloodSign::LostThoughAnswered => format!(
            "{value:.0} of {codes} codes say lost communication, though nearly all modules answered"
        ),
        FloodSign::FailingNow => {
            format!("{value:.0} of {codes} faults were there during the scan")
        }
        FloodSign::PutDownToNetwork => {
            "an order nearby was put down to a module or the network".to_owned()
        }
        FloodSign::ReprogrammedThen => "a module was reprogrammed on the same visit".to_owned(),
        FloodSign::ReprogrammedBefore => "a module was reprogrammed in the days before".to_owned(),
        FloodSign::ModuleNotSetUp => "a module says it is not set up".to_owned(),
        FloodSign::FewAnswered => {
            format!("only {:.0} % of the modules asked answered", value * 100.0)
        }
        FloodSign::OnlyPending => "every code was pending, none confirmed".to_owned(),
        FloodSign::GoneByItself => {
            "a further scan showed next to nothing of it, with no clear between".to_owned()
        }
        FloodSign::OtherCodes => format!(
            "{:.0} % of the codes have to do with neither supply nor network",
            value * 100.0
        ),
        FloodSign::NothingClear => "nothing speaks clearly for another cause".to_owned(),
    }
}
