//! A list judged line by line: every line has its answer, the vehicles with most money at stake first.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use serde::Serialize;

use super::assess::{Assessed, Yardstick};
use super::inventory::{Fault, Inventory, Listed};
use super::likelihood::{Trouble, likelihood_ratio};
use super::views::{self, Followed, Hindsight, Planned, RecentTraction, Vehicle};
use crate::ReportError;
use crate::style::{LEFT_OUT, ReportStyle};
use tables::Analysis;

/// A list with the answer to each of its lines.
#[derive(Debug)]
pub struct Judged {
    /// The buyer's own columns; none in a shared report, because they may name people.
    pub columns: Vec<String>,
    pub answers: Vec<Answer>,
    /// Share of tested batteries that are worn or failed, and of scanned vehicles that hold codes.
    pub worn_share: f64,
    pub coded_share: f64,
    /// Vehicles of the lake.
    pub known: usize,
}

/// The answer to a line.
#[derive(Debug, Clone, Serialize)]
pub struct Answer {
    pub line: u64,
    pub own: Vec<String>,
    pub price: Option<f64>,
    /// Whether the line names a vehicle, which no earlier line does.
    pub is_vehicle: bool,
    #[serde(flatten)]
    pub vehicle: Assessed,
}

impl Answer {
    /// The expected cost as a share of the asking price.
    pub fn of_price(&self) -> Option<f64> {
        Some(self.vehicle.cost?.expected / self.price?)
    }

    /// What the vehicle is called.
    pub fn called(&self) -> &str {
        self.vehicle.unit.as_deref().unwrap_or(&self.vehicle.vin)
    }

    /// Priced vehicles first, then vehicles nothing is known of, then lines that name none.
    fn group(&self) -> u8 {
        match (self.is_vehicle, self.vehicle.cost) {
            (true, Some(_)) => 0,
            (true, None) => 1,
            (false, _) => 2,
        }
    }

    /// The most money of the asking price first where there is one, else the most money.
    fn order(&self, other: &Self) -> Ordering {
        let expected = |of: &Self| of.vehicle.cost.map_or(0.0, |cost| cost.expected);
        self.group()
            .cmp(&other.group())
            .then(other.of_price().is_some().cmp(&self.of_price().is_some()))
            .then(
                other
                    .of_price()
                    .unwrap_or(0.0)
                    .total_cmp(&self.of_price().unwrap_or(0.0)),
            )
            .then(expected(other).total_cmp(&expected(self)))
            .then(self.line.cmp(&other.line))
    }
}

/// Judges every line of a list.
pub async fn judge(
    analysis: &Analysis,
    inventory: &Inventory,
    style: &ReportStyle,
) -> Result<Judged, ReportError> {
    let vehicles: Vec<Vehicle> = analysis.rows(views::VEHICLES).await?;
    let hindsight = Hindsight::new(analysis.rows::<Followed>(views::HINDSIGHT).await?);
    let mut plan: BTreeMap<String, Vec<Planned>> = BTreeMap::new();
    for mut planned in analysis.rows::<Planned>(views::PLANNED).await? {
        // The main battery keeps its name, by which it is known below.
        planned.position = style.position(&planned.position);
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
        style,
    };
    let on_record: BTreeMap<&str, &Vehicle> = vehicles
        .iter()
        .map(|vehicle| (vehicle.vin.as_str(), vehicle))
        .collect();
    let of_vehicle = |vin: &str| match on_record.get(vin) {
        None => yardstick.unknown(vin, near(vin, &vehicles)),
        Some(vehicle) => {
            let told_on = traction.get(vin);
            let case = trouble.iter().find(|case| {
                case.vin == vin
                    && case.cause == "traction battery"
                    && Some(&case.opened_on) == told_on
            });
            let ratio = case.and_then(|case| likelihood_ratio(case, &trouble));
            yardstick.assess(vehicle, ratio.as_ref(), told_on.is_some())
        }
    };
    let mut answers: Vec<Answer> = inventory
        .lines
        .iter()
        .map(|listed| Answer {
            line: listed.line,
            own: match style.shared() {
                true => Vec::new(),
                false => listed.own.clone(),
            },
            price: listed.price,
            is_vehicle: listed.vin.is_ok(),
            vehicle: match &listed.vin {
                Ok(vin) => of_vehicle(vin),
                Err(fault) => not_used(listed, fault, style),
            },
        })
        .collect();
    answers.sort_by(Answer::order);
    Ok(Judged {
        columns: match style.shared() {
            true => Vec::new(),
            false => inventory.columns.clone(),
        },
        answers,
        worn_share: yardstick.worn_share,
        coded_share: yardstick.coded_share,
        known: vehicles.len(),
    })
}

/// The vehicle whose number differs from this one in a single character.
fn near<'a>(vin: &str, vehicles: &'a [Vehicle]) -> Option<&'a str> {
    let differ = |other: &str| {
        other.len() == vin.len()
            && other
                .bytes()
                .zip(vin.bytes())
                .filter(|(a, b)| a != b)
                .count()
                == 1
    };
    vehicles
        .iter()
        .map(|vehicle| vehicle.vin.as_str())
        .find(|other| differ(other))
}

/// What is said of a line that names no vehicle to screen.
fn not_used(listed: &Listed, fault: &Fault, style: &ReportStyle) -> Assessed {
    let (disposition, reason) = match fault {
        Fault::Blank => ("blank", "no number stands there".to_owned()),
        Fault::Again(line) => ("listed twice", format!("the same number as on line {line}")),
        // It quotes what stood there.
        Fault::Malformed(_) if style.shared() => {
            ("no VIN", "no vehicle identification number".to_owned())
        }
        Fault::Malformed(why) => ("no VIN", why.clone()),
    };
    Assessed {
        vin: match (fault, style.shared()) {
            (Fault::Blank, _) => String::new(),
            (Fault::Again(_), _) => style.vin(&listed.text),
            (Fault::Malformed(_), true) => LEFT_OUT.to_owned(),
            (Fault::Malformed(_), false) => listed.text.clone(),
        },
        disposition,
        reason,
        ..Assessed::default()
    }
}
