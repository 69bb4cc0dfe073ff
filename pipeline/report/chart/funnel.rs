//! Shares of groups of different size, with the limits that chance alone would leave them in.

use super::Chart;
use super::frame::{Axis, Frame};
use super::svg::{Anchor, cut, text_width};

/// A group: how many cases, what share of them.
#[derive(Debug, Clone)]
pub struct FunnelPoint {
    pub name: String,
    pub cases: f64,
    pub share: f64,
    /// Beyond what chance leaves: drawn full, and named whatever else is.
    pub outside: bool,
}

/// The limits around the overall share at a number of cases.
#[derive(Debug, Clone, Copy)]
pub struct FunnelLimit {
    pub cases: f64,
    pub lower: f64,
    pub upper: f64,
}

/// Up to so many groups each is named; of more, those that lie outside.
const ALL_NAMED: usize = 12;

/// Draws the groups; none where there is none. `limits` go by rising number of cases; their lines leave
/// the chart where they are past its axis.
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
    let top = frame.top();
    for side in [
        |limit: &FunnelLimit| limit.lower,
        |limit: &FunnelLimit| limit.upper,
    ] {
        let line: Vec<(f64, f64)> = limits
            .iter()
            .map(|limit| (limit.cases, side(limit)))
            .collect();
        let line: Vec<(f64, f64)> = below(&line, top)
            .into_iter()
            .map(|(cases, share)| frame.at(cases, share))
            .collect();
        if line.len() > 1 {
            frame.svg.polyline(&line, "dashed");
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
            outside.push(point.name.as_str());
        }
    }
    let named: Vec<&FunnelPoint> = points
        .iter()
        .filter(|point| point.outside || points.len() <= ALL_NAMED)
        .collect();
    name_points(&mut frame, &named);
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

/// A line of falling or rising values, as far as it stays at or below `top`; it ends on it.
fn below(line: &[(f64, f64)], top: f64) -> Vec<(f64, f64)> {
    let mut inside = Vec::with_capacity(line.len());
    let mut before: Option<(f64, f64)> = None;
    for &(x, y) in line {
        if let Some((x0, y0)) = before.filter(|(_, y0)| (*y0 > top) != (y > top)) {
            inside.push((x0 + (top - y0) / (y - y0) * (x - x0), top));
        }
        if y <= top {
            inside.push((x, y));
        }
        before = Some((x, y));
    }
    inside
}

/// Writes the groups' names beside their points, moved down where they would lie on another.
fn name_points(frame: &mut Frame, points: &[&FunnelPoint]) {
    const LINE: f64 = 15.0;
    let (left, right) = frame.sides();
    let mut placed: Vec<(f64, f64, f64)> = Vec::new();
    let mut by_height: Vec<(&FunnelPoint, (f64, f64))> = points
        .iter()
        .map(|point| (*point, frame.at(point.cases, point.share)))
        .collect();
    by_height.sort_by(|a, b| a.1.1.total_cmp(&b.1.1));
    for (point, at) in by_height {
        let (anchor, aside, room) = match at.0 > (left + right) / 2.0 {
            true => (Anchor::End, -9.0, at.0 - left),
            false => (Anchor::Start, 9.0, right - at.0),
        };
        let words = cut(&point.name, room - 12.0);
        let width = text_width(&words);
        let from = match anchor {
            Anchor::End => at.0 + aside - width,
            _ => at.0 + aside,
        };
        let mut y = at.1 + 4.5;
        while placed.iter().any(|(other, other_width, other_y)| {
            from < other + other_width && *other < from + width && (y - other_y).abs() < LINE
        }) {
            y += LINE;
        }
        placed.push((from, width, y));
        frame.svg.text((at.0 + aside, y), anchor, "name", &words);
    }
}
