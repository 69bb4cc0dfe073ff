//! One vehicle judged: what may have to be paid for, what is missing, what to do with it and why.

use std::collections::BTreeMap;

use serde::Serialize;

use super::super::cells;
use super::super::style::ReportStyle;
use super::likelihood::{LikelihoodRatio, chance_of_traction};
use super::outlook::{Item, Outlook, outlook};
use super::views::{Hindsight, Planned, Vehicle};
use super::words::{
    age_words, battery_words, cause_words, flood_words, missing_words, replacement_words,
    traction_words,
};
use settings::Settings;
use trade::vin::{CheckDigit, Vin};

/// A vehicle as the report tells it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Assessed {
    pub vin: String,
    pub unit: Option<String>,
    pub kind: Option<String>,
    pub age: Option<String>,
    pub battery: Option<String>,
    pub flood: Option<String>,
    pub codes: Option<String>,
    pub traction: Option<String>,
    pub missing: Option<String>,
    pub check: Option<String>,
    /// None of a vehicle of which nothing is on record: no price is made up.
    pub cost: Option<Outlook>,
    pub disposition: &'static str,
    pub reason: String,
}

/// What every vehicle is judged by.
pub struct Yardstick<'a> {
    pub settings: &'a Settings,
    pub hindsight: &'a Hindsight,
    /// By vehicle, what the weekly plan would replace.
    pub plan: &'a BTreeMap<String, Vec<Planned>>,
    /// Share of tested batteries that are worn or failed: what is expected of an untested one.
    pub worn_share: f64,
    /// Share of scanned vehicles that hold codes to trace: what is expected of one not scanned.
    pub coded_share: f64,
    pub style: &'a ReportStyle,
}

impl Yardstick<'_> {
    /// Judges a vehicle; `ratio` is there where its trouble was put down to the traction battery.
    pub fn assess(
        &self,
        vehicle: &Vehicle,
        ratio: Option<&LikelihoodRatio>,
        blames_traction: bool,
    ) -> Assessed {
        let items = self.items(vehicle, ratio, blames_traction);
        let (disposition, reason, check) = self.dispose(vehicle, &items, ratio, blames_traction);
        Assessed {
            vin: self.style.vin(&vehicle.vin),
            unit: vehicle.unit_no.as_deref().map(|unit| self.style.unit(unit)),
            kind: Some(vehicle.kind()).filter(|kind| !kind.is_empty()),
            age: Some(age_words(vehicle)),
            battery: Some(battery_words(vehicle)),
            flood: Some(flood_words(vehicle)),
            codes: Some(self.code_words(vehicle)),
            traction: blames_traction.then(|| traction_words(ratio)),
            missing: Some(missing_words(vehicle)),
            check,
            cost: Some(outlook(&items)),
            disposition,
            reason,
        }
    }

    /// Judges a number of which nothing is on record: the one check that would settle most, and no price.
    /// `near` is a vehicle of the lake whose number differs in one character.
    pub fn unknown(&self, vin: &str, near: Option<&str>) -> Assessed {
        let mut reason = "nothing is on record of it".to_owned();
        let misread = Vin::parse(vin).is_ok_and(|vin| vin.check_digit() != CheckDigit::Agrees);
        let check = match misread {
            true => {
                reason.push_str(", and the check digit of its number does not hold");
                if let Some(near) = near {
                    reason.push_str(&format!(
                        " (the lake has {}, one character away)",
                        self.style.vin(near)
                    ));
                }
                Some("read the number again from the vehicle".to_owned())
            }
            false => {
                let vehicle = Vehicle {
                    vin: vin.to_owned(),
                    ..Vehicle::default()
                };
                let items = self.items(&vehicle, None, false);
                open(&items).and_then(|item| item.check).map(str::to_owned)
            }
        };
        Assessed {
            vin: self.style.vin(vin),
            disposition: "check first",
            reason,
            check,
            ..Assessed::default()
        }
    }

    /// Everything that may have to be paid for.
    fn items(
        &self,
        vehicle: &Vehicle,
        ratio: Option<&LikelihoodRatio>,
        blames_traction: bool,
    ) -> Vec<Item> {
        let mut items = Vec::new();
        self.battery_items(vehicle, &mut items);
        self.code_items(vehicle, &mut items);
        self.traction_items(ratio, blames_traction, &mut items);
        items
    }

    /// The batteries of a vehicle that the plan would replace.
    fn planned(&self, vehicle: &Vehicle) -> &[Planned] {
        self.plan.get(&vehicle.vin).map_or(&[], Vec::as_slice)
    }

    fn battery_items(&self, vehicle: &Vehicle, items: &mut Vec<Item>) {
        let replacement = self.settings.cost.planned(vehicle.chemistry.as_deref());
        let mut item = |words: String, chance: f64, cost: f64, check| {
            items.push(Item {
                words,
                chance,
                cost,
                check,
            });
        };
        let (main, others): (Vec<&Planned>, Vec<&Planned>) = self
            .planned(vehicle)
            .iter()
            .partition(|planned| planned.position == "main");
        let settles = |planned: &Planned| (!planned.is_sure()).then_some("test the 12 V battery");
        for planned in others {
            let words = replacement_words(planned, None, self.settings);
            let check = settles(planned);
            item(words, planned.needed(), planned.planned_cost, check);
        }
        match (vehicle.verdict_now(), main.first()) {
            (Some(verdict @ ("worn" | "failed")), Some(planned)) => {
                let words = replacement_words(planned, Some(verdict), self.settings);
                item(words, 1.0, planned.planned_cost, None);
            }
            (Some(verdict @ ("worn" | "failed")), None) => {
                let cost = cells::money(&self.style.currency, replacement);
                let words = format!("the battery is {verdict}: replace it for {cost}");
                item(words, 1.0, replacement, None);
            }
            (_, Some(planned)) => {
                let words = replacement_words(planned, None, self.settings);
                let check = settles(planned);
                item(words, planned.needed(), planned.planned_cost, check);
            }
            (Some("discharged"), None) => {
                let (share, _) = self.hindsight.share("discharged");
                item(
                    "charge the battery fully".to_owned(),
                    1.0,
                    self.settings.screen.recharge,
                    None,
                );
                item(
                    "the battery may not hold its charge".to_owned(),
                    share,
                    replacement,
                    Some("charge the battery fully, then test it again"),
                );
            }
            (Some(_), None) => {
                let (share, _) = self.hindsight.share("fit");
                let chance = vehicle.chance.unwrap_or(share);
                item(
                    "the battery may fail soon".to_owned(),
                    chance,
                    replacement,
                    None,
                );
            }
            (None, None) => {
                let why = match vehicle.tested_before_only() {
                    true => "not tested since it was fitted",
                    false => "no test speaks for it",
                };
                item(
                    format!("the battery may be worn: {why}"),
                    self.worn_share,
                    replacement,
                    Some("test the 12 V battery"),
                );
            }
        }
    }

    fn code_items(&self, vehicle: &Vehicle, items: &mut Vec<Item>) {
        let costs = &self.settings.screen;
        let unseen = match &vehicle.scanned_on {
            None => Some("it may hold codes: it was never scanned".to_owned()),
            Some(day) if vehicle.scan_is_old == Some(true) => Some(format!(
                "it may hold codes: its last scan, on {day}, is too long ago"
            )),
            Some(_) => None,
        };
        if let Some(words) = unseen {
            items.push(Item {
                words,
                chance: self.coded_share,
                cost: costs.diagnosis,
                check: Some("scan all modules"),
            });
            return;
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
        if vehicle.codes_to_trace > 0 {
            let mut words = format!(
                "{} to be traced",
                cells::counted(
                    vehicle.codes_to_trace as usize,
                    "stored code is",
                    "stored codes are"
                )
            );
            if let Some(permanent @ 1..) = vehicle.permanent_codes {
                words.push_str(&format!(", {permanent} of them permanent"));
            }
            items.push(Item {
                words,
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

    fn traction_items(
        &self,
        ratio: Option<&LikelihoodRatio>,
        blames_traction: bool,
        items: &mut Vec<Item>,
    ) {
        if !blames_traction {
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
        blames_traction: bool,
    ) -> (&'static str, String, Option<String>) {
        let open = open(items).filter(|item| item.doubt() >= self.settings.cost.battery_test);
        let check = open.and_then(|item| item.check).map(str::to_owned);
        let sure = |item: &&Item| item.chance >= 0.9;
        let in_words = |item: &Item| item.words.clone();
        let certain: Vec<String> = items.iter().filter(sure).map(in_words).collect();
        // What is sure to cost money is told whatever else stands in the way.
        let besides = |reason: &str| {
            let settled = items
                .iter()
                .filter(sure)
                .filter(|item| item.check.is_none());
            let mut all = vec![reason.to_owned()];
            all.extend(settled.map(in_words));
            all.join("; ")
        };
        let traction_likely = blames_traction && ratio.is_none_or(|ratio| ratio.ratio < 1.0);
        if traction_likely {
            let reason = match ratio {
                Some(_) => "the signs speak for the traction battery rather than the 12 V supply",
                None => {
                    "trouble was put down to the traction battery, and no test or scan speaks for or against it"
                }
            };
            return ("hold back", besides(reason), check);
        }
        if vehicle.cleared_shortly_before == Some(true) {
            let reason = "codes were cleared shortly before the scan, so the scan shows little";
            return ("drive and scan again", besides(reason), check);
        }
        if let Some(item) = open {
            return ("check first", besides(&item.words), check);
        }
        if !certain.is_empty() {
            return ("put right", certain.join("; "), check);
        }
        let mut reason = "nothing was found that costs money now".to_owned();
        if vehicle.tested_before_only() {
            reason.push_str("; the battery was not tested since it was fitted");
        } else if vehicle.verdict_now().is_none() {
            reason.push_str("; no test speaks for the battery");
        }
        if vehicle.pending_codes > 0 {
            reason.push_str(&format!(
                "; {} pending only, not confirmed",
                cells::counted(vehicle.pending_codes as usize, "code is", "codes are")
            ));
        }
        ("ready", reason, check)
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
                    .map(|km| self.style.units.distance(km)),
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

/// The item on whose check most money hangs.
fn open(items: &[Item]) -> Option<&Item> {
    items
        .iter()
        .filter(|item| item.check.is_some())
        .max_by(|a, b| a.doubt().total_cmp(&b.doubt()))
}
