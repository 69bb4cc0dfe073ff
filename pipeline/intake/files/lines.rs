//! The lines of a text, numbered as an editor numbers them, in bounded memory.
//!
//! A line longer than the limit is cut there and marked; the rest of it is passed over. Line
//! ends are LF, CRLF, or CR in a text whose start has no LF. Fails only when the reader fails.

use memchr::memchr;
use std::io::{self, BufRead};

use super::encoding::Coding;
use crate::fault::Fault;

/// One line without its end.
#[derive(Debug, Clone, Default)]
pub struct Line {
    /// Counted from 1.
    pub number: u64,
    pub text: String,
    /// Whether a line end was met, and not the end of the text.
    pub ended: bool,
    /// Why its text cannot be used.
    pub fault: Option<Fault>,
}

/// Reads lines from bytes.
pub struct Lines<'r> {
    reader: Box<dyn BufRead + 'r>,
    coding: Coding,
    /// The byte that ends a line.
    end: u8,
    number: u64,
    bytes: Vec<u8>,
    /// Bytes of a line that are kept.
    longest: usize,
}

impl<'r> Lines<'r> {
    /// `head` is the start of the text, from which the kind of line end is found.
    pub fn new(
        reader: Box<dyn BufRead + 'r>,
        coding: Coding,
        head: &[u8],
        longest: usize,
    ) -> Lines<'r> {
        let end = if head.contains(&b'\r') && !head.contains(&b'\n') {
            b'\r'
        } else {
            b'\n'
        };
        Lines {
            reader: coding.by_lines(reader),
            coding,
            end,
            number: 0,
            bytes: Vec::new(),
            longest,
        }
    }

    /// Bytes of a line that are kept.
    pub fn longest(&self) -> usize {
        self.longest
    }

    /// The next line, or `None` at the end of the text.
    pub fn next(&mut self) -> io::Result<Option<Line>> {
        self.bytes.clear();
        let (mut passed_over, mut ended, mut any) = (0, false, false);
        while !ended {
            let buffer = self.reader.fill_buf()?;
            if buffer.is_empty() {
                break;
            }
            any = true;
            let found = memchr(self.end, buffer);
            let piece = &buffer[..found.unwrap_or(buffer.len())];
            let kept = piece.len().min(self.longest - self.bytes.len());
            self.bytes.extend_from_slice(&piece[..kept]);
            passed_over += piece.len() - kept;
            ended = found.is_some();
            let taken = piece.len() + usize::from(ended);
            self.reader.consume(taken);
        }
        if !any {
            return Ok(None);
        }
        self.number += 1;
        if self.end == b'\n' && self.bytes.last() == Some(&b'\r') {
            self.bytes.pop();
        }
        Ok(Some(Line {
            ended,
            ..self.line(passed_over)
        }))
    }

    fn line(&self, passed_over: usize) -> Line {
        let number = self.number;
        if passed_over > 0 {
            let start = &self.bytes[..self.bytes.len().min(8192)];
            let text = String::from_utf8_lossy(start).into_owned();
            let detail = format!(
                "{} bytes, at most {} are read (limits.line_kb)",
                self.bytes.len() + passed_over,
                self.longest
            );
            let fault = Some(Fault::line("the line is too long", detail));
            return Line {
                number,
                text,
                fault,
                ended: true,
            };
        }
        match self.coding.line(&self.bytes) {
            Ok(text) => {
                let zero = text
                    .contains('\0')
                    .then(|| Fault::line("the line holds a zero byte", "it is damaged"));
                Line {
                    number,
                    text: text.into_owned(),
                    fault: zero,
                    ended: true,
                }
            }
            Err(detail) => {
                let text = String::from_utf8_lossy(&self.bytes).into_owned();
                let class = format!("the line is not in {}", self.coding.name());
                Line {
                    number,
                    text,
                    fault: Some(Fault::line(class, detail)),
                    ended: true,
                }
            }
        }
    }
}
