//! The title, the record so far, and the report in five lines.

mod short_version;

use minijinja::context;

use super::depots::room;
use super::last_report::record::Record;
use super::ranking::rows;
use super::{Part, Reading, Section, floods, last_report, pick_list, recoveries, test_first};
use crate::ReportError;
use short_version::Facts;

/// The section.
pub const SECTION: Section = Section {
    doing: "ranking the batteries",
    templates: &[("opening.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let ranking = rows::ranking(reading).await?;
    let depots = room::depots(&ranking, &reading.analysis.settings().plan);
    let order = pick_list::to_order(&pick_list::picks(reading).await?);
    let tests = test_first::tests(reading).await?;
    let paying_tests = tests.iter().filter(|row| row.pays).count();
    let floods = floods::floods(reading).await?;
    let recoveries = recoveries::recoveries(reading).await?;
    let predictions = last_report::predictions(reading).await?;
    let short_version = short_version::short_version(&Facts {
        ranking: &ranking,
        depots: &depots,
        order: &order,
        tests: paying_tests,
        other_tests: tests.len() - paying_tests,
        floods: &floods,
        recoveries: &recoveries,
        run: &reading.analysis.settings().run,
        unedited_prices: &reading.analysis.settings().unedited_prices(),
        style: reading.style,
    });
    let part = reading.part(
        "opening.md",
        context! {
            short_version,
            record => Record::of(&predictions),
            batteries => ranking.len(),
        },
    )?;
    Ok(part.with_short_version(short_version))
}
