//! The text of a part: its encoding, its header as a layout shows it, and its records.

use std::io::{BufReader, Read};

use super::delimited::{Delimited, find_delimiter};
use crate::error::IntakeError;
use crate::files::container::{HEAD_BYTES, Part, failed};
use crate::files::encoding::Coding;
use crate::files::lines::Lines;
use settings::limits::count;

/// How the text of a file is laid out; what is `None` is found from the file.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Layout {
    pub delimiter: Option<u8>,
    pub coding: Option<Coding>,
    /// Lines before the header.
    pub skip_lines: usize,
}

/// A text part's start, from which headers are tried.
pub struct TextHead<'h> {
    head: &'h [u8],
    found: Coding,
}

impl<'h> TextHead<'h> {
    /// Fails when the part is no text that can be read.
    pub fn new(part: &str, head: &'h [u8]) -> Result<TextHead<'h>, IntakeError> {
        Ok(TextHead {
            head,
            found: Coding::found(part, head)?,
        })
    }

    /// What is read when the layout leaves it open: a mark at the text's start outweighs a name.
    pub fn coding(&self, layout: &Layout) -> Coding {
        if self.found.mark_length(self.head) > 0 {
            self.found
        } else {
            layout.coding.unwrap_or(self.found)
        }
    }

    /// The delimiter the layout names, or the one that parts the header into most cells.
    pub fn delimiter(&self, layout: &Layout) -> u8 {
        layout.delimiter.unwrap_or_else(|| {
            self.header_line(layout)
                .map_or(b',', |line| find_delimiter(&line))
        })
    }

    /// The header's cells; `None` when the head does not hold a whole header.
    pub fn header(&self, layout: &Layout) -> Option<Vec<String>> {
        let delimiter = self.delimiter(layout);
        let records = Delimited::new(self.lines(layout), delimiter, layout.skip_lines).ok()?;
        self.header_line(layout)?;
        Some(records.header().to_vec()).filter(|header| !header.is_empty())
    }

    /// Encoding and delimiter in words.
    pub fn words(&self, layout: &Layout) -> String {
        let delimiter = match self.delimiter(layout) {
            b'\t' => "tab".to_owned(),
            byte => format!("\"{}\"", char::from(byte)),
        };
        format!(
            "{}, columns parted by {delimiter}",
            self.coding(layout).name()
        )
    }

    fn header_line(&self, layout: &Layout) -> Option<String> {
        let mut lines = self.lines(layout);
        for _ in 0..layout.skip_lines {
            lines.next().ok()?;
        }
        while let Some(line) = lines.next().ok()? {
            if !line.text.trim().is_empty() {
                // The last line of a full head may be cut.
                return (line.ended || self.head.len() < HEAD_BYTES).then_some(line.text);
            }
        }
        None
    }

    /// The lines of the head.
    pub fn lines(&self, layout: &Layout) -> Lines<'h> {
        let coding = self.coding(layout);
        let text = &self.head[coding.mark_length(self.head)..];
        Lines::new(Box::new(text), coding, self.head, HEAD_BYTES)
    }
}

/// The records of a text part in that layout.
pub fn records<'p>(part: Part<'p>, layout: &Layout) -> Result<Delimited<'p>, IntakeError> {
    let (name, compressed) = (part.name.clone(), part.is_compressed());
    let delimiter = TextHead::new(&part.name, &part.head)?.delimiter(layout);
    Delimited::new(lines(part, layout)?, delimiter, layout.skip_lines)
        .map_err(|error| failed(&name, compressed, error))
}

/// The lines of a text part in that layout, without a byte order mark.
pub fn lines<'p>(part: Part<'p>, layout: &Layout) -> Result<Lines<'p>, IntakeError> {
    let coding = TextHead::new(&part.name, &part.head)?.coding(layout);
    let mark = coding.mark_length(&part.head);
    let (name, compressed, head) = (part.name.clone(), part.is_compressed(), part.head.clone());
    let longest = usize::try_from(count(part.limits.line_kb) << 10).unwrap_or(usize::MAX);
    let mut reader = BufReader::with_capacity(1 << 16, part.into_reader());
    reader
        .read_exact(&mut vec![0; mark])
        .map_err(|error| failed(&name, compressed, error))?;
    Ok(Lines::new(Box::new(reader), coding, &head, longest))
}
