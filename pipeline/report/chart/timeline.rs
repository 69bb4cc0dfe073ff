//! What happened to one vehicle, a lane a kind, along one line of days.

use chrono::NaiveDate;

use super::Chart;
use super::frame::{Axis, day_number};
use super::svg::{Anchor, Svg, cut, text_width};

/// Something that lasted.
#[derive(Debug, Clone)]
pub struct Span {
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub note: String,
}

/// Something that happened on a day; a `weighty` one is filled.
#[derive(Debug, Clone)]
pub struct Mark {
    pub day: NaiveDate,
    pub weighty: bool,
    pub note: String,
}

/// One kind of thing.
#[derive(Debug, Clone, Default)]
pub struct Lane {
    pub name: String,
    pub spans: Vec<Span>,
    pub marks: Vec<Mark>,
}

const ROW: f64 = 34.0;
const WIDTH: f64 = 640.0;

/// Draws the lanes that hold something, from `first` to `last`; none where none does.
pub fn timeline(name: &str, first: NaiveDate, last: NaiveDate, lanes: &[Lane]) -> Option<Chart> {
    let lanes: Vec<&Lane> = lanes
        .iter()
        .filter(|lane| !lane.spans.is_empty() || !lane.marks.is_empty())
        .collect();
    lanes.first()?;
    let axis = Axis::days(first, last);
    let left = lanes
        .iter()
        .map(|lane| text_width(&lane.name))
        .fold(40.0, f64::max)
        .min(150.0)
        + 14.0;
    let right = WIDTH - 20.0;
    let bottom = 8.0 + ROW * lanes.len() as f64;
    let mut svg = Svg::new(WIDTH, bottom + 28.0);
    let x = |day: f64| {
        left + ((day - axis.low) / (axis.high - axis.low)).clamp(0.0, 1.0) * (right - left)
    };
    let mut free_from = 0.0;
    for (tick, written) in &axis.ticks {
        let at = x(*tick);
        svg.line((at, 4.0), (at, bottom), "grid");
        let half = text_width(written) / 2.0;
        let middle = at.min(WIDTH - half - 2.0);
        if middle - half >= free_from {
            svg.text((middle, bottom + 18.0), Anchor::Middle, "soft", written);
            free_from = middle + half + 8.0;
        }
    }
    for (row, lane) in lanes.iter().enumerate() {
        let y = 8.0 + ROW * (row as f64 + 0.5);
        svg.line((left, y), (right, y), "grid");
        let words = cut(&lane.name, left - 12.0);
        svg.text((left - 8.0, y + 4.5), Anchor::End, "", &words);
        for span in &lane.spans {
            let (from, to) = (x(day_number(span.first)), x(day_number(span.last)));
            svg.rect(
                (from, y - 8.0),
                ((to - from).max(2.0), 16.0),
                "bar",
                &span.note,
            );
        }
        for mark in &lane.marks {
            let class = if mark.weighty { "dot" } else { "ring" };
            svg.circle((x(day_number(mark.day)), y), 5.0, class, &mark.note);
        }
    }
    let counted: Vec<String> = lanes
        .iter()
        .map(|lane| format!("{} {}", lane.name, lane.spans.len() + lane.marks.len()))
        .collect();
    let alternative = format!("Timeline {first} to {last}: {}.", counted.join(", "));
    Some(svg.finish(name, &alternative))
}
