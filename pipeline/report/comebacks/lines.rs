//! The rows of the comebacks report as its tables print them: vehicles by their names, limits in
//! words.

use serde::Serialize;

use super::super::cells;
use super::super::manner::Manner;
use super::super::words;
use super::views::{
    Comeback, ComebackRate, Latched, Oddity, Repeat, Replaced, Share, Unchecked, UncheckedShare,
    Untested,
};

#[derive(Debug, Serialize)]
pub struct RateLine {
    unit: String,
    orders: i64,
    comebacks: i64,
    comebacks_soon: i64,
    share: String,
    expected: Option<f64>,
    adjusted_share: Option<f64>,
    stands: &'static str,
}

impl RateLine {
    pub fn new(row: &ComebackRate, manner: &Manner) -> Self {
        Self {
            unit: unit(row, manner),
            orders: row.orders,
            comebacks: row.comebacks,
            comebacks_soon: row.comebacks_soon,
            share: with_limits(row.share, row.share_lower, row.share_upper),
            expected: row.expected,
            adjusted_share: row.adjusted_share,
            stands: match row.outside() {
                Some(true) => "more than chance",
                Some(false) => "fewer than chance",
                None => "within chance",
            },
        }
    }
}

/// What a unit is called; a technician by shop and initials, which may need a pseudonym.
pub fn unit(row: &ComebackRate, manner: &Manner) -> String {
    let unit = match row.kind.as_str() {
        "shop" | "technician" => manner.shop(&row.unit),
        _ => row.unit.clone(),
    };
    match &row.technician {
        Some(technician) => format!("{unit} {}", manner.technician(technician)),
        None => unit,
    }
}

pub fn with_limits(share: Option<f64>, lower: Option<f64>, upper: Option<f64>) -> String {
    match (share, lower, upper) {
        (Some(share), Some(lower), Some(upper)) => format!(
            "{} ({})",
            cells::per_cent(share),
            cells::per_cent_limits(lower, upper)
        ),
        _ => "not known".to_owned(),
    }
}

pub fn of_share(share: Option<&Share>) -> String {
    share.map_or_else(
        || "not known".to_owned(),
        |share| with_limits(share.share, share.lower, share.upper),
    )
}

#[derive(Debug, Serialize)]
pub struct ComebackLine {
    unit: String,
    depot: Option<String>,
    shop: String,
    technician: Option<String>,
    operation: String,
    closed_on: String,
    returned_on: String,
    days: i64,
    km: Option<f64>,
    alike: String,
    complaint: Option<String>,
}

impl ComebackLine {
    pub fn new(row: &Comeback, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            shop: manner.shop(&row.shop),
            technician: row
                .technician
                .as_deref()
                .map(|name| manner.technician(name)),
            operation: row.operation.clone(),
            closed_on: row.closed_on.clone(),
            returned_on: row.returned_on.clone(),
            days: row.days,
            km: row.km,
            alike: row.alike_in(manner),
            complaint: row.complaint.as_deref().map(|said| manner.typed(said)),
        }
    }
}

#[derive(Debug, Serialize)]
pub struct ReplacedLine {
    unit: String,
    model: Option<String>,
    opened_on: String,
    shop: Option<String>,
    replaced: String,
    parts_cost: Option<f64>,
    flood: String,
    put_right_on: Option<String>,
}

impl ReplacedLine {
    pub fn new(row: &Replaced, manner: &Manner) -> Self {
        let supply = row
            .supply_voltage_v
            .map(|volts| format!(", {volts:.1} V"))
            .unwrap_or_default();
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            model: row.model.clone(),
            opened_on: row.opened_on.clone(),
            shop: row.shop.as_deref().map(|shop| manner.shop(shop)),
            replaced: format!("{} {}", row.replaced, row.place(manner).unwrap_or_default()),
            parts_cost: row.parts_cost,
            flood: format!(
                "{}: {} codes in {} modules{supply}",
                row.flood_cause, row.codes, row.modules
            ),
            put_right_on: row.put_right_on.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
pub struct UntestedLine {
    unit: String,
    depot: Option<String>,
    model: Option<String>,
    opened_on: String,
    days_standing: i64,
    next_step: Option<String>,
}

impl UntestedLine {
    pub fn new(row: &Untested, proven_days: i64, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            depot: row.depot.clone(),
            model: row.model.clone(),
            opened_on: row.opened_on.clone(),
            days_standing: row.days_standing,
            next_step: row
                .next_step
                .map(|step| words::recovery::step(step, proven_days)),
        }
    }
}

#[derive(Debug, Serialize)]
pub struct UncheckedLine {
    unit: String,
    opened_on: String,
    shop: Option<String>,
    technician: Option<String>,
    complaint: Option<String>,
    codes: i64,
    minutes: i64,
    came_back: &'static str,
}

impl UncheckedLine {
    pub fn new(row: &Unchecked, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            opened_on: row.opened_on.clone(),
            shop: row.shop.as_deref().map(|shop| manner.shop(shop)),
            technician: row
                .technician
                .as_deref()
                .map(|name| manner.technician(name)),
            complaint: row.complaint.as_deref().map(|said| manner.typed(said)),
            codes: row.codes,
            minutes: row.minutes,
            came_back: if row.came_back { "yes" } else { "no" },
        }
    }
}

#[derive(Debug, Serialize)]
pub struct UncheckedShopLine {
    shop: String,
    clears: i64,
    unchecked: i64,
    share: String,
}

impl UncheckedShopLine {
    pub fn new(row: &UncheckedShare, manner: &Manner) -> Self {
        Self {
            shop: manner.shop(&row.shop),
            clears: row.clears,
            unchecked: row.unchecked,
            share: of_share(row.share.as_ref()),
        }
    }
}

#[derive(Debug, Serialize)]
pub struct RepeatLine {
    unit: String,
    model: Option<String>,
    position: String,
    before_on: String,
    replaced_on: String,
    days: i64,
    shop: Option<String>,
    parts_cost: Option<f64>,
}

impl RepeatLine {
    pub fn new(row: &Repeat, manner: &Manner) -> Self {
        Self {
            unit: manner.vehicle(row.unit_no.as_deref(), &row.vin),
            model: row.model.clone(),
            position: manner.position(&row.position),
            before_on: row.before_on.clone(),
            replaced_on: row.replaced_on.clone(),
            days: row.days,
            shop: row.shop.as_deref().map(|shop| manner.shop(shop)),
            parts_cost: row.parts_cost,
        }
    }
}

#[derive(Debug, Serialize)]
pub struct LatchedLine {
    model: String,
    module: String,
    code: String,
    share: String,
    to_do: String,
}

impl LatchedLine {
    pub fn new(row: &Latched, manner: &Manner) -> Self {
        let share = row.survived as f64 / row.clears.max(1) as f64;
        Self {
            model: format!("{} {}", row.make, row.model),
            module: manner.module(&row.module_address),
            code: row.code.clone(),
            share: with_limits(Some(share), row.share_lower, row.share_upper),
            to_do: row.to_do(),
        }
    }
}

#[derive(Debug, Serialize)]
pub struct OddityLine {
    what: String,
    cause: String,
    floods: i64,
    expected: Option<f64>,
    chance: String,
}

impl OddityLine {
    pub fn new(row: &Oddity, manner: &Manner) -> Self {
        let when = match (&row.from_on, &row.to_on) {
            (Some(from), Some(to)) => format!(", {from} to {to}"),
            _ => String::new(),
        };
        let unit = row.unit(manner);
        let kind = row.kind.trim_end_matches(" in four weeks");
        Self {
            what: match kind {
                "week" => format!("{unit}{when}"),
                _ => format!("{kind} {unit}{when}"),
            },
            cause: row.cause.clone(),
            floods: row.floods,
            expected: row.expected,
            chance: cells::chance(row.adjusted.unwrap_or(1.0)),
        }
    }
}
