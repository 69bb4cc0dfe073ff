//! How a report was worked out, and the cautions of the work it asks for.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::{Part, Reading, Section, lives};
use crate::ReportError;
use crate::words::{self, word};
use trade::derived_words::EstimateBasis;

/// The section.
pub const SECTION: Section = Section {
    doing: "writing the report",
    templates: &[("method.md", include_str!("section.md"))],
    make: |reading| Box::pin(make(reading)),
};

async fn make(reading: &Reading<'_>) -> Result<Part, ReportError> {
    let fits = lives::fits(reading).await?;
    let model: Option<Model> = reading.rows(MODEL).await?.pop();
    let ways: Vec<WayLine> = reading.rows(WAYS).await?;
    // Failures of the table of lives that came before the model's first look at the battery.
    let unlooked = fits
        .iter()
        .find(|fit| fit.cohort_kind == "fleet")
        .zip(model.as_ref())
        .map_or(0.0, |(fit, model)| (fit.failures - model.failures).max(0.0));
    reading.part(
        "method.md",
        context! { unlooked => unlooked as i64, model => model.as_ref().map(ModelLine::new), ways => ways },
    )
}

pub const MODEL: &str = "
    SELECT * FROM model_summary";

const WAYS: &str = "
    SELECT way, weight FROM model_way WHERE weight >= 0.005 ORDER BY weight DESC, way";

/// A way of foretelling and its weight.
#[derive(Debug, Deserialize, Serialize)]
struct WayLine {
    way: String,
    weight: f64,
}

/// What the chances rest on.
#[derive(Debug, Deserialize)]
pub struct Model {
    pub failures: f64,
    pub person_weeks: f64,
    pub prior_weight: Option<f64>,
    pub tests_fitted: Option<f64>,
    pub model_version: String,
    #[serde(deserialize_with = "word")]
    pub chances_rest_on: EstimateBasis,
    #[serde(deserialize_with = "word")]
    pub wear_rests_on: EstimateBasis,
    pub fallback: Option<String>,
}

/// The same for the text.
#[derive(Debug, Serialize)]
pub struct ModelLine<'a> {
    failures: f64,
    person_weeks: f64,
    prior_weight: Option<f64>,
    tests_fitted: Option<f64>,
    model_version: &'a str,
    notes: String,
}

impl<'a> ModelLine<'a> {
    pub fn new(row: &'a Model) -> Self {
        Self {
            failures: row.failures,
            person_weeks: row.person_weeks,
            prior_weight: row.prior_weight,
            tests_fitted: row.tests_fitted,
            model_version: &row.model_version,
            notes: words::model::basis(
                row.chances_rest_on,
                row.wear_rests_on,
                row.fallback.as_deref(),
            ),
        }
    }
}
