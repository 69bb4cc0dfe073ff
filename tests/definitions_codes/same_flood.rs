//! One definition of a flood: what the model counts is what is told.

use voltwane::synthetic::{Scenario, write_dumps};

use crate::workplace::Workplace;

#[test]
fn the_model_counts_the_floods_that_are_told() {
    let place = Workplace::new();
    let dumps = place.path().join("dumps");
    write_dumps(&Scenario::new(120, 104, 21), &dumps, false, &mut |_, _| {})
        .expect("a fleet is written");
    place.run(&["load", "--lake", "lake", "dumps"]);
    let differ = place.sql(
        &[],
        "SELECT w.vin, w.position, w.supply_floods_364, COUNT(f.vin) AS told
         FROM vehicle_week w
         LEFT JOIN battery_life l ON l.vin = w.vin AND l.position = w.position AND l.battery_no = w.battery_no
         LEFT JOIN code_flood f ON f.vin = w.vin AND f.cause_then = 'supply'
          AND CAST(f.ended_at AS DATE) > GREATEST(day_plus(w.known_on, -364), l.installed_on)
          AND CAST(f.ended_at AS DATE) <= w.known_on
         WHERE w.periods_back = 0
         GROUP BY w.vin, w.position, w.supply_floods_364
         HAVING COUNT(f.vin) <> w.supply_floods_364",
    );
    assert!(differ.is_empty(), "{differ:?}");
    let known = place.sql(
        &[],
        "SELECT SUM(supply_floods_364) AS floods FROM vehicle_week WHERE periods_back = 0",
    );
    assert!(known[0]["floods"].as_f64() > Some(0.0), "{known:?}");
}
