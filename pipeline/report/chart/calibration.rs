//! What was told against what happened: groups of predictions, each with its limits, and the line on
//! which the two agree.

use super::Chart;
use super::frame::{Axis, Frame};

/// A group of predictions: the mean chance told and the share that failed, with 95 % limits.
#[derive(Debug, Clone, Copy)]
pub struct ChanceBand {
    pub predicted: f64,
    pub failed: f64,
    pub lower: f64,
    pub upper: f64,
    pub batteries: u64,
}

/// Draws the groups; none where there is none.
pub fn calibration(name: &str, groups: &[ChanceBand]) -> Option<Chart> {
    let first = groups.first()?;
    let highest = groups
        .iter()
        .map(|group| group.predicted.max(group.upper))
        .fold(0.02, f64::max)
        .min(1.0);
    let written = |share: f64| format!("{} %", tidy(share * 100.0));
    let x = Axis::numbers(0.0, highest, true, "chance told", written);
    let y = Axis::numbers(0.0, highest, true, "share that failed", written);
    let corner = x.high.min(y.high);
    let mut frame = Frame::new(480.0, 320.0, x, y);
    let (from, to) = (frame.at(0.0, 0.0), frame.at(corner, corner));
    frame.svg.line(from, to, "dashed");
    for group in groups {
        let (low, high) = (
            frame.at(group.predicted, group.lower),
            frame.at(group.predicted, group.upper),
        );
        frame.svg.line(low, high, "accent");
        let at = frame.at(group.predicted, group.failed);
        let note = format!(
            "{} batteries: told {:.1} %, failed {:.1} %",
            group.batteries,
            group.predicted * 100.0,
            group.failed * 100.0
        );
        frame.svg.circle(at, 5.0, "dot", &note);
    }
    let last = groups.last().unwrap_or(first);
    let alternative = format!(
        "Chance told against share that failed, {} groups: from {:.1} % told, {:.1} % failed, to {:.1} % told, {:.1} % failed.",
        groups.len(),
        first.predicted * 100.0,
        first.failed * 100.0,
        last.predicted * 100.0,
        last.failed * 100.0
    );
    Some(frame.svg.finish(name, &alternative))
}

/// A number without needless digits.
fn tidy(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}
