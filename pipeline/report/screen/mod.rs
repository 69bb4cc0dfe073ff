//! The screening of vehicles for sale: for each one what its 12 V supply is likely to cost, what is
//! missing, and what to do with it, sorted by the money at stake.

mod assess;
mod inventory;
mod likelihood;
mod outlook;
mod views;
mod words;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use minijinja::context;

use super::document::Document;
use super::manner::Manner;
use super::table_files::{Kind, Sheet, column};
use super::templates::Templates;
use super::{ReportError, cells};
use assess::{Assessed, Yardstick};
pub use inventory::{InventoryError, Listed, read as read_inventory};
pub use likelihood::{LikelihoodRatio, Trouble, chance_of_traction, likelihood_ratio};
pub use outlook::{Item, Outlook, outlook};
use tables::Analysis;
use views::{Followed, Hindsight, Planned, RecentTraction, Vehicle};

/// Vehicles of which the text tells every detail; the tables have all.
const TOLD: usize = 40;

/// What was written, and the short version for the terminal.
#[derive(Debug)]
pub struct Written {
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

/// Screens the listed vehicles into `out/screen-YYYY-MM-DD/`.
pub async fn write(
    analysis: &Analysis,
    listed: &[Listed],
    out: &Path,
    manner: &Manner,
) -> Result<Written, ReportError> {
    let templates = Templates::new(manner)?;
    let vehicles: Vec<Vehicle> = analysis.rows(views::VEHICLES).await?;
    let hindsight = Hindsight::new(analysis.rows::<Followed>(views::HINDSIGHT).await?);
    let mut plan: BTreeMap<String, Vec<Planned>> = BTreeMap::new();
    for mut planned in analysis.rows::<Planned>(views::PLANNED).await? {
        // The main battery keeps its name, by which it is known below.
        planned.position = manner.position(&planned.position);
        plan.entry(planned.vin.clone()).or_default().push(planned);
    }
    let trouble: Vec<Trouble> = analysis.rows(views::TROUBLE).await?;
    let traction: BTreeMap<String, String> = analysis
        .rows::<RecentTraction>(views::RECENT_TRACTION)
        .await?
        .into_iter()
        .map(|row| (row.vin, row.opened_on))
        .collect();
    let share = |of: &dyn Fn(&Vehicle) -> Option<bool>| {
        let looked: Vec<bool> = vehicles.iter().filter_map(of).collect();
        let found = looked.iter().filter(|found| **found).count();
        (found as f64 + 0.5) / (looked.len() as f64 + 1.0)
    };
    let yardstick = Yardstick {
        settings: analysis.settings(),
        hindsight: &hindsight,
        plan: &plan,
        worn_share: share(&|vehicle| {
            vehicle
                .verdict_now()
                .map(|verdict| matches!(verdict, "worn" | "failed"))
        }),
        coded_share: share(&|vehicle| {
            vehicle
                .scanned_on
                .as_ref()
                .map(|_| vehicle.codes_to_trace > 0)
        }),
        manner,
    };
    let on_record: BTreeMap<&str, &Vehicle> = vehicles
        .iter()
        .map(|vehicle| (vehicle.vin.as_str(), vehicle))
        .collect();
    let mut unknown = 0;
    let mut assessed: Vec<Assessed> = listed
        .iter()
        .filter_map(|entry| entry.vin.as_deref())
        .map(|vin| {
            let nothing = Vehicle {
                vin: vin.to_owned(),
                ..Vehicle::default()
            };
            let vehicle = match on_record.get(vin) {
                Some(vehicle) => *vehicle,
                None => {
                    unknown += 1;
                    &nothing
                }
            };
            let told_on = traction.get(vin);
            let case = trouble.iter().find(|case| {
                case.vin == vin
                    && case.cause == "traction battery"
                    && Some(&case.opened_on) == told_on
            });
            let ratio = case.and_then(|case| likelihood_ratio(case, &trouble));
            yardstick.assess(vehicle, ratio.as_ref(), told_on.is_some())
        })
        .collect();
    assessed.sort_by(|a, b| {
        b.expected
            .total_cmp(&a.expected)
            .then(b.upper.total_cmp(&a.upper))
            .then(a.vin.cmp(&b.vin))
    });
    let faults: Vec<&Listed> = listed.iter().filter(|entry| entry.vin.is_none()).collect();
    let short_version = short_version(&assessed, unknown, faults.len(), manner);
    let as_of = analysis.as_of();
    let markdown = templates.render(
        "screen.md",
        context! {
            as_of => as_of.to_string(),
            version => env!("CARGO_PKG_VERSION"),
            settings => analysis.settings(),
            shared => manner.pseudonyms.is_some(),
            short_version,
            all => assessed.len(),
            vehicles => &assessed[..assessed.len().min(TOLD)],
            faults => faults.iter().map(|entry| context! {
                line => entry.line,
                text => manner.typed(&entry.text),
                // It quotes what stood there.
                fault => match manner.shared() {
                    true => Some("no vehicle identification number"),
                    false => entry.fault.as_deref(),
                },
            }).collect::<Vec<_>>(),
            worn_share => yardstick.worn_share,
            coded_share => yardstick.coded_share,
            known => vehicles.len(),
        },
    )?;
    let document = Document {
        name: "screen",
        title: format!("12 V screening, {as_of}"),
        as_of,
        markdown,
        charts: Vec::new(),
        pages: Vec::new(),
        tables: vec![sheet(&assessed)],
    };
    let report = document.write(&out.join(format!("screen-{as_of}")), manner)?;
    Ok(Written {
        report,
        short_version,
    })
}

fn short_version(
    assessed: &[Assessed],
    unknown: usize,
    faults: usize,
    manner: &Manner,
) -> Vec<String> {
    let expected: f64 = assessed.iter().map(|vehicle| vehicle.expected).sum();
    let of = |disposition: &str| {
        assessed
            .iter()
            .filter(|vehicle| vehicle.disposition == disposition)
            .count()
    };
    let mut lines = vec![
        format!(
            "Of {}: {} ready, {} to put right, {} to check first, {} to drive and scan again, {} to hold back.",
            cells::counted(assessed.len(), "vehicle", "vehicles"),
            of("ready"),
            of("put right"),
            of("check first"),
            of("drive and scan again"),
            of("hold back")
        ),
        format!(
            "To put all of them right is expected to cost {}.",
            cells::money(&manner.currency, expected)
        ),
    ];
    if let Some(first) = assessed.first() {
        lines.push(format!(
            "Most is at stake at {}: {} expected ({}–{}); {}: {}.",
            first.vin,
            cells::money(&manner.currency, first.expected),
            cells::money(&manner.currency, first.lower),
            cells::money(&manner.currency, first.upper),
            first.disposition,
            first.reason
        ));
    }
    if unknown > 0 {
        lines.push(format!(
            "Nothing is on record of {}.",
            cells::counted(unknown, "vehicle", "vehicles")
        ));
    }
    if faults > 0 {
        lines.push(format!(
            "{} of the list could not be read as a vehicle identification number.",
            cells::counted(faults, "line", "lines")
        ));
    }
    lines
}

fn sheet(rows: &[Assessed]) -> Sheet {
    Sheet::new(
        "screening",
        rows,
        vec![
            column("vin", Kind::Text, |row: &Assessed| row.vin.clone()),
            column("unit_no", Kind::Text, |row: &Assessed| row.unit.clone()),
            column("vehicle", Kind::Text, |row: &Assessed| row.kind.clone()),
            column("disposition", Kind::Text, |row: &Assessed| row.disposition),
            column("reason", Kind::Text, |row: &Assessed| row.reason.clone()),
            column("expected_cost", Kind::Money, |row: &Assessed| row.expected),
            column("cost_lower", Kind::Money, |row: &Assessed| row.lower),
            column("cost_upper", Kind::Money, |row: &Assessed| row.upper),
            column("battery_age", Kind::Text, |row: &Assessed| row.age.clone()),
            column("battery_test", Kind::Text, |row: &Assessed| {
                row.battery.clone()
            }),
            column("flood", Kind::Text, |row: &Assessed| row.flood.clone()),
            column("codes", Kind::Text, |row: &Assessed| row.codes.clone()),
            column("traction_battery", Kind::Text, |row: &Assessed| {
                row.traction.clone()
            }),
            column("missing", Kind::Text, |row: &Assessed| row.missing.clone()),
            column("check_that_settles_most", Kind::Text, |row: &Assessed| {
                row.check.clone()
            }),
        ],
    )
}
