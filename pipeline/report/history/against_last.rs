//! Why a battery's rank is what it is against the last weekly report: what was recorded since, and which
//! reasons came and went.

use std::collections::BTreeSet;

use super::events::Event;
use super::views::{Now, Risk};
use crate::cells;
use crate::style::Units;

/// Things since the last report that are named.
const NAMED: usize = 4;

/// "Week 2026-W25: rank 14, 3.1 %. Since then: …"; none where no earlier report told of the battery.
pub fn against_last(
    row: &Now,
    risks: &[Risk],
    events: &[Event],
    week: &str,
    shared: bool,
) -> Option<String> {
    let last = risks
        .iter()
        .rfind(|risk| risk.position == row.position && risk.week.as_str() < week)?;
    let mut words = format!(
        "week {}: rank {}, {}, {}",
        last.week,
        last.rank,
        cells::per_cent(last.chance),
        last.action
    );
    let since: Vec<&str> = events
        .iter()
        .filter(|event| event.day > last.as_of)
        .map(|event| event.what.as_str())
        .collect();
    words.push_str(&match since.as_slice() {
        [] => "; nothing was recorded of the vehicle since".to_owned(),
        some => format!(
            "; recorded since: {}{}",
            some[..some.len().min(NAMED)].join(", "),
            match some.len() > NAMED {
                true => format!(" and {} more", some.len() - NAMED),
                false => String::new(),
            }
        ),
    });
    // As it was told is metric text, in which a name may stand.
    if let Some(before) = last.reasons.as_deref().filter(|_| !shared) {
        let now = row.why(Units::Metric);
        let (came, went) = (apart(&now, before), apart(before, &now));
        if !came.is_empty() {
            words.push_str(&format!("; new reasons: {}", came.join(", ")));
        }
        if !went.is_empty() {
            words.push_str(&format!("; no longer: {}", went.join(", ")));
        }
        if came.is_empty() && went.is_empty() && since.is_empty() {
            words.push_str("; the same reasons: age, season and the other batteries moved it");
        }
    }
    Some(words)
}

/// The reasons of the one text that the other has not, whatever their numbers.
fn apart<'a>(one: &'a str, other: &str) -> Vec<&'a str> {
    let form = |reason: &str| -> String {
        let kept = |letter: &char| letter.is_alphabetic() || *letter == ' ';
        reason.chars().filter(kept).collect()
    };
    let known: BTreeSet<String> = other.split("; ").map(form).collect();
    one.split("; ")
        .filter(|reason| !known.contains(&form(reason)))
        .collect()
}
