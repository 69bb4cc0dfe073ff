//! The screening of vehicles for sale: for each one what its 12 V supply is likely to cost, what is
//! missing, and what to do with it.

mod assess;
mod inventory;
pub mod judged;
mod likelihood;
mod outlook;
mod views;
mod words;

use std::path::Path;

use super::ReportError;
use super::document::{Document, Written};
use super::section::{self, Reading, Section};
use super::sections;
use super::style::ReportStyle;
use super::templates::Templates;
pub use assess::Assessed;
pub use inventory::{Fault, Inventory, InventoryError, Listed, read as read_inventory};
pub use judged::{Answer, Judged};
pub use likelihood::{LikelihoodRatio, Trouble, chance_of_traction, likelihood_ratio, times};
pub use outlook::{Item, Outlook, outlook};
use tables::Analysis;

/// The sections, as the reader meets them.
pub const SECTIONS: &[Section<Judged>] = &[
    sections::screen_opening::SECTION,
    sections::screened::SECTION,
    sections::screen_details::SECTION,
    sections::traction_or_supply::SECTION,
    sections::lines_not_used::SECTION,
    sections::screen_method::SECTION,
];

/// Screens the listed vehicles into `out/screen-YYYY-MM-DD/`.
pub async fn write(
    analysis: &Analysis,
    inventory: &Inventory,
    out: &Path,
    style: &ReportStyle,
    templates: &Templates,
) -> Result<Written, ReportError> {
    let judged = judged::judge(analysis, inventory, style).await?;
    let reading = Reading {
        analysis,
        style,
        templates,
        about: &judged,
        once: Default::default(),
    };
    let whole = section::make(SECTIONS, &reading, &|_| {}).await?;
    let as_of = analysis.as_of();
    let title = format!("12 V screening, {as_of}");
    let folder = out.join(format!("screen-{as_of}"));
    Document::of("screen", title, as_of, whole).write(&folder, style)
}
