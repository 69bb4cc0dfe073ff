//! Figures of several groups below each other, each with its interval.

use super::Chart;
use super::frame::Axis;
use super::svg::{Anchor, Svg, cut, text_width};

/// A group's figure with its 95 % limits.
#[derive(Debug, Clone)]
pub struct Interval {
    pub name: String,
    pub value: f64,
    pub lower: f64,
    pub upper: f64,
}

const ROW: f64 = 22.0;
const WIDTH: f64 = 520.0;

/// Draws the groups in their order; `overall` is a level to hold them against. None without groups.
/// Limits beyond four times the largest figure are cut at the edge, so that one thin group does not
/// flatten the others.
pub fn intervals(
    name: &str,
    label: &str,
    overall: Option<f64>,
    groups: &[Interval],
) -> Option<Chart> {
    groups.first()?;
    let largest = groups.iter().map(|group| group.value).fold(0.0, f64::max);
    let high = groups
        .iter()
        .map(|group| group.upper)
        .fold(largest, f64::max)
        .min(largest.max(overall.unwrap_or(0.0)).max(1e-6) * 4.0);
    let axis = Axis::numbers(0.0, high, true, label, |value| format!("{value}"));
    let left = groups
        .iter()
        .map(|group| text_width(&group.name))
        .fold(60.0, f64::max)
        .min(190.0)
        + 14.0;
    let right = WIDTH - 20.0;
    let top = 28.0;
    let bottom = top + ROW * groups.len() as f64 + 4.0;
    let mut svg = Svg::new(WIDTH, bottom + 28.0);
    let x = |value: f64| left + (value / axis.high).clamp(0.0, 1.0) * (right - left);
    svg.text((2.0, 16.0), Anchor::Start, "", label);
    for (tick, written) in &axis.ticks {
        svg.line((x(*tick), top), (x(*tick), bottom), "grid");
        svg.text((x(*tick), bottom + 18.0), Anchor::Middle, "soft", written);
    }
    if let Some(overall) = overall {
        svg.line((x(overall), top), (x(overall), bottom), "dashed");
    }
    for (at, group) in groups.iter().enumerate() {
        let y = top + ROW * (at as f64 + 0.5);
        let words = cut(&group.name, left - 12.0);
        svg.text((left - 8.0, y + 4.5), Anchor::End, "", &words);
        svg.line((x(group.lower), y), (x(group.upper), y), "accent");
        let note = format!(
            "{}: {:.1} ({:.1} to {:.1})",
            group.name, group.value, group.lower, group.upper
        );
        svg.circle((x(group.value), y), 4.5, "dot", &note);
    }
    let alternative = format!(
        "{label}: {}.",
        groups
            .iter()
            .map(|group| format!(
                "{} {:.1} ({:.1} to {:.1})",
                group.name, group.value, group.lower, group.upper
            ))
            .collect::<Vec<_>>()
            .join("; ")
    );
    Some(svg.finish(name, &alternative))
}
