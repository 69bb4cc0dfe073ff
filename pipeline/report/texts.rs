//! The texts of every report, so that those of a reader's own can be held against all of them.

use super::section::Section;
use super::style::ReportStyle;
use super::templates::{Template, Templates};
use super::{ReportError, comebacks, history, screen, weekly};

/// The templates of all reports, the reader's own before those that are shipped.
pub fn templates(style: &ReportStyle) -> Result<Templates, ReportError> {
    let shipped = of(weekly::SECTIONS)
        .chain(of(comebacks::SECTIONS))
        .chain(of(screen::SECTIONS))
        .chain(of(history::SECTIONS));
    Templates::new(style, shipped)
}

fn of<S>(sections: &'static [Section<S>]) -> impl Iterator<Item = Template> {
    sections
        .iter()
        .flat_map(|section| section.templates)
        .copied()
}
