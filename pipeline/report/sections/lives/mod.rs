//! How long batteries last here.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section};
use crate::ReportError;
use crate::chart::{self, Chart, CurvePoint};
use statistics::lives::weibull_law::Weibull;
use trade::calendar::DAYS_A_YEAR;

/// The section.
pub const SECTION: Section = Section {
    doing: "working out lives",
    templates: &[("lives.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let fits = fits(reading).await?;
    let mut curves: Vec<CurveStep> = reading.rows(CURVES).await?;
    for row in &mut curves {
        row.cohort = reading.cohort(&row.cohort_kind, &row.cohort);
    }
    let survival = survival_charts(&curves, &fits);
    let priced: Vec<PricedLife> = reading.rows(PRICED_LIVES).await?;
    let batteries = super::ranking::rows::ranking(reading).await?.len();
    let part = reading.part(
        "lives.md",
        context! { fits, priced, batteries, survival => super::named(&survival) },
    )?;
    Ok(part.with_charts(survival))
}

/// The law of wear of each cohort.
pub async fn fits(reading: &Reading<'_>) -> Result<Vec<LifeFit>, ReportError> {
    let mut fits: Vec<LifeFit> = reading.rows(LIFE_FITS).await?;
    for row in &mut fits {
        row.cohort = reading.cohort(&row.cohort_kind, &row.cohort);
    }
    Ok(fits)
}

/// With few failures the limits are those of the profile likelihood, which lean to neither side; an
/// end that the data leave open is missing.
pub const LIFE_FITS: &str = "
    SELECT cohort_kind, cohort, fit['lives'] AS lives, fit['failures'] AS failures, fit['shape'] AS shape,
           CASE WHEN fit['failures'] < 30 THEN fit['shape_profile_lower'] ELSE fit['shape_lower'] END AS shape_lower,
           CASE WHEN fit['failures'] < 30 THEN fit['shape_profile_upper'] ELSE fit['shape_upper'] END AS shape_upper,
           fit['scale'] AS scale, fit['b10'] AS b10,
           CASE WHEN fit['failures'] < 30 THEN fit['b10_profile_lower'] ELSE fit['b10_lower'] END AS b10_lower,
           CASE WHEN fit['failures'] < 30 THEN fit['b10_profile_upper'] ELSE fit['b10_upper'] END AS b10_upper,
           fit['b50'] AS b50
    FROM life_fit ORDER BY cohort_kind DESC, cohort";

/// The Weibull fit of a cohort; estimates are missing where there was too little to fit.
#[derive(Debug, Deserialize, Serialize)]
pub struct LifeFit {
    pub cohort_kind: String,
    pub cohort: String,
    pub lives: f64,
    pub failures: f64,
    pub shape: Option<f64>,
    pub shape_lower: Option<f64>,
    pub shape_upper: Option<f64>,
    pub scale: Option<f64>,
    pub b10: Option<f64>,
    pub b10_lower: Option<f64>,
    pub b10_upper: Option<f64>,
    pub b50: Option<f64>,
}

impl LifeFit {
    /// The fitted law, ages in days.
    pub fn law(&self) -> Option<Weibull> {
        Some(Weibull {
            shape: self.shape?,
            scale: self.scale?,
        })
    }
}

/// The laws that new life is priced by, of the chemistries the fleet has and last of those not known.
pub const PRICED_LIVES: &str = "
    SELECT chemistry, failures, half_life_days, half_life_lower_days, half_life_upper_days,
           half_life_as_seen_days, planned_made_up_for, own_share, drawn_share
    FROM life_law
    WHERE heat_band = 'not known'
      AND (chemistry = 'not known' OR chemistry IN (SELECT chemistry FROM battery_life))
    ORDER BY chemistry = 'not known', chemistry";

/// The law of one chemistry as it is priced by, all heats together.
#[derive(Debug, Deserialize, Serialize)]
pub struct PricedLife {
    pub chemistry: String,
    pub failures: i64,
    pub half_life_days: f64,
    pub half_life_lower_days: Option<f64>,
    pub half_life_upper_days: Option<f64>,
    pub half_life_as_seen_days: f64,
    pub planned_made_up_for: i64,
    pub own_share: f64,
    /// Of the vehicles whose lives these are, among all.
    pub drawn_share: f64,
}

pub const CURVES: &str = "
    SELECT cohort_kind, cohort, age_days, survival, lower, upper FROM life_curve
    ORDER BY cohort_kind DESC, cohort, age_days";

/// A step of a cohort's survival curve.
#[derive(Debug, Deserialize)]
pub struct CurveStep {
    pub cohort_kind: String,
    pub cohort: String,
    pub age_days: f64,
    pub survival: f64,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Survival of the whole fleet, then of each cohort that had a failure.
pub fn survival_charts(curves: &[CurveStep], fits: &[LifeFit]) -> Vec<Chart> {
    let points = |kind: &str, cohort: &str| -> Vec<CurvePoint> {
        curves
            .iter()
            .filter(|step| step.cohort_kind == kind && step.cohort == cohort)
            .map(|step| CurvePoint {
                age_years: step.age_days / DAYS_A_YEAR,
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
        .map(|step| step.age_days / DAYS_A_YEAR)
        .fold(0.0, f64::max);
    fits.iter()
        .filter_map(|fit| {
            let is_fleet = fit.cohort_kind == "fleet";
            let steps = points(&fit.cohort_kind, &fit.cohort);
            let law = fit
                .law()
                .map(|law| move |years: f64| law.survival(years * DAYS_A_YEAR));
            let name = match is_fleet {
                true => "survival".to_owned(),
                false => format!("survival-{}", fit.cohort.to_lowercase()),
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
