//! The comebacks report, for the service manager: what came back and where it stands out, parts
//! replaced for what the supply did, what was handed over unfinished, and codes that a plain clear
//! does not end.

mod lines;
mod pictures;
mod sheets;
mod views;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use chrono::{Datelike, Days, NaiveDate};
use minijinja::context;

use super::ReportError;
use super::cells::{counted, money};
use super::document::Document;
use super::manner::Manner;
use super::templates::Templates;
use lines::{
    ComebackLine, LatchedLine, OddityLine, RateLine, RepeatLine, ReplacedLine, UncheckedLine,
    UncheckedShopLine, UntestedLine,
};
use tables::Analysis;
use views::{
    Comeback, ComebackRate, Companion, Latched, Oddity, Overall, Repeat, Replaced, Unchecked,
    UncheckedShare, Untested,
};

/// Rows a table of the text shows; the files have all of them.
const LIST_ROWS: usize = 20;
/// Rows of a kind of unit.
const UNIT_ROWS: usize = 30;
/// How far back the lists of the text look.
const RECENT_DAYS: u64 = 91;
const YEAR_DAYS: u64 = 364;

/// What was written, and the report's short version for the terminal.
#[derive(Debug)]
pub struct Written {
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

/// Everything the report is told from.
struct Facts {
    overall: Option<Overall>,
    rates: Vec<ComebackRate>,
    comebacks: Vec<Comeback>,
    replaced: Vec<Replaced>,
    untested: Vec<Untested>,
    unchecked: Vec<Unchecked>,
    unchecked_by_shop: Vec<UncheckedShare>,
    repeats: Vec<Repeat>,
    latched: Vec<Latched>,
    companions: Vec<Companion>,
    oddities: Vec<Oddity>,
}

impl Facts {
    async fn read(analysis: &Analysis, progress: &dyn Fn(&str)) -> Result<Self, ReportError> {
        progress("looking for floods and what was done about them");
        let replaced = analysis.rows(views::REPLACED).await?;
        let untested = analysis.rows(views::UNTESTED).await?;
        let oddities = analysis.rows(views::ODDITIES).await?;
        progress("looking for codes that stay");
        let latched = analysis.rows(views::LATCHED).await?;
        let companions = analysis.rows(views::COMPANIONS).await?;
        progress("looking for trouble that came back");
        Ok(Self {
            overall: analysis.rows(views::OVERALL).await?.into_iter().next(),
            rates: analysis.rows(views::RATES).await?,
            comebacks: analysis.rows(views::COMEBACKS).await?,
            unchecked: analysis.rows(views::UNCHECKED).await?,
            unchecked_by_shop: analysis.rows(views::UNCHECKED_BY_SHOP).await?,
            repeats: analysis.rows(views::REPEATS).await?,
            replaced,
            untested,
            latched,
            companions,
            oddities,
        })
    }
}

/// Writes the report of the week that holds the analysis's day into `out/YYYY-Www/`. `progress` hears
/// what is being worked on.
pub async fn write(
    analysis: &Analysis,
    out: &Path,
    manner: &Manner,
    progress: &dyn Fn(&str),
) -> Result<Written, ReportError> {
    let templates = Templates::new(manner)?;
    let week = analysis.as_of().iso_week();
    let week = format!("{}-W{:02}", week.year(), week.week());
    let mut facts = Facts::read(analysis, progress).await?;
    let proven_days = analysis.settings().recovery.proven_days;
    for row in &mut facts.companions {
        row.module_address = manner.module(&row.module_address);
    }
    progress("writing the report");

    let since = |days: u64| {
        let first = analysis.as_of().checked_sub_days(Days::new(days));
        first.unwrap_or(NaiveDate::MIN).to_string()
    };
    let (recently, this_year) = (since(RECENT_DAYS), since(YEAR_DAYS));
    let charts = pictures::funnels(&facts.rates, manner);
    let units: Vec<_> = ["shop", "technician", "model", "operation"]
        .iter()
        .map(|kind| {
            let of_kind: Vec<&ComebackRate> =
                facts.rates.iter().filter(|row| row.kind == *kind).collect();
            let chart = charts
                .iter()
                .find(|chart| chart.name == pictures::name(kind))
                .map(|chart| context! { path => chart.path(), alternative => chart.alternative });
            context! {
                kind,
                units => of_kind.len(),
                lines => of_kind.iter().take(UNIT_ROWS).map(|row| RateLine::new(row, manner)).collect::<Vec<_>>(),
                chart,
            }
        })
        .collect();
    let comebacks: Vec<&Comeback> = facts
        .comebacks
        .iter()
        .filter(|row| row.returned_on > recently)
        .collect();
    let replaced: Vec<&Replaced> = facts
        .replaced
        .iter()
        .filter(|row| row.opened_on > this_year)
        .collect();
    let unchecked: Vec<&Unchecked> = facts
        .unchecked
        .iter()
        .filter(|row| row.opened_on > recently)
        .collect();
    let repeats: Vec<&Repeat> = facts
        .repeats
        .iter()
        .filter(|row| row.replaced_on > this_year)
        .collect();
    let short_version = short_version(analysis, &facts, &replaced, &unchecked, &repeats, manner);
    let markdown = templates.render(
        "comebacks.md",
        context! {
            week,
            as_of => analysis.as_of().to_string(),
            settings => analysis.settings(),
            version => env!("CARGO_PKG_VERSION"),
            shared => manner.pseudonyms.is_some(),
            short_version,
            orders => facts.overall.as_ref().map_or(0, |overall| overall.orders),
            units,
            recently, this_year,
            comebacks => comebacks.iter().take(LIST_ROWS).map(|row| ComebackLine::new(row, manner)).collect::<Vec<_>>(),
            all_comebacks => comebacks.len(),
            replaced => replaced.iter().take(LIST_ROWS).map(|row| ReplacedLine::new(row, manner)).collect::<Vec<_>>(),
            all_replaced => replaced.len(),
            untested => facts.untested.iter().take(LIST_ROWS).map(|row| UntestedLine::new(row, proven_days, manner)).collect::<Vec<_>>(),
            all_untested => facts.untested.len(),
            unchecked => unchecked.iter().take(LIST_ROWS).map(|row| UncheckedLine::new(row, manner)).collect::<Vec<_>>(),
            all_unchecked => unchecked.len(),
            unchecked_by_shop => facts.unchecked_by_shop.iter().map(|row| UncheckedShopLine::new(row, manner)).collect::<Vec<_>>(),
            repeats => repeats.iter().take(LIST_ROWS).map(|row| RepeatLine::new(row, manner)).collect::<Vec<_>>(),
            all_repeats => repeats.len(),
            latched => facts.latched.iter().map(|row| LatchedLine::new(row, manner)).collect::<Vec<_>>(),
            companions => facts.companions,
            oddities => facts.oddities.iter().take(LIST_ROWS).map(|row| OddityLine::new(row, manner)).collect::<Vec<_>>(),
            all_oddities => facts.oddities.len(),
        },
    )?;
    let document = Document {
        name: "comebacks",
        title: format!("Comebacks, week {week}"),
        as_of: analysis.as_of(),
        markdown,
        charts,
        tables: vec![
            sheets::rates(&facts.rates, manner),
            sheets::comebacks(&facts.comebacks, manner),
            sheets::replaced(&facts.replaced, manner),
            sheets::untested(&facts.untested, proven_days, manner),
            sheets::unchecked(&facts.unchecked, manner),
            sheets::repeats(&facts.repeats, manner),
            sheets::latched(&facts.latched, manner),
            sheets::oddities(&facts.oddities, manner),
        ],
    };
    Ok(Written {
        report: document.write(&out.join(&week), manner)?,
        short_version,
    })
}

fn short_version(
    analysis: &Analysis,
    facts: &Facts,
    replaced: &[&Replaced],
    unchecked: &[&Unchecked],
    repeats: &[&Repeat],
    manner: &Manner,
) -> Vec<String> {
    let late_days = analysis.settings().comeback.comeback_late_days;
    let mut told = Vec::new();
    if let Some(overall) = facts.overall.as_ref().filter(|overall| overall.orders > 0) {
        told.push(format!(
            "Of {} followed for {late_days} days, {} came back: {}.",
            counted(overall.orders as usize, "repair order", "repair orders"),
            overall.comebacks,
            lines::of_share(overall.share.as_ref()),
        ));
    }
    let outside: Vec<String> = facts
        .rates
        .iter()
        .filter(|row| row.outside() == Some(true) && row.kind != "operation")
        .map(|row| format!("{} {}", row.kind, lines::unit(row, manner)))
        .collect();
    if !outside.is_empty() {
        told.push(format!(
            "More comebacks than chance and the mix of work explain: {}.",
            outside.join(", ")
        ));
    }
    let modules: Vec<&&Replaced> = replaced
        .iter()
        .filter(|row| row.replaced == "module")
        .collect();
    let cost: f64 = modules.iter().filter_map(|row| row.parts_cost).sum();
    told.push(format!(
        "{} replaced in the last 52 weeks during a flood that the supply caused, without a battery test: {} in parts.",
        counted(modules.len(), "module was", "modules were"),
        money(&manner.currency, cost),
    ));
    told.push(format!(
        "{} without a battery test since a flood that the supply caused.",
        counted(facts.untested.len(), "vehicle stands", "vehicles stand"),
    ));
    let vehicles: BTreeSet<&str> = unchecked.iter().map(|row| row.vin.as_str()).collect();
    told.push(format!(
        "{} ({}) in the last 13 weeks cleared codes and handed over without a scan after it, {} of them came back.",
        counted(unchecked.len(), "order", "orders"),
        counted(vehicles.len(), "vehicle", "vehicles"),
        unchecked.iter().filter(|row| row.came_back).count(),
    ));
    told.push(format!(
        "{} replaced again under warranty in the last 52 weeks.",
        counted(repeats.len(), "battery was", "batteries were"),
    ));
    if !facts.latched.is_empty() {
        told.push(format!(
            "{} after a plain clear.",
            counted(facts.latched.len(), "code stays", "codes stay")
        ));
    }
    told
}
