//! How long batteries last: the survival curve of a cohort as steps with their limits, the law
//! fitted to it, and the whole fleet to compare with.

use super::Chart;
use super::frame::{Axis, Frame};

/// A step of a survival curve with its 95 % limits.
#[derive(Debug, Clone, Copy)]
pub struct CurvePoint {
    pub age_years: f64,
    pub survival: f64,
    pub lower: f64,
    pub upper: f64,
}

/// The curve of `cohort` up to `oldest_years`; `fitted` gives the share still good at an age in
/// years, `fleet` is drawn thin beside it. None where there is no step to draw.
pub fn survival(
    name: &str,
    cohort: &str,
    steps: &[CurvePoint],
    fitted: Option<&dyn Fn(f64) -> f64>,
    fleet: Option<&[CurvePoint]>,
    oldest_years: f64,
) -> Option<Chart> {
    let last = steps.last()?;
    let oldest = oldest_years.max(last.age_years).max(0.5);
    let x = Axis::numbers(0.0, oldest, false, "battery age, years", |years| {
        format!("{years}")
    });
    let y = Axis::numbers(
        0.0,
        1.0,
        false,
        &format!("share still good: {cohort}"),
        |share| format!("{:.0} %", share * 100.0),
    );
    let mut frame = Frame::new(480.0, 300.0, x, y);
    let upper = stairs(steps, |step| step.upper);
    let lower = stairs(steps, |step| step.lower);
    let band: Vec<(f64, f64)> = upper
        .into_iter()
        .chain(lower.into_iter().rev())
        .map(|(x, y)| frame.at(x, y))
        .collect();
    frame.svg.polygon(&band, "band");
    if let Some(fleet) = fleet {
        let line = on_frame(&frame, &stairs(fleet, |step| step.survival));
        frame.svg.polyline(&line, "axis");
    }
    let line = on_frame(&frame, &stairs(steps, |step| step.survival));
    frame.svg.polyline(&line, "accent");
    if let Some(fitted) = fitted {
        let curve: Vec<(f64, f64)> = (0..=96)
            .map(|at| oldest * f64::from(at) / 96.0)
            .map(|years| frame.at(years, fitted(years)))
            .collect();
        frame.svg.polyline(&curve, "dashed");
    }
    let alternative = format!(
        "Survival of {cohort}: at {:.1} years {:.0} % are still good (95 % limits {:.0} to {:.0} %).",
        last.age_years,
        last.survival * 100.0,
        last.lower * 100.0,
        last.upper * 100.0
    );
    Some(frame.svg.finish(name, &alternative))
}

fn on_frame(frame: &Frame, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().map(|(x, y)| frame.at(*x, *y)).collect()
}

/// The corners of a step function that starts at 1.
fn stairs(steps: &[CurvePoint], height: impl Fn(&CurvePoint) -> f64) -> Vec<(f64, f64)> {
    let mut corners = vec![(0.0, 1.0)];
    let mut last = 1.0;
    for step in steps {
        corners.push((step.age_years, last));
        last = height(step);
        corners.push((step.age_years, last));
    }
    corners
}
