//! The weekly report: the short version, what to do at each depot, what to order and test, floods and
//! open recoveries, failure rates and lives, what the last reports said and what came of it, the state
//! of the data, and how it was worked out.

mod depots;
mod lines;
mod pictures;
mod record;
mod sheets;
mod short_version;
mod told;
mod typed;
mod views;

use std::path::{Path, PathBuf};

use chrono::Datelike;
use minijinja::context;

use super::ReportError;
use super::document::Document;
use super::manner::Manner;
use super::templates::Templates;
use super::words;
use depots::DepotLines;
use lake::Lake;
use lines::{ChangeLine, FloodLine, RankedLine, RecoveryLine, TestLine, Trends};
use record::{ChanceTold, Prediction, PredictionLine, SinceLast};
use tables::Analysis;
use views::{
    Change, CurveStep, DepotState, Difference, Extent, Flood, Health, LifeFit, Model, ModelLine,
    Pick, Quarantined, Rate, Recovery, RiskRow, TestNext,
};

/// Batteries in the first table.
const FIRST: usize = 10;
/// Rows a depot's table shows; ranking.csv has all of them.
const DEPOT_ROWS: usize = 12;
/// Rows of the test list, of floods, of recoveries, of reasons for quarantine.
const LIST_ROWS: usize = 20;
const TEST_ROWS: usize = 10;
/// Rows of each kind of change.
const CHANGE_ROWS: usize = 8;

/// What was written, and the report's short version for the terminal.
#[derive(Debug)]
pub struct Written {
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`, and appends what
/// it says to `risk_week`. `progress` hears what is being worked on.
pub async fn write(
    lake: &mut Lake,
    analysis: &Analysis,
    out: &Path,
    manner: &Manner,
    progress: &dyn Fn(&str),
) -> Result<Written, ReportError> {
    let templates = Templates::new(manner)?;
    let week = analysis.as_of().iso_week();
    let week = format!("{}-W{:02}", week.year(), week.week());

    progress("ranking the batteries");
    let as_ranked: Vec<RiskRow> = analysis.rows(views::RANKING).await?;
    let ranking = typed::ranking(&as_ranked, manner);
    let mut healths: Vec<Health> = analysis.rows(views::HEALTHS).await?;
    let mut picks: Vec<Pick> = analysis.rows(views::PICK_LIST).await?;
    let mut tests: Vec<TestNext> = analysis.rows(views::TEST_NEXT).await?;
    progress("looking for floods and open recoveries");
    let floods: Vec<Flood> = analysis.rows(views::FLOODS_THIS_WEEK).await?;
    let mut recoveries: Vec<Recovery> =
        views::by_next_step(analysis.rows(views::RECOVERIES).await?);
    let proven_days = analysis.settings().recovery.proven_days;
    progress("working out lives and failure rates");
    let mut fits: Vec<LifeFit> = analysis.rows(views::LIFE_FITS).await?;
    let mut curves: Vec<CurveStep> = analysis.rows(views::CURVES).await?;
    let mut rates: Vec<Rate> = analysis.rows(views::RATES).await?;
    for rate in rates.iter_mut().filter(|rate| rate.cohort_kind == "heat") {
        rate.cohort = words::heat::band(&rate.cohort, manner.units);
    }
    let differences: Vec<Difference> = analysis.rows(views::DIFFERENCES).await?;
    let model: Option<Model> = analysis.rows(views::MODEL).await?.pop();
    progress("holding earlier reports against what came");
    let since_last: Vec<SinceLast> = analysis.rows(record::SINCE_LAST).await?;
    let mut changes: Vec<Change> = analysis.rows(views::CHANGES).await?;
    let predictions: Vec<Prediction> = analysis.rows(record::PREDICTIONS).await?;
    let chances: Vec<ChanceTold> = analysis.rows(record::CHANCES_TOLD).await?;
    progress("looking at the data");
    let mut quarantined: Vec<Quarantined> = analysis.rows(views::QUARANTINED).await?;
    if manner.shared() {
        quarantined = views::without_words(quarantined, manner);
    }
    let extents: Vec<Extent> = analysis.rows(views::EXTENTS).await?;
    let depot_states: Vec<DepotState> = analysis.rows(views::DEPOTS).await?;
    progress("writing the report");

    typed::replace_positions(&mut healths, manner);
    typed::replace_positions(&mut tests, manner);
    typed::replace_positions(&mut changes, manner);
    typed::replace_groups(&mut picks, manner);
    typed::replace_groups(&mut fits, manner);
    typed::replace_groups(&mut curves, manner);
    typed::replace_groups(&mut rates, manner);
    for case in &mut recoveries {
        case.standing.replace_positions(manner);
    }
    let trends = Trends::new(healths);
    let order = lines::to_order(&picks);
    let depots = depots::depots(&ranking, &analysis.settings().plan);
    let depot_lines: Vec<DepotLines> = depots
        .iter()
        .map(|depot| DepotLines::new(depot, &trends, manner, DEPOT_ROWS))
        .collect();
    let first: Vec<RankedLine> = first_to_act_on(&ranking)
        .map(|row| RankedLine::new(row, None, &trends, manner))
        .collect();
    let paying_tests = tests.iter().filter(|row| row.pays).count();
    let short_version = short_version::short_version(&short_version::Facts {
        ranking: &ranking,
        depots: &depots,
        order: &order,
        tests: paying_tests,
        other_tests: tests.len() - paying_tests,
        floods: &floods,
        recoveries: &recoveries,
        run: &analysis.settings().run,
        manner,
    });
    // Failures of the table of lives that came before the model's first look at the battery.
    let unlooked = fits
        .iter()
        .find(|fit| fit.cohort_kind == "fleet")
        .zip(model.as_ref())
        .map_or(0.0, |(fit, model)| (fit.failures - model.failures).max(0.0));
    let survival = pictures::survival_charts(&curves, &fits);
    let rate_charts: Vec<_> = ["depot", "model"]
        .iter()
        .filter_map(|kind| pictures::rate_chart(kind, &rates))
        .collect();
    let calibration = record::calibration_chart(&chances);
    let named = |charts: &[super::chart::Chart]| -> Vec<minijinja::Value> {
        charts
            .iter()
            .map(|chart| context! { path => chart.path(), alternative => chart.alternative })
            .collect()
    };
    let markdown = templates.render(
        "weekly.md",
        context! {
            week,
            as_of => analysis.as_of().to_string(),
            settings => analysis.settings(),
            version => env!("CARGO_PKG_VERSION"),
            shared => manner.pseudonyms.is_some(),
            short_version,
            record => record::Record::of(&predictions),
            batteries => ranking.len(),
            expected => ranking.iter().filter(|row| row.failed_on.is_none()).filter_map(|row| row.chance).sum::<f64>(),
            first,
            depots => depot_lines,
            order,
            tests => tests.iter().take(TEST_ROWS).map(|row| TestLine::new(row, manner)).collect::<Vec<_>>(),
            paying_tests,
            all_tests => tests.len(),
            floods => floods.iter().take(LIST_ROWS).map(|row| FloodLine::new(row, manner)).collect::<Vec<_>>(),
            all_floods => floods.len(),
            recoveries => recoveries.iter().take(LIST_ROWS).map(|row| RecoveryLine::new(row, proven_days, manner)).collect::<Vec<_>>(),
            all_recoveries => recoveries.len(),
            recovery_steps => lines::by_step(&recoveries, proven_days),
            recoveries_planned => recoveries.iter().filter(|row| row.standing.planned.is_some()).count(),
            alike => alike(&rates),
            unlooked => unlooked as i64,
            rates, fits, differences,
            model => model.as_ref().map(ModelLine::new),
            changes => changes
                .chunk_by(|a, b| a.change == b.change)
                .flat_map(|kind| kind.iter().take(CHANGE_ROWS))
                .map(|row| ChangeLine::new(row, manner))
                .collect::<Vec<_>>(),
            change_counts => lines::by_change(&changes),
            change_rows => CHANGE_ROWS,
            all_changes => changes.len(),
            survival => named(&survival),
            rate_charts => named(&rate_charts),
            calibration => named(calibration.as_slice()),
            told_in_calibration => chances.iter().map(|row| row.batteries).sum::<i64>(),
            since_last,
            predictions => predictions.iter().map(PredictionLine::new).collect::<Vec<_>>(),
            quarantined => quarantined.iter().take(LIST_ROWS).collect::<Vec<_>>(),
            all_reasons => quarantined.len(),
            all_quarantined => quarantined.iter().map(|row| row.rows).sum::<i64>(),
            extents,
            depot_states,
        },
    )?;
    let document = Document {
        name: "report",
        title: format!("12 V battery risk, week {week}"),
        as_of: analysis.as_of(),
        markdown,
        charts: [survival, rate_charts, calibration.into_iter().collect()].concat(),
        tables: vec![
            sheets::ranking(&ranking, &depots, manner),
            sheets::depots(&depots),
            sheets::pick_list(&picks),
            sheets::test_first(&tests, manner),
            sheets::floods(&floods, manner),
            sheets::recoveries(&recoveries, proven_days, manner),
            sheets::changes(&changes, manner),
            sheets::rates(&rates),
            sheets::quarantined(&quarantined),
        ],
    };
    let report = document.write(&out.join(&week), manner)?;
    told::append(lake, analysis, &week, &as_ranked).await?;
    Ok(Written {
        report,
        short_version,
    })
}

/// The batteries to see to first: those for this week by rank, then those to test.
fn first_to_act_on(ranking: &[RiskRow]) -> impl Iterator<Item = &RiskRow> {
    let of = |action: &'static str| ranking.iter().filter(move |row| row.action == action);
    of("this week").chain(of("test first")).take(FIRST)
}

/// The kinds of cohorts in the table of rates that spread no wider than chance makes them.
fn alike(rates: &[Rate]) -> Vec<&str> {
    rates
        .chunk_by(|a, b| a.cohort_kind == b.cohort_kind)
        .filter(|kind| kind.len() > 1 && !matches!(kind[0].cohort_kind.as_str(), "depot" | "model"))
        .filter(|kind| kind.iter().all(|rate| rate.own_weight == Some(0.0)))
        .map(|kind| kind[0].cohort_kind.as_str())
        .collect()
}
