//! A test's value is a slip at first and corrected later, at the same instant.

use super::super::facts::Fact;
use super::super::streams::whole;
use super::{Habit, Telling, shows};

/// Shows a tenth of the value first.
pub fn value(telling: &mut Telling<'_>) {
    let Some(test) = telling.test() else {
        return;
    };
    let (at, position, Some((value, kind))) = (test.at, test.position, test.measured) else {
        return;
    };
    let Some(mut rng) = shows(telling, Habit::CorrectedTests, at as u64, 0.03) else {
        return;
    };
    let wait = whole(&mut rng, 1, 14) as i32;
    let mut right = telling.records.clone();
    for record in &mut right {
        record.export_day += wait;
    }
    if let Some(Fact::Test(test)) = telling.records.first_mut().map(|record| &mut record.fact) {
        test.measured = Some((value / 10.0, kind));
    }
    telling.records.append(&mut right);
    let (told, truly) = (format!("{:.3}", value / 10.0), format!("{value:.3}"));
    telling.note(Habit::CorrectedTests, Some(position), at, "", told, truly);
}
