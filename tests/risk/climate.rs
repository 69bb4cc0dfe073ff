//! The climate of the weeks ahead rests on the years that are on record, each counted once.

use super::invented_fleet;
use crate::workplace::number;

#[test]
fn a_depot_rests_on_as_many_years_as_were_recorded() {
    let place = invented_fleet("12", "130");
    let rows = place.sql(
        &[],
        "SELECT w.depot, w.known_on, w.years_ahead, days_between(f.first_on, w.known_on) AS recorded_days
         FROM depot_day_weather w
         JOIN (SELECT depot, MIN(day) AS first_on FROM depot_weather GROUP BY depot) f ON f.depot = w.depot",
    );
    let mut most = 0.0_f64;
    for row in &rows {
        // Weeks that begin up to a fortnight later, and the 56 days of the horizon, may be of a further year.
        let years = ((number(row, "recorded_days") + 14.0 + 56.0) / 364.0).floor();
        let told = number(row, "years_ahead");
        assert!(told <= years, "{row}");
        most = most.max(told);
    }
    assert_eq!(most, 2.0, "{} rows", rows.len());
}
