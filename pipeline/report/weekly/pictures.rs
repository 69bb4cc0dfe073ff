//! The weekly report's charts.

use super::super::chart::{self, Chart, CurvePoint, Interval};
use super::views::{CurveStep, LifeFit, Rate};

/// The most groups one chart of rates shows.
const RATE_GROUPS: usize = 16;

/// Survival of the whole fleet, then of each cohort that had a failure.
pub fn survival_charts(curves: &[CurveStep], fits: &[LifeFit]) -> Vec<Chart> {
    let points = |kind: &str, cohort: &str| -> Vec<CurvePoint> {
        curves
            .iter()
            .filter(|step| step.cohort_kind == kind && step.cohort == cohort)
            .map(|step| CurvePoint {
                age_years: step.age_days / 365.25,
                survival: step.survival,
                lower: step.lower.unwrap_or(0.0),
                upper: step.upper.unwrap_or(1.0),
            })
            .collect()
    };
    let fleet = fits
        .iter()
        .find(|fit| fit.cohort_kind == "fleet")
        .map(|fit| points("fleet", &fit.cohort))
        .unwrap_or_default();
    // The same ages on every chart, so that they can be compared.
    let oldest = curves
        .iter()
        .map(|step| step.age_days / 365.25)
        .fold(0.0, f64::max);
    fits.iter()
        .filter_map(|fit| {
            let is_fleet = fit.cohort_kind == "fleet";
            let steps = points(&fit.cohort_kind, &fit.cohort);
            let law = fit
                .law()
                .map(|law| move |years: f64| law.survival(years * 365.25));
            let name = match is_fleet {
                true => "survival".to_owned(),
                false => format!("survival-{}", file_name(&fit.cohort)),
            };
            chart::survival(
                &name,
                &fit.cohort,
                &steps,
                law.as_ref().map(|law| law as &dyn Fn(f64) -> f64),
                (!is_fleet).then_some(fleet.as_slice()),
                oldest,
            )
        })
        .collect()
}

/// Failure rates of one kind of cohort with their limits, against the fleet's.
pub fn rate_chart(kind: &str, rates: &[Rate]) -> Option<Chart> {
    let overall = rates
        .iter()
        .find(|rate| rate.cohort_kind == "fleet")
        .and_then(|rate| rate.failures_per_1000_months);
    let groups: Vec<Interval> = rates
        .iter()
        .filter(|rate| rate.cohort_kind == kind)
        .filter_map(|rate| {
            Some(Interval {
                name: rate.cohort.clone(),
                value: rate.failures_per_1000_months?,
                lower: rate.lower?,
                upper: rate.upper?,
            })
        })
        .take(RATE_GROUPS)
        .collect();
    chart::intervals(
        &format!("rate-by-{}", file_name(kind)),
        &format!("failures per 1,000 battery-months by {kind}"),
        overall,
        &groups,
    )
}

/// A name as a file's name takes it.
fn file_name(name: &str) -> String {
    name.chars()
        .map(|letter| match letter.is_ascii_alphanumeric() {
            true => letter.to_ascii_lowercase(),
            false => '-',
        })
        .collect()
}
