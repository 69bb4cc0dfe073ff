//! The title and the comebacks report in a few lines, what went wrong this month first.

mod short_version;
mod signal;

use minijinja::context;

use super::{
    Part, RECENT_DAYS, Reading, Section, YEAR_DAYS, came_back, cleared_unchecked, codes_that_stay,
    comeback_rates, repeat_batteries, replaced_in_flood, untested_floods,
};
use crate::ReportError;
use short_version::Facts;
use signal::Signal;

/// The section.
pub const SECTION: Section = Section {
    doing: "looking for trouble that came back",
    templates: &[("comeback_opening.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let signals: Vec<Signal> = reading.rows(signal::SIGNALS).await?;
    let overall = comeback_rates::overall(reading).await?;
    let comebacks = came_back::comebacks(reading).await?;
    let this_year = reading.since(YEAR_DAYS);
    let recently = reading.since(RECENT_DAYS);
    let replaced = replaced_in_flood::replaced(reading).await?;
    let unchecked = cleared_unchecked::unchecked(reading).await?;
    let repeats = repeat_batteries::repeats(reading).await?;
    let facts = Facts {
        signals: &signals,
        overall: overall.as_ref(),
        rates: &comeback_rates::rates(reading).await?,
        repeated: &came_back::repeated(&comebacks, &this_year),
        modules: replaced
            .iter()
            .filter(|row| row.opened_on > this_year && row.replaced == "module")
            .collect(),
        untested: untested_floods::untested(reading).await?.len(),
        unchecked: unchecked
            .iter()
            .filter(|row| row.opened_on > recently)
            .collect(),
        repeats: repeats
            .iter()
            .filter(|row| row.replaced_on > this_year)
            .count(),
        latched: codes_that_stay::latched(reading).await?.len(),
        comeback: &reading.analysis.settings().comeback,
        style: reading.style,
    };
    let short_version = facts.short_version();
    let part = reading.part("comeback_opening.md", context! { short_version, overall })?;
    Ok(part.with_short_version(short_version))
}
