//! A quantity over days: what was measured, the line through it, the band it is expected in.

use chrono::NaiveDate;

use super::Chart;
use super::frame::{Axis, Frame, day_number};
use super::svg::Anchor;

/// A day of a line with the limits around it.
#[derive(Debug, Clone, Copy)]
pub struct BandPoint {
    pub day: NaiveDate,
    pub value: f64,
    pub lower: f64,
    pub upper: f64,
}

/// What the values of a trend are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Scale {
    /// Shares, written in per cent.
    #[default]
    Share,
    Number,
}

/// What a trend chart shows.
#[derive(Debug, Default)]
pub struct Trend<'a> {
    pub label: &'a str,
    /// Single measurements, with a note shown when pointed at.
    pub measured: &'a [(NaiveDate, f64, String)],
    /// The line and its band.
    pub line: &'a [BandPoint],
    /// A narrower band within it.
    pub inner: &'a [BandPoint],
    /// A level to hold it against, and its name.
    pub level: Option<(f64, &'a str)>,
    /// The day looked back from: what lies after it is a forecast.
    pub as_of: Option<NaiveDate>,
    /// The least the axis reaches up to.
    pub reach: f64,
    pub scale: Scale,
}

/// Draws a trend; none where nothing was measured and there is no line.
pub fn trend(name: &str, alternative: &str, what: &Trend<'_>) -> Option<Chart> {
    let days = || {
        what.measured
            .iter()
            .map(|(day, ..)| *day)
            .chain(what.line.iter().map(|point| point.day))
    };
    let (first, last) = (days().min()?, days().max()?);
    let highest = what
        .measured
        .iter()
        .map(|(_, value, _)| *value)
        .chain(what.line.iter().map(|point| point.upper))
        .chain(what.level.map(|(level, _)| level))
        .filter(|value| value.is_finite())
        .fold(what.reach, f64::max);
    let y = match what.scale {
        // A battery may read a little above its rating, hardly half above it.
        Scale::Share => Axis::numbers(0.0, highest.min(1.5), true, what.label, |share| {
            format!("{:.0} %", share * 100.0)
        }),
        Scale::Number => Axis::numbers(0.0, highest, true, what.label, |value| {
            format!("{}", (value * 10.0).round() / 10.0)
        }),
    };
    let mut frame = Frame::new(560.0, 300.0, Axis::days(first, last), y);
    for points in [what.line, what.inner] {
        let band: Vec<(f64, f64)> = points
            .iter()
            .map(|point| (point.day, point.upper))
            .chain(points.iter().rev().map(|point| (point.day, point.lower)))
            .map(|(day, value)| frame.at(day_number(day), value))
            .collect();
        if !band.is_empty() {
            frame.svg.polygon(&band, "band");
        }
    }
    let (left, right) = frame.sides();
    if let Some((level, words)) = what.level {
        let y = frame.y(level);
        frame.svg.line((left, y), (right, y), "dashed");
        frame
            .svg
            .text((left + 4.0, y + 15.0), Anchor::Start, "soft", words);
    }
    let line: Vec<(f64, f64)> = what
        .line
        .iter()
        .map(|point| frame.at(day_number(point.day), point.value))
        .collect();
    if !line.is_empty() {
        frame.svg.polyline(&line, "accent");
    }
    if let Some(as_of) = what.as_of.filter(|day| *day > first && *day < last) {
        let x = frame.x(day_number(as_of));
        let (top, bottom) = (frame.y(f64::MAX), frame.y(0.0));
        frame.svg.line((x, top), (x, bottom), "axis");
        let (anchor, aside) = match x > (left + right) / 2.0 {
            true => (Anchor::End, -4.0),
            false => (Anchor::Start, 4.0),
        };
        frame.svg.text(
            (x + aside, bottom - 6.0),
            anchor,
            "soft",
            &format!("as of {as_of}"),
        );
    }
    for (day, value, note) in what.measured {
        let at = frame.at(day_number(*day), *value);
        frame.svg.circle(at, 4.5, "dot", note);
    }
    Some(frame.svg.finish(name, alternative))
}
