//! Slips of the hand: a year, a rating.

use super::super::facts::{Fact, day_of};
use super::super::streams::{chance, whole};
use super::{Habit, Telling, shows};

/// Twenty years of days.
const TWENTY_YEARS: i64 = 7305;

/// One order of one vehicle in a hundred lies twenty years back.
pub fn year(telling: &mut Telling<'_>) {
    let life = telling.life;
    let vehicles = life.world.scenario.vehicles as u64;
    if life.vehicle.index % 100 != 13 % vehicles.min(100) {
        return;
    }
    let Some(order) = telling.order() else {
        return;
    };
    let (at, order_no, position) = (order.opened, order.order_no.clone(), order.position);
    let done = |note: &super::Note| note.habit == Habit::MistypedYear;
    if telling.notes.iter().any(done) {
        return;
    }
    telling.each_line(|line| {
        line.opened -= TWENTY_YEARS * 1440;
        line.closed = line.closed.map(|closed| closed - TWENTY_YEARS * 1440);
    });
    let date = |at: i64| life.world.weather.date(day_of(at)).to_string();
    let (told, truly) = (date(at - TWENTY_YEARS * 1440), date(at));
    telling.note(Habit::MistypedYear, position, at, &order_no, told, truly);
}

/// A rating is typed at half, or with a digit too many.
pub fn rating(telling: &mut Telling<'_>) {
    let Some(test) = telling.test() else {
        return;
    };
    let (at, position, Some((rated, standard))) = (test.at, test.position, test.rated) else {
        return;
    };
    let Some(mut rng) = shows(telling, Habit::MistypedRatings, at as u64, 0.016) else {
        return;
    };
    let typed = if chance(&mut rng, 0.75) {
        (rated / 2.0).round()
    } else {
        rated * 10.0 + whole(&mut rng, 0, 9) as f64
    };
    if let Some(Fact::Test(test)) = telling.records.first_mut().map(|record| &mut record.fact) {
        test.rated = Some((typed, standard));
    }
    let (told, truly) = (typed.to_string(), rated.to_string());
    telling.note(Habit::MistypedRatings, Some(position), at, "", told, truly);
}
