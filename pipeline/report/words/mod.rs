//! The only sentences of the house: what queries and the model give as codes and numbers, said to the
//! reader in the reader's units.
//!
//! Each file says one thing; a code is a word of `trade` or a topic of `risk`, matched without a
//! remainder, so that a new one does not compile before it has its words. Reading fails on a word that
//! is none of its list, which names the list. Where a sentence stands is left to the sections.

pub mod evidence;
pub mod finding;
pub mod heat;
pub mod latched;
pub mod model;
pub mod reasons;
pub mod recovery;
pub mod test_answer;
pub mod visit;

use std::fmt::Display;
use std::str::FromStr;

use serde::de::{Deserialize, Deserializer, Error};

use trade::calendar::{DAYS_A_MONTH, DAYS_A_YEAR};
use trade::derived_words::{PlanChange, ShopTrouble};

/// Reads a word of a closed list.
pub fn word<'de, D, W>(from: D) -> Result<W, D::Error>
where
    D: Deserializer<'de>,
    W: FromStr<Err: Display>,
{
    String::deserialize(from)?.parse().map_err(D::Error::custom)
}

/// Reads a word of a closed list, or none.
pub fn word_or_none<'de, D, W>(from: D) -> Result<Option<W>, D::Error>
where
    D: Deserializer<'de>,
    W: FromStr<Err: Display>,
{
    Option::<String>::deserialize(from)?
        .map(|text| text.parse().map_err(D::Error::custom))
        .transpose()
}

/// Reads a list of words of a closed list; none is an empty list.
pub fn words<'de, D, W>(from: D) -> Result<Vec<W>, D::Error>
where
    D: Deserializer<'de>,
    W: FromStr<Err: Display>,
{
    Option::<Vec<String>>::deserialize(from)?
        .unwrap_or_default()
        .iter()
        .map(|text| text.parse().map_err(D::Error::custom))
        .collect()
}

/// How a battery's place differs from the last report's; nobody is blamed for what an order may yet show.
pub fn plan_change(change: PlanChange) -> &'static str {
    match change {
        PlanChange::Ignored => "still to do",
        PlanChange::New => "new",
        PlanChange::Moved => "moved",
        PlanChange::Done => "done",
    }
}

/// A kind of trouble with repairs, as what there was more or less of.
pub fn shop_trouble(trouble: ShopTrouble) -> &'static str {
    match trouble {
        ShopTrouble::CameBack => "repairs that came back",
        ShopTrouble::ModuleInFlood => {
            "modules replaced in a flood that the supply caused, without a battery test"
        }
        ShopTrouble::HandedOverUnchecked => {
            "codes cleared and the vehicle handed over without a scan after it"
        }
        ShopTrouble::BatteryAgain => "batteries replaced again under warranty",
    }
}

/// How long ago, in the unit a person would use.
pub fn ago(days: f64) -> String {
    match days {
        days if days > 400.0 => format!("{:.1} years ago", days / DAYS_A_YEAR),
        days if days > 60.0 => format!("{:.0} months ago", days / DAYS_A_MONTH),
        days if days < 1.0 => "on this very day".to_owned(),
        days if days < 2.0 => "the day before".to_owned(),
        days => format!("{days:.0} days ago"),
    }
}
