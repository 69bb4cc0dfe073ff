//! One table in a part: its header as a layout shows it, and its records, whatever its form.

use super::container::Part;
use super::error::IntakeError;
use super::mapping::{Layout, Mappings};
use super::plan::Plan;
use super::recognise::recognise;
use super::record::Records;
use super::text::{self, TextHead};

/// A table that has not been read yet.
pub struct Source<'p> {
    /// As shown in messages.
    pub name: String,
    file_name: String,
    form: Form<'p>,
}

enum Form<'p> {
    Text(Part<'p>),
}

/// Gives each table of a part to `visit`.
pub fn visit_sources(
    part: Part<'_>,
    visit: &mut dyn FnMut(Source<'_>) -> Result<(), IntakeError>,
) -> Result<(), IntakeError> {
    if part.head.iter().all(u8::is_ascii_whitespace) {
        return Err(IntakeError::Empty { file: part.name });
    }
    TextHead::new(&part.name, &part.head)?;
    visit(Source {
        name: part.name.clone(),
        file_name: part.file_name.clone(),
        form: Form::Text(part),
    })
}

impl<'p> Source<'p> {
    /// The header in that layout; `None` where there is none.
    pub fn header(&self, layout: &Layout) -> Option<Vec<String>> {
        match &self.form {
            Form::Text(part) => TextHead::new(&part.name, &part.head).ok()?.header(layout),
        }
    }

    /// How the table is read, by the mapping its header asks for.
    pub fn plan(&self, mappings: &Mappings) -> Result<Plan, IntakeError> {
        let header_by = |layout: &Layout| self.header(layout);
        let mapping = recognise(&self.name, &self.file_name, mappings, &header_by)?;
        let header = self.header(&mapping.layout).unwrap_or_default();
        Plan::new(&self.name, mapping, &header)
    }

    /// The records below the header.
    pub fn records(self, layout: &Layout) -> Result<Box<dyn Records + 'p>, IntakeError> {
        match self.form {
            Form::Text(part) => Ok(Box::new(text::records(part, layout)?)),
        }
    }

    /// The delimiter in that layout; a comma for forms that have none.
    pub fn delimiter(&self, layout: &Layout) -> u8 {
        match &self.form {
            Form::Text(part) => {
                TextHead::new(&part.name, &part.head).map_or(b',', |head| head.delimiter(layout))
            }
        }
    }

    /// How the text is laid out, in words; empty for other forms.
    pub fn layout_words(&self, layout: &Layout) -> String {
        match &self.form {
            Form::Text(part) => TextHead::new(&part.name, &part.head)
                .map(|head| head.words(layout))
                .unwrap_or_default(),
        }
    }
}
