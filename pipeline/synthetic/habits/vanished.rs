//! Vehicles that the register loses, and those it does not know yet.

use super::super::facts::Fact;
use super::super::fleet::Vehicle;
use super::super::streams::{Domain, chance, stream};
use super::{Habit, Telling};

/// Whether the vehicle, when it leaves, leaves without a word.
pub fn leaves_silently(seed: u64, vehicle: &Vehicle) -> bool {
    let index = u64::MAX - vehicle.index;
    chance(&mut stream(seed, Domain::Habit, index), 0.5)
}

/// The row that says a vehicle left is missing.
pub fn leaver(telling: &mut Telling<'_>) {
    let left = match telling.records.first().map(|record| &record.fact) {
        Some(Fact::Snapshot(snapshot)) => snapshot.left_day,
        _ => None,
    };
    let seed = telling.life.world.scenario.seed;
    if let Some(day) = left
        && leaves_silently(seed, &telling.life.vehicle)
    {
        telling.records.clear();
        let truly = telling.life.world.weather.date(day).to_string();
        let at = i64::from(day) * 1440;
        telling.note(Habit::SilentLeavers, None, at, "", String::new(), truly);
    }
}

/// The register's days of export without those of the last weeks, so that some vehicles joined since.
pub fn register_days(mut days: Vec<i32>, last_day: i32) -> Vec<i32> {
    let first = days.first().copied();
    days.retain(|day| *day < last_day - 20 || Some(*day) == first);
    days
}
