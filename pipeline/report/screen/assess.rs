//! One vehicle judged: what may have to be paid for, what is missing, what to do with it and why.

use serde::Serialize;

use super::super::cells;
use super::super::manner::Manner;
use super::likelihood::{LikelihoodRatio, chance_of_traction};
use super::outlook::{Item, Outlook, outlook};
use super::views::{Hindsight, Vehicle};
use super::words::{
    age_words, battery_words, cause_words, flood_words, missing_words, traction_words,
};
use crate::analysis::settings::Settings;

/// A vehicle as the report tells it.
#[derive(Debug, Clone, Serialize)]
pub struct Assessed {
    pub vin: String,
    pub unit: Option<String>,
    pub kind: Option<String>,
    pub age: String,
    pub battery: String,
    pub flood: String,
    pub codes: String,
    pub traction: Option<String>,
    pub missing: String,
    pub check: Option<String>,
    pub expected: f64,
    pub lower: f64,
    pub upper: f64,
    pub disposition: &'static str,
    pub reason: String,
}

/// What every vehicle is judged by.
pub struct Yardstick<'a> {
    pub settings: &'a Settings,
    pub hindsight: &'a Hindsight,
    /// Share of tested batteries that are worn or failed: what is expected of an untested one.
    pub worn_share: f64,
    /// Share of scanned vehicles that hold codes: what is expected of one not scanned.
    pub coded_share: f64,
    pub manner: &'a Manner,
}

impl Yardstick<'_> {
    /// Judges a vehicle; `ratio` is there where its trouble was put down to the traction battery.
    pub fn assess(
        &self,
        vehicle: &Vehicle,
        ratio: Option<&LikelihoodRatio>,
        told: bool,
    ) -> Assessed {
        let mut items = Vec::new();
        self.battery_items(vehicle, &mut items);
        self.code_items(vehicle, &mut items);
        self.traction_items(ratio, told, &mut items);
        let cost = outlook(&items);
        let (disposition, reason, check) = self.dispose(vehicle, &items, ratio, told);
        self.told(vehicle, ratio, told, cost, disposition, reason, check)
    }

    fn battery_items(&self, vehicle: &Vehicle, items: &mut Vec<Item>) {
        let cost = &self.settings.cost;
        let mut item = |words: &str, chance: f64, cost: f64, check| {
            items.push(Item {
                words: words.to_owned(),
                chance,
                cost,
                check,
            });
        };
        match vehicle.verdict_now() {
            Some(verdict @ ("worn" | "failed")) => {
                let words = format!("the battery is {verdict}: replace it");
                item(&words, 1.0, cost.planned_replacement, None);
            }
            Some("discharged") => {
                let (share, _) = self.hindsight.share("discharged");
                item(
                    "charge the battery fully",
                    1.0,
                    self.settings.screen.recharge,
                    None,
                );
                item(
                    "the battery may not hold its charge",
                    share,
                    cost.planned_replacement,
                    Some("charge the battery fully, then test it again"),
                );
            }
            Some(_) => {
                let (share, _) = self.hindsight.share("fit");
                let chance = vehicle.chance.unwrap_or(share);
                item(
                    "the battery may fail soon",
                    chance,
                    cost.planned_replacement,
                    None,
                );
            }
            None => item(
                "the battery may be worn: no test speaks for it",
                self.worn_share,
                cost.planned_replacement,
                Some("test the 12 V battery"),
            ),
        }
    }

    fn code_items(&self, vehicle: &Vehicle, items: &mut Vec<Item>) {
        let costs = &self.settings.screen;
        if vehicle.scanned_on.is_none() {
            items.push(Item {
                words: "it may hold codes: it was never scanned".to_owned(),
                chance: self.coded_share,
                cost: costs.diagnosis,
                check: Some("scan all modules"),
            });
        }
        if vehicle.cleared_shortly_before == Some(true) {
            let (share, _) = self.hindsight.share("cleared shortly before");
            items.push(Item {
                words: "codes were cleared shortly before the scan and may come back".to_owned(),
                chance: share,
                cost: costs.module_replacement,
                check: Some("drive it until its monitors have run, then scan it again"),
            });
        }
        let permanent = vehicle.permanent_codes.unwrap_or(0);
        if permanent > 0 {
            items.push(Item {
                words: format!(
                    "{} to be traced",
                    cells::counted(
                        permanent as usize,
                        "permanent code is",
                        "permanent codes are"
                    )
                ),
                chance: 1.0,
                cost: costs.diagnosis,
                check: None,
            });
        }
        if vehicle.latched_codes > 0 {
            items.push(Item {
                words: format!(
                    "{} an ordinary clear leaves",
                    cells::counted(vehicle.latched_codes as usize, "code that", "codes that")
                ),
                chance: 1.0,
                cost: costs.protected_clear,
                check: None,
            });
        }
        let flood = vehicle.flood_is_recent == Some(true) && vehicle.flood_is_proven != Some(true);
        if let (true, Some(cause)) = (flood, vehicle.flood_cause.as_deref()) {
            let (share, _) = self.hindsight.share(&format!("flood: {cause}"));
            items.push(Item {
                words: format!("a flood of codes put down to {} stands", cause_words(cause)),
                chance: share,
                cost: costs.module_replacement,
                check: Some(match cause {
                    "supply" => "test and charge the battery, save and clear the codes, scan again",
                    "scan artefact" => "scan it again with a steady supply",
                    _ => "save and clear the codes, drive it, scan it again",
                }),
            });
        }
    }

    fn traction_items(&self, ratio: Option<&LikelihoodRatio>, told: bool, items: &mut Vec<Item>) {
        if !told {
            return;
        }
        let chance = ratio.map_or(0.5, chance_of_traction);
        items.push(Item {
            words: "trouble was put down to the traction battery".to_owned(),
            chance,
            cost: self.settings.screen.traction_repair,
            check: Some("test the 12 V battery and scan with a charger on, before the traction battery is touched"),
        });
    }

    /// What to do with it, the reason, and the one check that settles most.
    fn dispose(
        &self,
        vehicle: &Vehicle,
        items: &[Item],
        ratio: Option<&LikelihoodRatio>,
        told: bool,
    ) -> (&'static str, String, Option<String>) {
        let open = items
            .iter()
            .filter(|item| item.check.is_some())
            .max_by(|a, b| a.doubt().total_cmp(&b.doubt()))
            .filter(|item| item.doubt() >= self.settings.cost.battery_test);
        let check = open.and_then(|item| item.check).map(str::to_owned);
        let traction_likely = told && ratio.is_none_or(|ratio| ratio.ratio < 1.0);
        if traction_likely {
            let reason = match ratio {
                Some(_) => "the signs speak for the traction battery rather than the 12 V supply",
                None => {
                    "trouble was put down to the traction battery, and no test or scan speaks for or against it"
                }
            };
            return ("hold back", reason.to_owned(), check);
        }
        if vehicle.cleared_shortly_before == Some(true) {
            let reason = "codes were cleared shortly before the scan, so the scan shows little";
            return ("hold back", reason.to_owned(), check);
        }
        if let Some(item) = open {
            return ("check first", item.words.clone(), check);
        }
        let certain: Vec<&str> = items
            .iter()
            .filter(|item| item.chance >= 0.9)
            .map(|item| item.words.as_str())
            .collect();
        match certain.is_empty() {
            false => ("put right", certain.join("; "), check),
            true => (
                "ready",
                "nothing was found that costs money now".to_owned(),
                check,
            ),
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of one line")]
    fn told(
        &self,
        vehicle: &Vehicle,
        ratio: Option<&LikelihoodRatio>,
        told: bool,
        cost: Outlook,
        disposition: &'static str,
        reason: String,
        check: Option<String>,
    ) -> Assessed {
        Assessed {
            vin: self.manner.vin(&vehicle.vin),
            unit: vehicle
                .unit_no
                .as_deref()
                .map(|unit| self.manner.unit(unit)),
            kind: Some(vehicle.kind()).filter(|kind| !kind.is_empty()),
            age: age_words(vehicle),
            battery: battery_words(vehicle),
            flood: flood_words(vehicle),
            codes: self.code_words(vehicle),
            traction: told.then(|| traction_words(ratio)),
            missing: missing_words(vehicle),
            check,
            expected: cost.expected,
            lower: cost.lower,
            upper: cost.upper,
            disposition,
            reason,
        }
    }

    fn code_words(&self, vehicle: &Vehicle) -> String {
        let Some(scanned_on) = &vehicle.scanned_on else {
            return "never scanned".to_owned();
        };
        let mut words = vec![match vehicle.codes.unwrap_or(0) {
            0 => format!("no code on {scanned_on}"),
            codes => format!(
                "{} on {scanned_on}",
                cells::counted(codes as usize, "code", "codes")
            ),
        }];
        if vehicle.cleared_shortly_before == Some(true) {
            let mut since = Vec::new();
            since.extend(
                vehicle.warm_ups_since_clear.map(|warm_ups| {
                    cells::counted(warm_ups.max(0) as usize, "warm-up", "warm-ups")
                }),
            );
            since.extend(
                vehicle
                    .km_since_clear
                    .map(|km| self.manner.units.distance(km)),
            );
            if let (Some(ready), Some(all)) = (vehicle.monitors_ready, vehicle.monitors_supported) {
                since.push(format!("{ready} of {all} monitors ready"));
            }
            words.push(format!("cleared shortly before: {}", since.join(", ")));
        }
        match vehicle.permanent_codes.unwrap_or(0) {
            0 => {}
            permanent => words.push(format!("{permanent} permanent")),
        }
        if vehicle.latched_codes > 0 {
            let example = vehicle.latched_example.as_deref().unwrap_or("one");
            words.push(format!(
                "{} likely latched ({example})",
                vehicle.latched_codes
            ));
        }
        words.join("; ")
    }
}
