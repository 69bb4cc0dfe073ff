//! What there is to do in a recovery, what to mind, and what it waits for.

use serde::Deserialize;

use super::super::cells::counted;
use super::super::style::ReportStyle;
use super::{word_or_none, words};
use trade::derived_words::{RecoveryCaution, RecoveryStep};
use trade::words::Action;

/// What an open recovery asks for, and what the weekly plan does to the vehicle, as recovery_step gives
/// them.
#[derive(Debug, Clone, Deserialize)]
pub struct Standing {
    /// None once it is over.
    #[serde(deserialize_with = "word_or_none")]
    pub next_step: Option<RecoveryStep>,
    /// The codes were saved or cleared already.
    pub codes_kept: Option<bool>,
    /// The plan's soonest action on one of the vehicle's batteries, and for which.
    #[serde(deserialize_with = "word_or_none")]
    pub planned: Option<Action>,
    pub planned_for: Option<Vec<String>>,
    pub chemistry: Option<String>,
    #[serde(deserialize_with = "words")]
    pub cautions: Vec<RecoveryCaution>,
}

impl Standing {
    /// What to do, so that one vehicle is not told two things: what a planned replacement does away
    /// with (charging, testing) is left out, what remains to be done besides is said.
    pub fn to_do(&self, proven_days: i64) -> Option<String> {
        use RecoveryStep as Step;
        let next = self.next_step?;
        let step = step(next, proven_days);
        let batteries = batteries(self.planned_for.as_deref().unwrap_or_default());
        let replace = format!("replace {batteries} this week, as planned");
        Some(match (self.planned, next) {
            (None | Some(Action::Leave), _) => step,
            (Some(Action::ThisWeek), Step::ChargeAndTest | Step::RestoreSupply) => {
                match self.codes_kept {
                    Some(true) => replace,
                    _ => format!("save the codes of every module, then {replace}"),
                }
            }
            (Some(Action::ThisWeek), Step::CheckCharging) => format!(
                "{replace}; a test since the trouble said fit, so check the charging and what draws current at rest too"
            ),
            (Some(Action::ThisWeek), Step::SaveCodes) => format!("{step}, then {replace}"),
            (Some(Action::ThisWeek), _) => format!("{replace}; {step}"),
            (Some(Action::TestFirst), Step::ChargeAndTest) => {
                format!("charge {batteries} fully and test it, as planned")
            }
            (Some(Action::TestFirst), _) => format!("test {batteries} first, as planned; {step}"),
            (Some(Action::LaterWeek), _) => {
                format!("{step}; the plan sees to {batteries} in a coming week")
            }
            (Some(Action::NextService), _) => {
                format!("{step}; the plan sees to {batteries} at the next service")
            }
        })
    }

    /// What a person typed for a position replaced, where the report is shared.
    pub fn replace_positions(&mut self, style: &ReportStyle) {
        for position in self.planned_for.iter_mut().flatten() {
            *position = style.position(position);
        }
    }

    /// What to mind, as one line; empty where there is nothing.
    pub fn caution(&self) -> String {
        let parts: Vec<String> = self
            .cautions
            .iter()
            .map(|caution| match caution {
                RecoveryCaution::SaveBeforeClearing => "save the codes before clearing".to_owned(),
                RecoveryCaution::ClearedUnsaved => {
                    "codes were cleared before any scan saved them".to_owned()
                }
                RecoveryCaution::SuitableCharger => format!(
                    "charge {} with a charger that suits it",
                    self.chemistry.as_deref().unwrap_or("the battery")
                ),
                RecoveryCaution::HighVoltage => {
                    "high-voltage work is for qualified people under the maker's service information"
                        .to_owned()
                }
            })
            .collect();
        parts.join("; ")
    }
}

/// "the main and the auxiliary battery".
fn batteries(positions: &[String]) -> String {
    match positions {
        [] => "the battery".to_owned(),
        several => format!("the {} battery", several.join(" and the ")),
    }
}

/// A step as an order.
pub fn step(step: RecoveryStep, proven_days: i64) -> String {
    match step {
        RecoveryStep::ChargeAndTest => "charge the battery fully and test it".to_owned(),
        RecoveryStep::RestoreSupply => {
            "restore the supply: charge or replace the battery".to_owned()
        }
        RecoveryStep::CheckCharging => {
            "the battery tested fit: check the charging and what draws current at rest".to_owned()
        }
        RecoveryStep::SaveCodes => "read the codes of every module and save them".to_owned(),
        RecoveryStep::ClearCodes => "clear the codes in every module".to_owned(),
        RecoveryStep::ProtectedClear => {
            "codes stayed after a plain clear: look for the maker's protected procedure".to_owned()
        }
        RecoveryStep::ProveByScan => {
            format!("scan again, monitors ready, {proven_days} days or more after the clear")
        }
    }
}

/// How many recoveries wait for a step: "6 for the supply to be restored".
pub fn waiting_for(step: RecoveryStep, recoveries: usize, proven_days: i64) -> String {
    let what = match step {
        RecoveryStep::ChargeAndTest => "a full charge and a test".to_owned(),
        RecoveryStep::RestoreSupply => "the supply to be restored".to_owned(),
        RecoveryStep::CheckCharging => {
            "a check of the charging and of what draws current at rest".to_owned()
        }
        RecoveryStep::SaveCodes => "their codes to be saved".to_owned(),
        RecoveryStep::ClearCodes => "their codes to be cleared".to_owned(),
        RecoveryStep::ProtectedClear => "a protected clear".to_owned(),
        RecoveryStep::ProveByScan => format!(
            "a scan {} or more after the clear",
            counted(proven_days.max(0) as usize, "day", "days")
        ),
    };
    format!("{recoveries} for {what}")
}
