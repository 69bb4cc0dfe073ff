//! The truth of worlds and habits beyond what the smooth world with plain records needs.
//!
//! Written into `truth.csv` where a world other than `smooth`, or a habit, is chosen; columns that only
//! these rows use stand at the end.
//!
//! | record | columns |
//! |---|---|
//! | `battery` | also `truly` (worn out, without warning; of failed ones), `group`, `rating_standard`, `made` (day), `batch` (bad, where it is) |
//! | `vehicle` | `vin`, `started` (first day in the fleet), `ended` (day it left; empty if it stays), `what` (stays, left, left silently), `depot` |
//! | `event` | what happened to a battery: `vin`, `position`, `happened_at`, `what` (failed, only discharged, replaced failed, replaced planned, replaced wrongly), `ids` (order), `cost` |
//! | `habit` | what a habit did to a record: `vin`, `position`, `happened_at` (when it truly was), `what` (the habit), `ids` (order or file), `told`, `truly` |
//! | `instrument` | a shop's tester: `shop`, `started`, `ended` (first and last day), `scale` (shown share of the true ability), `what` (compensated, where it allows for temperature itself) |
//! | `batch` | a bad batch: `chemistry`, `started`, `ended` (first and last day of making) |
//! | `charging_fault` | `vin`, `started`, `ended` (day it was mended; empty if it was not) |
//!
//! Fails only where the file cannot be written.

use std::io::Write;

use super::dumps::Cut;
use super::events::What;
use super::habits::{COMPENSATED, DAYS_ALONE, Habit, Note, leaves_silently};
use super::life::Life;
use super::shops::SHOPS;
use super::surroundings::Surroundings;
use super::truth::{BatteryLife, TruthFile};

/// Columns that only these rows use.
pub const MORE_COLUMNS: [&str; 8] = [
    "group",
    "rating_standard",
    "made",
    "batch",
    "shop",
    "scale",
    "told",
    "tested",
];

impl<W: Write> TruthFile<W> {
    /// What the world as a whole hides.
    pub fn world(&mut self, around: &Surroundings) -> Result<(), csv::Error> {
        let habits = &around.scenario.habits;
        for batch in &around.batches {
            self.row(&[
                ("record", "batch".to_owned()),
                ("chemistry", batch.chemistry.to_string()),
                ("started", self.day(batch.made_from)),
                ("ended", self.day(batch.made_until - 1)),
            ])?;
        }
        let compensated = |shop: usize| {
            let on = habits.contains(&Habit::CompensatedTesters) && COMPENSATED.contains(&shop);
            if on { "compensated" } else { "" }.to_owned()
        };
        for instrument in &around.instruments {
            self.row(&[
                ("record", "instrument".to_owned()),
                ("shop", SHOPS[instrument.shop].name.to_owned()),
                ("started", self.day(instrument.from_day)),
                ("ended", self.day(instrument.until_day - 1)),
                ("scale", format!("{:.4}", instrument.scale)),
                ("what", compensated(instrument.shop)),
            ])?;
        }
        for (shop, about) in SHOPS.iter().enumerate() {
            let said = [
                (Habit::CompensatedTesters, COMPENSATED.contains(&shop)),
                (Habit::DateOnlyOrders, DAYS_ALONE.contains(&shop)),
            ];
            for (habit, has) in said {
                if has && habits.contains(&habit) {
                    self.row(&[
                        ("record", "habit".to_owned()),
                        ("what", habit.name().to_owned()),
                        ("shop", about.name.to_owned()),
                    ])?;
                }
            }
        }
        Ok(())
    }

    /// What is hidden of one vehicle beside its batteries' lives.
    pub fn vehicle_in_world(&mut self, life: &Life, told: &[Note]) -> Result<(), csv::Error> {
        let (world, vehicle) = (&life.world, &life.vehicle);
        let vin = || ("vin", vehicle.vin.clone());
        let left = vehicle.leave_day <= world.last_day;
        let silent =
            life.shows_habit(Habit::SilentLeavers) && leaves_silently(world.scenario.seed, vehicle);
        let what = match (left, silent) {
            (false, _) => "stays",
            (true, false) => "left",
            (true, true) => "left silently",
        };
        let ended = if left {
            self.day(vehicle.leave_day)
        } else {
            String::new()
        };
        let tested = life.traits.is_none_or(|traits| traits.tested);
        self.row(&[
            ("record", "vehicle".to_owned()),
            vin(),
            ("started", self.day(vehicle.entry_day())),
            ("ended", ended),
            ("what", what.to_owned()),
            ("depot", life.depot.name.to_owned()),
            ("tested", if tested { "yes" } else { "no" }.to_owned()),
        ])?;
        let last_export = world.register_days.last().copied().unwrap_or(0);
        let late = life.shows_habit(Habit::LateJoiners)
            && (last_export + 1..=world.last_day).contains(&vehicle.entry_day());
        if late {
            self.row(&[
                ("record", "habit".to_owned()),
                vin(),
                ("what", Habit::LateJoiners.name().to_owned()),
                ("truly", self.day(vehicle.entry_day())),
            ])?;
        }
        if let Some(fault) = life
            .charging_fault
            .filter(|fault| fault.from_day <= world.last_day)
        {
            let ended = fault.until_day.map(|day| self.day(day));
            self.row(&[
                ("record", "charging_fault".to_owned()),
                vin(),
                ("started", self.day(fault.from_day)),
                ("ended", ended.unwrap_or_default()),
            ])?;
        }
        let from = i64::from(world.window_start.max(vehicle.entry_day())) * 1440;
        let events = life.events.iter();
        for event in events.filter(|event| event.at >= from && event.what != What::Tested) {
            self.row(&[
                ("record", "event".to_owned()),
                vin(),
                ("position", event.position.to_owned()),
                ("happened_at", self.at(event.at)),
                ("what", event.what.to_string()),
                ("ids", event.order_no.clone()),
                ("cost", format!("{:.2}", event.parts_cost)),
            ])?;
        }
        let notes = life.notes.iter().filter(|note| note.at >= from);
        for note in notes.chain(told) {
            self.row(&[
                ("record", "habit".to_owned()),
                vin(),
                ("position", note.position.unwrap_or("").to_owned()),
                ("happened_at", self.at(note.at)),
                ("what", note.habit.name().to_owned()),
                ("ids", note.id.clone()),
                ("told", note.told.clone()),
                ("truly", note.truly.clone()),
            ])?;
        }
        Ok(())
    }

    /// Files whose last line was cut.
    pub fn cuts(&mut self, cuts: &[Cut]) -> Result<(), csv::Error> {
        for cut in cuts {
            self.row(&[
                ("record", "habit".to_owned()),
                ("what", Habit::CutFiles.name().to_owned()),
                ("ids", cut.path.to_string_lossy().into_owned()),
                ("truly", cut.line.clone()),
            ])?;
        }
        Ok(())
    }
}

/// What a battery's row says beyond the smooth world's.
pub fn more_of_battery<W: Write>(
    file: &TruthFile<W>,
    battery: &BatteryLife,
) -> Vec<(&'static str, String)> {
    let how = match (battery.failed_at, battery.without_warning) {
        (None, _) => "",
        (Some(_), false) => "worn out",
        (Some(_), true) => "without warning",
    };
    vec![
        ("truly", how.to_owned()),
        ("group", battery.spec.group.to_owned()),
        ("rating_standard", battery.spec.standard.to_string()),
        ("made", file.day(battery.made_day)),
        (
            "batch",
            if battery.bad_batch { "bad" } else { "" }.to_owned(),
        ),
    ]
}
