//! How sure the failures on record are, and what the ranking would be without the doubtful ones.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;

/// The section.
pub const SECTION: Section = Section {
    doing: "leaving out doubtful failures",
    templates: &[("doubtful_failures.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

/// Batteries that are held to stand first.
const FIRST: i64 = 20;

const FAILURES: &str = "
    SELECT certainty, end_evidence AS evidence, COUNT(*) AS failures
    FROM battery_life WHERE failed AND certainty IS NOT NULL
    GROUP BY certainty, end_evidence
    ORDER BY CASE certainty WHEN 'certain' THEN 0 WHEN 'likely' THEN 1 ELSE 2 END, failures DESC, evidence";

/// Failures on record, as sure as each other and for the same reason.
#[derive(Debug, Deserialize, Serialize)]
struct Failures {
    certainty: String,
    evidence: String,
    failures: i64,
}

const EFFECT: &str = "SELECT * FROM doubtful_effect ORDER BY rank";

/// A battery with and without the doubtful failures.
#[derive(Debug, Deserialize)]
struct Effect {
    vin: String,
    unit_no: Option<String>,
    rank: i64,
    chance: Option<f64>,
    sure_chance: Option<f64>,
    sure_rank: i64,
}

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let failures: Vec<Failures> = reading.rows(FAILURES).await?;
    let effect: Vec<Effect> = reading.rows(EFFECT).await?;
    let expected =
        |chance: fn(&Effect) -> Option<f64>| effect.iter().filter_map(chance).sum::<f64>();
    let units = |moved: fn(&&Effect) -> bool| -> Vec<String> {
        let moved = effect.iter().filter(moved);
        moved
            .map(|row| reading.style.vehicle(row.unit_no.as_deref(), &row.vin))
            .collect()
    };
    reading.part(
        "doubtful_failures.md",
        context! {
            all_failures => failures.iter().map(|row| row.failures).sum::<i64>(),
            failures,
            is_told => !effect.is_empty(),
            first => FIRST.min(effect.len() as i64),
            expected => expected(|row| row.chance),
            expected_sure => expected(|row| row.sure_chance),
            leave => units(|row| row.rank <= FIRST && row.sure_rank > FIRST),
            enter => units(|row| row.rank > FIRST && row.sure_rank <= FIRST),
        },
    )
}
