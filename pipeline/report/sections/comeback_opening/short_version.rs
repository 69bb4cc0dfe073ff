//! The comebacks report in a few lines.

use std::collections::{BTreeMap, BTreeSet};

use super::signal::{self, Signal};
use crate::cells::{counted, money};
use crate::sections::Share;
use crate::sections::came_back::Comeback;
use crate::sections::cleared_unchecked::Unchecked;
use crate::sections::comeback_rates::{ComebackRate, Overall};
use crate::sections::replaced_in_flood::Replaced;
use crate::style::ReportStyle;

/// What the lines are made from; of the lists what the last year or the last 13 weeks brought.
pub struct Facts<'a> {
    pub signals: &'a [Signal],
    pub overall: Option<&'a Overall>,
    pub rates: &'a [ComebackRate],
    pub repeated: &'a BTreeMap<&'a str, Vec<&'a Comeback>>,
    pub modules: Vec<&'a Replaced>,
    pub untested: usize,
    pub unchecked: Vec<&'a Unchecked>,
    pub repeats: usize,
    pub latched: usize,
    pub comeback: &'a settings::Comeback,
    pub style: &'a ReportStyle,
}

impl Facts<'_> {
    pub fn short_version(&self) -> Vec<String> {
        let mut lines = Vec::new();
        lines.extend(signal::said(self.signals, self.style));
        lines.extend(self.came_back());
        lines.extend(self.outside());
        lines.extend(self.repeat_vehicles());
        lines.push(self.modules());
        lines.push(format!(
            "{} without a battery test since a flood that the supply caused.",
            counted(self.untested, "vehicle stands", "vehicles stand"),
        ));
        lines.push(self.unchecked());
        lines.push(format!(
            "{} replaced again under warranty in the last 52 weeks.",
            counted(self.repeats, "battery was", "batteries were"),
        ));
        if self.latched > 0 {
            lines.push(format!(
                "{} after a plain clear.",
                counted(self.latched, "code stays", "codes stay")
            ));
        }
        lines
    }

    fn money(&self, amount: f64) -> String {
        money(&self.style.currency, amount)
    }

    fn came_back(&self) -> Option<String> {
        let overall = self.overall.filter(|overall| overall.orders > 0)?;
        let mut line = format!(
            "Of {} handed over in {} days and followed for {}, {} came back: {}",
            counted(overall.orders as usize, "repair order", "repair orders"),
            self.comeback.rate_days,
            self.comeback.comeback_late_days,
            overall.comebacks,
            Share::said(overall.share.as_ref()),
        );
        if overall.orders_before > 0 {
            line.push_str(&format!(
                ", as long a time before {}",
                Share::said(overall.share_before.as_ref())
            ));
        }
        if let Some(cost) = overall.return_cost.filter(|cost| *cost > 0.0) {
            line.push_str(&format!(
                ". Their second orders cost {} in parts and labour, at {} an hour",
                self.money(cost),
                self.money(self.comeback.labour_per_hour),
            ));
        }
        line.push('.');
        Some(line)
    }

    fn outside(&self) -> Option<String> {
        let outside: Vec<String> = self
            .rates
            .iter()
            .filter(|row| row.outside() == Some(true) && row.kind != "operation")
            .map(|row| format!("{} {}", row.kind, row.unit(self.style)))
            .collect();
        (!outside.is_empty()).then(|| {
            format!(
                "More comebacks than chance and the mix of work explain: {}.",
                outside.join(", ")
            )
        })
    }

    fn repeat_vehicles(&self) -> Option<String> {
        let (_, most) = self
            .repeated
            .iter()
            .max_by_key(|(vin, rows)| (rows.len(), std::cmp::Reverse(**vin)))?;
        let first = most.first()?;
        let cost = |rows: &[&Comeback]| rows.iter().filter_map(|row| row.return_cost).sum::<f64>();
        let all: f64 = self.repeated.values().map(|rows| cost(rows)).sum();
        Some(format!(
            "{} back more than once in 52 weeks, for {}; most often {}: {} times.",
            counted(self.repeated.len(), "vehicle came", "vehicles came"),
            self.money(all),
            self.style.vehicle(first.unit_no.as_deref(), &first.vin),
            most.len(),
        ))
    }

    fn modules(&self) -> String {
        let cost: f64 = self.modules.iter().filter_map(|row| row.parts_cost).sum();
        format!(
            "{} replaced in the last 52 weeks during a flood that the supply caused, without a battery test: {} in parts.",
            counted(self.modules.len(), "module was", "modules were"),
            self.money(cost),
        )
    }

    fn unchecked(&self) -> String {
        let vehicles: BTreeSet<&str> = self.unchecked.iter().map(|row| row.vin.as_str()).collect();
        format!(
            "{} ({}) in the last 13 weeks cleared codes and handed over without a scan after it, {} of them came back.",
            counted(self.unchecked.len(), "order", "orders"),
            counted(vehicles.len(), "vehicle", "vehicles"),
            self.unchecked.iter().filter(|row| row.came_back).count(),
        )
    }
}
