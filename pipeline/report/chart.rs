//! Charts as SVG: one ink, one accent, no colour that means good or bad.

use plotters::prelude::*;

use super::ReportError;

const INK: RGBColor = RGBColor(0x1f, 0x2a, 0x33);
const FAINT: RGBColor = RGBColor(0xd5, 0xda, 0xde);
const ACCENT: RGBColor = RGBColor(0x00, 0x5f, 0x8a);

/// A point of a survival curve with its limits.
#[derive(Debug, Clone, Copy)]
pub struct CurvePoint {
    pub age_years: f64,
    pub survival: f64,
    pub lower: f64,
    pub upper: f64,
}

/// The survival curve of a cohort as steps with their limits, and the fitted curve through it.
/// `fitted` gives the share still good at an age in years.
pub fn survival(
    title: &str,
    steps: &[CurvePoint],
    fitted: Option<&dyn Fn(f64) -> f64>,
) -> Result<String, ReportError> {
    let mut svg = String::new();
    draw_survival(&mut svg, title, steps, fitted).map_err(|error| ReportError::Chart {
        chart: "survival",
        why: error.to_string(),
    })?;
    Ok(svg)
}

fn draw_survival(
    svg: &mut String,
    title: &str,
    steps: &[CurvePoint],
    fitted: Option<&dyn Fn(f64) -> f64>,
) -> Result<(), Box<dyn std::error::Error>> {
    let oldest = steps.last().map_or(1.0, |step| step.age_years).max(0.5);
    let root = SVGBackend::with_string(svg, (760, 420)).into_drawing_area();
    root.fill(&WHITE)?;
    let label = |size: i32| ("sans-serif", size).into_font().color(&INK);
    let mut chart = ChartBuilder::on(&root)
        .caption(title, label(18))
        .margin(14)
        .x_label_area_size(44)
        .y_label_area_size(56)
        .build_cartesian_2d(0.0..oldest * 1.02, 0.0..1.0)?;
    chart
        .configure_mesh()
        .x_desc("battery age, years")
        .y_desc("share still good")
        .axis_desc_style(label(14))
        .label_style(label(13))
        .y_label_formatter(&|share| format!("{:.0} %", share * 100.0))
        .x_label_formatter(&|years| format!("{years:.0}"))
        .x_labels(12)
        .light_line_style(WHITE)
        .bold_line_style(FAINT)
        .axis_style(INK)
        .draw()?;
    let band = stairs(steps, |step| step.upper)
        .into_iter()
        .chain(stairs(steps, |step| step.lower).into_iter().rev())
        .collect::<Vec<_>>();
    chart.draw_series(std::iter::once(Polygon::new(band, ACCENT.mix(0.18))))?;
    chart.draw_series(LineSeries::new(
        stairs(steps, |step| step.survival),
        ACCENT.stroke_width(2),
    ))?;
    if let Some(fitted) = fitted {
        let curve = (0..=100).map(|at| {
            let years = oldest * f64::from(at) / 100.0;
            (years, fitted(years))
        });
        chart.draw_series(DashedLineSeries::new(curve, 6, 4, INK.stroke_width(1)))?;
    }
    root.present()?;
    Ok(())
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
