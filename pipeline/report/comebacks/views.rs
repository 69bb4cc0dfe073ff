//! The rows the comebacks report reads, and the queries that give them.

use serde::{Deserialize, Serialize};

use super::super::manner::Manner;
use super::super::words::latched::Clears;
use super::super::words::word_or_none;
use trade::derived_words::{Alike, RecoveryStep};

pub const OVERALL: &str = "
    SELECT COUNT(*) AS orders,
           COALESCE(SUM(CASE WHEN came_back THEN 1 ELSE 0 END), 0) AS comebacks,
           share_limits(COALESCE(SUM(CASE WHEN came_back THEN 1 ELSE 0 END), 0), COUNT(*)) AS share
    FROM comeback WHERE followed";

/// All orders that were followed long enough.
#[derive(Debug, Deserialize)]
pub struct Overall {
    pub orders: i64,
    pub comebacks: i64,
    pub share: Option<Share>,
}

/// A share with its limits.
#[derive(Debug, Clone, Deserialize)]
pub struct Share {
    pub share: Option<f64>,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

pub const RATES: &str = "SELECT * FROM comeback_rate ORDER BY kind, orders DESC, unit, technician";

/// How often a unit's orders came back.
#[derive(Debug, Clone, Deserialize)]
pub struct ComebackRate {
    pub kind: String,
    pub unit: String,
    pub technician: Option<String>,
    pub orders: i64,
    pub comebacks: i64,
    pub comebacks_soon: i64,
    pub share: Option<f64>,
    pub share_lower: Option<f64>,
    pub share_upper: Option<f64>,
    pub expected: Option<f64>,
    pub adjusted_share: Option<f64>,
    pub overall_share: Option<f64>,
    pub adjusted: Option<f64>,
}

impl ComebackRate {
    /// Beyond what chance leaves, with all units of the kind looked at: more or fewer than expected.
    pub fn outside(&self) -> Option<bool> {
        let beyond = self.adjusted.is_some_and(|adjusted| adjusted <= 0.05);
        beyond.then(|| self.comebacks as f64 > self.expected.unwrap_or(0.0))
    }
}

pub const COMEBACKS: &str = "
    SELECT * FROM comeback WHERE came_back ORDER BY returned_on DESC, vin, order_no";

/// An order whose trouble came back.
#[derive(Debug, Deserialize)]
pub struct Comeback {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub shop: String,
    pub technician: Option<String>,
    pub operation: String,
    pub complaint: Option<String>,
    pub closed_on: String,
    pub return_order_no: String,
    pub returned_on: String,
    #[serde(deserialize_with = "word_or_none")]
    pub alike: Option<Alike>,
    pub same_code: Option<String>,
    pub same_group: Option<String>,
    pub days: i64,
    pub km: Option<f64>,
    pub return_parts_cost: Option<f64>,
    pub return_labour_hours: Option<f64>,
}

impl Comeback {
    /// What the two orders have in common.
    pub fn alike_in(&self, manner: &Manner) -> String {
        let named = |what: Alike, name: &Option<String>| match name {
            Some(name) => format!("{what}: {name}"),
            None => what.to_string(),
        };
        // A code stands behind the address of its module, which somebody may have typed.
        let code = self
            .same_code
            .as_ref()
            .map(|same| match same.rsplit_once(' ') {
                Some((module, code)) => format!("{} {code}", manner.module(module)),
                None => same.clone(),
            });
        match self.alike {
            Some(Alike::Complaint) => Alike::Complaint.to_string(),
            Some(Alike::Code) => named(Alike::Code, &code),
            Some(Alike::CodeGroup) => named(Alike::CodeGroup, &self.same_group),
            None => String::new(),
        }
    }
}

pub const REPLACED: &str = "
    SELECT * FROM replaced_in_flood ORDER BY opened_on DESC, vin, order_no, replaced";

/// A part replaced while a flood spoke for another cause.
#[derive(Debug, Deserialize)]
pub struct Replaced {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub opened_on: String,
    pub shop: Option<String>,
    pub technician: Option<String>,
    pub replaced: String,
    pub place: Option<String>,
    pub parts_cost: Option<f64>,
    pub flood_cause: String,
    pub codes: i64,
    pub modules: i64,
    pub supply_voltage_v: Option<f64>,
    pub put_right_on: Option<String>,
}

impl Replaced {
    /// Which module or battery it was.
    pub fn place(&self, manner: &Manner) -> Option<String> {
        let place = self.place.as_deref()?;
        Some(match self.replaced.as_str() {
            "module" => manner.module(place),
            _ => manner.position(place),
        })
    }
}

pub const UNTESTED: &str = "
    SELECT vin, unit_no, depot, model, opened_on, opened_by, days_standing, next_step
    FROM recovery_case
    WHERE open AND opened_by = 'flood' AND supply_tested_on IS NULL
    ORDER BY days_standing DESC, vin, opened_on";

/// A flood of the supply that stands without a battery test.
#[derive(Debug, Deserialize)]
pub struct Untested {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub opened_on: String,
    pub days_standing: i64,
    #[serde(deserialize_with = "word_or_none")]
    pub next_step: Option<RecoveryStep>,
}

pub const UNCHECKED: &str = "
    SELECT * FROM cleared_unchecked ORDER BY opened_on DESC, vin, order_no";

/// Codes cleared and the vehicle handed over without another scan.
#[derive(Debug, Deserialize)]
pub struct Unchecked {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub order_no: String,
    pub opened_on: String,
    pub shop: Option<String>,
    pub technician: Option<String>,
    pub complaint: Option<String>,
    pub codes: i64,
    pub minutes: i64,
    pub came_back: bool,
}

pub const UNCHECKED_BY_SHOP: &str = "
    SELECT COALESCE(k.shop, 'not known') AS shop, COUNT(*) AS clears,
           SUM(CASE WHEN u.vin IS NOT NULL THEN 1 ELSE 0 END) AS unchecked,
           share_limits(SUM(CASE WHEN u.vin IS NOT NULL THEN 1 ELSE 0 END), COUNT(*)) AS share
    FROM code_clear k
    LEFT JOIN cleared_unchecked u ON u.vin = k.vin AND u.order_no = k.order_no
    GROUP BY COALESCE(k.shop, 'not known')
    ORDER BY shop";

/// How often a shop hands over without looking again.
#[derive(Debug, Deserialize)]
pub struct UncheckedShare {
    pub shop: String,
    pub clears: i64,
    pub unchecked: i64,
    pub share: Option<Share>,
}

pub const REPEATS: &str = "
    SELECT * FROM repeat_battery ORDER BY replaced_on DESC, vin, position, order_no";

/// A battery replaced again under warranty.
#[derive(Debug, Deserialize)]
pub struct Repeat {
    pub vin: String,
    pub unit_no: Option<String>,
    pub depot: Option<String>,
    pub model: Option<String>,
    pub position: String,
    pub order_no: String,
    pub replaced_on: String,
    pub shop: Option<String>,
    pub parts_cost: Option<f64>,
    pub before_order_no: String,
    pub before_on: String,
    pub days: i64,
}

pub const LATCHED: &str = "
    SELECT * FROM latched_code WHERE latched ORDER BY make, model, module_address, code";

impl Latched {
    pub fn to_do(&self) -> String {
        Clears {
            clears: self.clears,
            survived: self.survived,
            protected_clears: self.protected_clears,
            protected_gone: self.protected_gone,
        }
        .said()
    }
}

/// A code that plain clears leave behind.
#[derive(Debug, Deserialize)]
pub struct Latched {
    pub make: String,
    pub model: String,
    pub module_address: String,
    pub code: String,
    pub clears: i64,
    pub survived: i64,
    pub share_lower: Option<f64>,
    pub share_upper: Option<f64>,
    pub protected_clears: i64,
    pub protected_gone: i64,
}

pub const COMPANIONS: &str = "
    SELECT make, model, module_address, code, times, times_with_others, share_of_sessions
    FROM companion_code WHERE companion ORDER BY make, model, module_address, code";

/// A code that only says that another module holds one.
#[derive(Debug, Deserialize, Serialize)]
pub struct Companion {
    pub make: String,
    pub model: String,
    pub module_address: String,
    pub code: String,
    pub times: i64,
    pub times_with_others: i64,
    pub share_of_sessions: Option<f64>,
}

pub const ODDITIES: &str = "
    SELECT * FROM flood_oddity WHERE odd ORDER BY adjusted, kind, unit, from_on, cause";

/// Floods of a shop, model or time beyond chance.
#[derive(Debug, Deserialize)]
pub struct Oddity {
    pub kind: String,
    pub unit: String,
    pub from_on: Option<String>,
    pub to_on: Option<String>,
    pub cause: String,
    pub floods: i64,
    pub expected: Option<f64>,
    pub adjusted: Option<f64>,
}

impl Oddity {
    /// The shop, model or week.
    pub fn unit(&self, manner: &Manner) -> String {
        match self.kind.starts_with("shop") {
            true => manner.shop(&self.unit),
            false => self.unit.clone(),
        }
    }
}
