//! The comebacks report's funnel charts.

use super::ComebackRate;
use crate::chart::{self, Chart, FunnelLimit, FunnelPoint};
use crate::style::ReportStyle;
use statistics::rates::funnel::funnel_limits;

/// Points of a limit's line.
const STEPS: usize = 60;

/// The name of a kind's funnel.
pub fn name(kind: &str) -> String {
    format!("comebacks-by-{kind}")
}

/// The share that came back, adjusted for the mix of work, over the number of orders: of shops and of
/// technicians.
pub fn funnels(rates: &[ComebackRate], style: &ReportStyle) -> Vec<Chart> {
    ["shop", "technician"]
        .iter()
        .filter_map(|kind| funnel(kind, rates, style))
        .collect()
}

fn funnel(kind: &str, rates: &[ComebackRate], style: &ReportStyle) -> Option<Chart> {
    let of_kind: Vec<&ComebackRate> = rates.iter().filter(|row| row.kind == kind).collect();
    let overall = of_kind
        .first()?
        .overall_share
        .filter(|share| *share > 0.0)?;
    let points: Vec<FunnelPoint> = of_kind
        .iter()
        .filter_map(|row| {
            Some(FunnelPoint {
                name: row.unit(style),
                cases: row.orders as f64,
                share: row.adjusted_share?,
                outside: row.outside().is_some(),
            })
        })
        .collect();
    let most = points.iter().map(|point| point.cases).fold(1.0, f64::max);
    let limits: Vec<FunnelLimit> = (1..=STEPS)
        .map(|step| most * 1.05 * step as f64 / STEPS as f64)
        .filter_map(|cases| {
            let limits = funnel_limits(overall, cases, 0.95).ok()?;
            Some(FunnelLimit {
                cases,
                lower: limits.lower,
                upper: limits.upper.min(1.0),
            })
        })
        .collect();
    chart::funnel(
        &name(kind),
        "orders",
        "came back, adjusted for the mix of work",
        overall,
        &points,
        &limits,
    )
}
