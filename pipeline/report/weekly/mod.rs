//! The weekly report: the short version, the ranking with its reasons, floods, failure rates, the
//! state of the data, and how it was worked out.

mod reasons;
mod told;
mod views;

use std::path::{Path, PathBuf};

use chrono::Datelike;
use minijinja::{Environment, context};
use serde::Serialize;

use super::{ReportError, cells, chart, files};
use crate::analysis::Analysis;
use crate::lake::Lake;
use views::{CurveStep, Extent, Flood, LifeFit, Quarantined, Rate, RiskRow, SilentDepot};

const TEMPLATE: &str = include_str!("../templates/weekly.md");

/// Rows of the ranking that the Markdown shows; ranking.csv has all of them.
const RANKING_SHOWN: usize = 40;

/// What was written, and the report's short version for the terminal.
#[derive(Debug)]
pub struct Written {
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`, and appends what
/// it says to `risk_week`.
pub async fn write(
    lake: &mut Lake,
    analysis: &Analysis,
    out: &Path,
) -> Result<Written, ReportError> {
    let week = analysis.as_of().iso_week();
    let week = format!("{}-W{:02}", week.year(), week.week());
    let folder = out.join(&week);

    let ranking: Vec<RiskRow> = analysis
        .rows("SELECT * FROM replacement_plan ORDER BY rank")
        .await?;
    let fits: Vec<LifeFit> = analysis.rows(views::LIFE_FITS).await?;
    let curve: Vec<CurveStep> = analysis.rows(views::FLEET_CURVE).await?;
    let floods: Vec<Flood> = analysis.rows(views::FLOODS_THIS_WEEK).await?;
    let rates: Vec<Rate> = analysis.rows(views::RATES).await?;
    let quarantined: Vec<Quarantined> = analysis.rows(views::QUARANTINED).await?;
    let extents: Vec<Extent> = analysis.rows(views::EXTENTS).await?;
    let silent: Vec<SilentDepot> = analysis.rows(views::SILENT_DEPOTS).await?;

    let chart = survival_chart(analysis, &curve, &fits)?;
    let lines: Vec<RankedLine> = ranking.iter().map(RankedLine::new).collect();
    let short_version = short_version(analysis, &ranking, &floods);
    let settings = analysis.settings();
    let mut templates = Environment::new();
    templates.set_trim_blocks(true);
    templates.set_lstrip_blocks(true);
    templates.add_filter("md", |text: String| cells::markdown(&text));
    templates.add_filter("thousands", cells::thousands);
    templates.add_filter("digits", |number: f64, digits: usize| {
        format!("{number:.digits$}")
    });
    let template_failed = |source| ReportError::Template {
        template: "weekly.md".to_owned(),
        source,
    };
    templates
        .add_template("weekly.md", TEMPLATE)
        .map_err(template_failed)?;
    let report = templates
        .get_template("weekly.md")
        .and_then(|template| {
            template.render(context! {
                week,
                as_of => analysis.as_of().to_string(),
                short_version,
                ranking => &lines[..lines.len().min(RANKING_SHOWN)],
                ranked => lines.len(),
                floods, rates, fits, quarantined, extents, silent,
                has_curve => !curve.is_empty(),
                settings,
                version => env!("CARGO_PKG_VERSION"),
            })
        })
        .map_err(template_failed)?;

    files::write(&folder, "charts/survival.svg", chart.as_bytes())?;
    write_ranking(&folder, &ranking)?;
    let report = files::write(&folder, "report.md", report.as_bytes())?;
    told::append(lake, analysis, &week, &ranking).await?;
    Ok(Written {
        report,
        short_version,
    })
}

/// One line of the ranking, in words.
#[derive(Debug, Serialize)]
struct RankedLine {
    rank: i64,
    unit: String,
    vin: String,
    depot: String,
    battery: String,
    age: String,
    chance: String,
    interval: String,
    action: String,
    reasons: String,
}

impl RankedLine {
    fn new(row: &RiskRow) -> Self {
        Self {
            rank: row.rank,
            unit: row.unit_no.clone().unwrap_or_else(|| row.vin.clone()),
            vin: row.vin.clone(),
            depot: row.depot.clone(),
            battery: row.battery(),
            age: cells::age(row.age_days),
            chance: row
                .chance
                .map_or_else(|| "not known".to_owned(), cells::chance),
            interval: match (row.chance_lower, row.chance_upper) {
                (Some(lower), Some(upper)) => {
                    format!("{:.0}–{:.0} %", lower * 100.0, upper * 100.0)
                }
                _ => "not known".to_owned(),
            },
            action: row.action.clone(),
            reasons: reasons::in_words(row).join("; "),
        }
    }
}

fn short_version(analysis: &Analysis, ranking: &[RiskRow], floods: &[Flood]) -> Vec<String> {
    let horizon_weeks = analysis.settings().run.horizon_days / 7;
    let currency = &analysis.settings().run.currency;
    let this_week: Vec<&RiskRow> = ranking
        .iter()
        .filter(|row| row.action == "this week")
        .collect();
    let prevented: f64 = this_week.iter().filter_map(|row| row.chance).sum();
    let saved: f64 = this_week.iter().filter_map(|row| row.saving).sum();
    let test_first = ranking
        .iter()
        .filter(|row| row.action == "test first")
        .count();
    let expected: f64 = ranking.iter().filter_map(|row| row.chance).sum();
    let supply = floods
        .iter()
        .filter(|flood| flood.cause == "supply")
        .count();
    vec![
        format!(
            "Replace {} batteries this week: expect to prevent {prevented:.1} failures within {horizon_weeks} weeks and save {currency}{}.",
            this_week.len(),
            cells::thousands(saved.max(0.0)),
        ),
        format!(
            "Test {test_first} batteries first: their tests are missing or stale and the answer may change what to do."
        ),
        format!(
            "Of {} batteries in service, {expected:.1} are expected to fail within {horizon_weeks} weeks if nothing is done.",
            ranking.len(),
        ),
        format!(
            "{} vehicles had a flood of codes in the last 7 days, {supply} of them put down to the 12 V supply.",
            floods.len(),
        ),
    ]
}

fn survival_chart(
    analysis: &Analysis,
    curve: &[CurveStep],
    fits: &[LifeFit],
) -> Result<String, ReportError> {
    let points: Vec<chart::CurvePoint> = curve
        .iter()
        .map(|step| chart::CurvePoint {
            age_years: step.age_days / 365.25,
            survival: step.survival,
            lower: step.lower.unwrap_or(step.survival),
            upper: step.upper.unwrap_or(step.survival),
        })
        .collect();
    let law = fits
        .iter()
        .find(|fit| fit.cohort_kind == "fleet")
        .and_then(LifeFit::law);
    let fitted = law.map(|law| move |years: f64| law.survival(years * 365.25));
    chart::survival(
        &format!("Battery survival, whole fleet, as of {}", analysis.as_of()),
        &points,
        fitted.as_ref().map(|fitted| fitted as &dyn Fn(f64) -> f64),
    )
}

fn write_ranking(folder: &Path, ranking: &[RiskRow]) -> Result<(), ReportError> {
    let path = folder.join("ranking.csv");
    let mut writer = csv::Writer::from_writer(Vec::new());
    let failed = |source: Box<dyn std::error::Error + Send + Sync>| ReportError::Table {
        path: path.clone(),
        source,
    };
    writer
        .write_record([
            "rank",
            "vin",
            "unit_no",
            "depot",
            "position",
            "battery",
            "age_days",
            "chance",
            "chance_lower",
            "chance_upper",
            "last_test_on",
            "verdict",
            "health",
            "action",
            "saving",
            "reasons",
        ])
        .map_err(|error| failed(error.into()))?;
    let number = |value: Option<f64>, digits: usize| {
        value.map_or_else(String::new, |value| format!("{value:.digits$}"))
    };
    for row in ranking {
        writer
            .write_record([
                row.rank.to_string(),
                cells::spreadsheet(&row.vin),
                cells::spreadsheet(row.unit_no.as_deref().unwrap_or_default()),
                cells::spreadsheet(&row.depot),
                cells::spreadsheet(&row.position),
                cells::spreadsheet(&row.battery()),
                format!("{:.0}", row.age_days),
                number(row.chance, 4),
                number(row.chance_lower, 4),
                number(row.chance_upper, 4),
                row.tested_on.clone().unwrap_or_default(),
                row.verdict.clone().unwrap_or_default(),
                number(row.health, 2),
                row.action.clone(),
                number(row.saving, 0),
                cells::spreadsheet(&reasons::in_words(row).join("; ")),
            ])
            .map_err(|error| failed(error.into()))?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| failed(error.to_string().into()))?;
    files::write(folder, "ranking.csv", &bytes)?;
    Ok(())
}
