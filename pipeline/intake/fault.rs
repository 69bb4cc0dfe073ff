//! Why a row goes to quarantine.
//!
//! A reason reads `class: detail`. The class is one of few sentences, so that reasons can be
//! counted; the detail holds what stood in the row.

use std::fmt;

/// One thing wrong with one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The field at fault, where there is one.
    pub field: Option<&'static str>,
    /// What is wrong, the same words for every such row.
    pub class: String,
    /// What stood in this row, and what may have happened.
    pub detail: String,
    /// Whether it lies in one cell, so that the rest of the row may be sound.
    pub is_of_cell: bool,
}

impl Fault {
    pub fn field(field: &'static str, class: impl Into<String>, detail: impl Into<String>) -> Self {
        Self {
            field: Some(field),
            class: class.into(),
            detail: detail.into(),
            is_of_cell: true,
        }
    }

    /// A fault of the whole row that shows in that field.
    pub fn row(field: &'static str, class: impl Into<String>, detail: impl Into<String>) -> Self {
        Self {
            is_of_cell: false,
            ..Self::field(field, class, detail)
        }
    }

    pub fn line(class: impl Into<String>, detail: impl Into<String>) -> Self {
        Self {
            field: None,
            class: class.into(),
            detail: detail.into(),
            is_of_cell: false,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.detail.is_empty() {
            f.write_str(&self.class)
        } else {
            write!(f, "{}: {}", self.class, self.detail)
        }
    }
}

/// The text in quotes, cut at 60 characters so that a reason stays a line.
pub fn quoted(text: &str) -> String {
    const LONGEST: usize = 60;
    if text.chars().nth(LONGEST).is_some() {
        let start: String = text.chars().take(LONGEST).collect();
        format!("\"{start}…\"")
    } else {
        format!("\"{text}\"")
    }
}
