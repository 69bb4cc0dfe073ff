//! Shares of groups of different size, with the limits that chance alone would leave them in.

use super::Chart;
use super::frame::{Axis, Frame};
use super::svg::{Anchor, cut};

/// A group: how many cases, what share of them.
#[derive(Debug, Clone)]
pub struct FunnelPoint {
    pub name: String,
    pub cases: f64,
    pub share: f64,
    /// Named in the chart, because it lies outside the limits.
    pub outside: bool,
}

/// The limits around the overall share at a number of cases.
#[derive(Debug, Clone, Copy)]
pub struct FunnelLimit {
    pub cases: f64,
    pub lower: f64,
    pub upper: f64,
}

/// Draws the groups; none where there is none. `limits` go by rising number of cases.
pub fn funnel(
    name: &str,
    cases_label: &str,
    share_label: &str,
    overall: f64,
    points: &[FunnelPoint],
    limits: &[FunnelLimit],
) -> Option<Chart> {
    points.first()?;
    let most = points.iter().map(|point| point.cases).fold(1.0, f64::max);
    let highest = points
        .iter()
        .map(|point| point.share)
        .fold(overall, f64::max)
        * 1.15;
    let x = Axis::numbers(0.0, most * 1.05, true, cases_label, |cases| {
        format!("{cases}")
    });
    let y = Axis::numbers(0.0, highest.clamp(0.02, 1.0), true, share_label, |share| {
        format!("{:.0} %", share * 100.0)
    });
    let mut frame = Frame::new(560.0, 340.0, x, y);
    for side in [
        limits
            .iter()
            .map(|limit| frame.at(limit.cases, limit.lower))
            .collect::<Vec<_>>(),
        limits
            .iter()
            .map(|limit| frame.at(limit.cases, limit.upper))
            .collect(),
    ] {
        if side.len() > 1 {
            frame.svg.polyline(&side, "dashed");
        }
    }
    let (left, right) = frame.sides();
    let y = frame.y(overall);
    frame.svg.line((left, y), (right, y), "ink");
    let mut outside = Vec::new();
    for point in points {
        let at = frame.at(point.cases, point.share);
        let note = format!(
            "{}: {:.1} % of {:.0}",
            point.name,
            point.share * 100.0,
            point.cases
        );
        let class = if point.outside { "dot" } else { "ring" };
        frame.svg.circle(at, 5.0, class, &note);
        if point.outside {
            let (anchor, aside, room) = match at.0 > (left + right) / 2.0 {
                true => (Anchor::End, -9.0, at.0 - left),
                false => (Anchor::Start, 9.0, right - at.0),
            };
            let words = cut(&point.name, room - 12.0);
            frame
                .svg
                .text((at.0 + aside, at.1 + 4.5), anchor, "", &words);
            outside.push(point.name.as_str());
        }
    }
    let alternative = format!(
        "{share_label} by {cases_label}, {} groups, {:.1} % overall; outside the limits of chance: {}.",
        points.len(),
        overall * 100.0,
        match outside.is_empty() {
            true => "none".to_owned(),
            false => outside.join(", "),
        }
    );
    Some(frame.svg.finish(name, &alternative))
}
