//! The register's day of the battery is wrong in the first export after a change, and right later.

use super::super::facts::Fact;
use super::super::streams::{chance, whole};
use super::{Habit, Telling, shows};

/// Days after a change in which the register is still wrong.
const WRONG_FOR_DAYS: i32 = 95;

/// Shows a wrong day of the battery.
pub fn battery_date(telling: &mut Telling<'_>) {
    let Some(Fact::Snapshot(snapshot)) = telling.records.first().map(|record| &record.fact) else {
        return;
    };
    let (seen, installed) = (snapshot.seen_day, snapshot.battery_installed_day);
    if installed <= telling.life.world.window_start || seen - installed > WRONG_FOR_DAYS {
        return;
    }
    let habit = Habit::CorrectedBatteryDates;
    let Some(mut rng) = shows(telling, habit, installed as u64, 0.3) else {
        return;
    };
    let days = if chance(&mut rng, 0.6) {
        -whole(&mut rng, 20, 75)
    } else {
        whole(&mut rng, 2, 20)
    };
    let wrong = (installed + days as i32).min(seen);
    if wrong == installed {
        return;
    }
    if let Some(Fact::Snapshot(snapshot)) =
        telling.records.first_mut().map(|record| &mut record.fact)
    {
        snapshot.battery_installed_day = wrong;
    }
    let date = |day: i32| telling.life.world.weather.date(day).to_string();
    let (told, truly) = (date(wrong), date(installed));
    telling.note(
        habit,
        Some("main"),
        i64::from(installed) * 1440,
        "",
        told,
        truly,
    );
}
