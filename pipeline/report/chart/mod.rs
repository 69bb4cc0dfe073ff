//! Charts as SVG: one ink, one accent, no colour that means good or bad.
//!
//! A chart is drawn from plain numbers and cannot fail; one without points is not drawn at all, so
//! that no report shows empty axes. Colours are classes that `chart.css` gives a light and a dark
//! form. Every chart carries its text alternative. Which numbers are worth drawing is left to the
//! reports.

mod calibration;
mod frame;
mod funnel;
mod intervals;
mod survival;
mod svg;
mod timeline;
mod trend;

pub use calibration::{ChanceBand, calibration};
pub use funnel::{FunnelLimit, FunnelPoint, funnel};
pub use intervals::{Interval, intervals};
pub use survival::{CurvePoint, survival};
pub use timeline::{Lane, Mark, Span, timeline};
pub use trend::{BandPoint, Scale, Trend, trend};

/// Colours and strokes of every chart, for the page and for a chart on its own.
pub const CSS: &str = include_str!("chart.css");

/// A chart that is ready to be put into a page or a file.
#[derive(Debug, Clone)]
pub struct Chart {
    /// Its file is `charts/NAME.svg`, with the name made safe.
    pub name: String,
    /// What it shows, for those who do not see it.
    pub alternative: String,
    /// The SVG element, without a style of its own.
    pub svg: String,
}

/// Letters of a file name that is made from data.
const LONGEST_NAME: usize = 80;

/// A name that any file system takes, from any text: letters, digits and hyphens, not too long. One
/// that was cut ends with a number that tells it from others with the same beginning.
pub fn file_name(text: &str) -> String {
    let plain = |letter: char| match letter.is_alphanumeric() {
        true => letter,
        false => '-',
    };
    let name: String = text.chars().map(plain).collect();
    if name.len() <= LONGEST_NAME && !name.is_empty() {
        return name;
    }
    let mut start = String::new();
    for letter in name.chars() {
        if start.len() + letter.len_utf8() > LONGEST_NAME - 9 {
            break;
        }
        start.push(letter);
    }
    // FNV-1a, 32 bits (Fowler, Noll, Vo; RFC 9923).
    let hash = text.bytes().fold(0x811C_9DC5_u32, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    });
    format!("{start}-{hash:08x}")
}

impl Chart {
    /// Where a report's text names it.
    pub fn path(&self) -> String {
        format!("charts/{}.svg", file_name(&self.name))
    }

    /// As a file of its own: with its style and a ground to stand on.
    pub fn file(&self) -> String {
        let inside =
            format!("<style>{CSS}</style><rect class=\"paper\" width=\"100%\" height=\"100%\"/>");
        match self.svg.find('>') {
            Some(at) => format!("{}{inside}{}\n", &self.svg[..=at], &self.svg[at + 1..]),
            None => self.svg.clone(),
        }
    }
}
