//! Tests on the day a battery was changed: which of the two batteries they speak of.

use super::{rows, vin};
use crate::workplace::{Workplace, number};

/// Opened and closed moments of the order that changed the battery on 2024-05-04, and the tests of that
/// day with the battery each is of.
type ChangeDay = (
    &'static str,
    &'static str,
    &'static [(&'static str, i64, f64)],
);

const DAYS: [ChangeDay; 4] = [
    // Found worn while the order was open, fit after it was closed.
    (
        "2024-05-04 08:24:00",
        "2024-05-04 09:29:00",
        &[
            ("2024-05-04 07:10:00", 200, 1.0),
            ("2024-05-04 08:54:00", 200, 1.0),
            ("2024-05-04 10:05:00", 600, 2.0),
        ],
    ),
    // Days alone: not known before or after, so of the one that came out, whatever it found.
    (
        "2024-05-04 00:00:00",
        "2024-05-04 00:00:00",
        &[("2024-05-04 10:05:00", 600, 1.0)],
    ),
    // An order of several days may carry days alone.
    (
        "2024-05-02 00:00:00",
        "2024-05-04 00:00:00",
        &[
            ("2024-05-03 10:05:00", 200, 1.0),
            ("2024-05-04 10:05:00", 200, 1.0),
        ],
    ),
    // The days around the change are not in doubt.
    (
        "2024-05-04 08:24:00",
        "2024-05-04 09:29:00",
        &[
            ("2024-05-03 23:50:00", 200, 1.0),
            ("2024-05-05 00:10:00", 600, 2.0),
        ],
    ),
];

#[test]
fn a_test_on_the_day_of_a_change_is_of_the_battery_that_came_out() {
    let place = Workplace::new();
    let mut register = String::from(
        "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,rating_value,rating_standard\n",
    );
    let mut orders = String::from("order_no,vin,opened_at,closed_at,operation,position\n");
    let mut tests =
        String::from("vin,position,tested_at,rest_voltage_v,measured_value,measured_kind\n");
    let mut expected = Vec::new();
    for (at, (opened, closed, tested)) in DAYS.iter().enumerate() {
        let vin = vin(at);
        register.push_str(&format!(
            "{vin},2024-06-30,U{at},Midvale,Test,One,combustion,2021-01-01,flooded,600,EN\n"
        ));
        orders.push_str(&format!(
            "{at},{vin},{opened},{closed},battery replaced,main\n"
        ));
        for (moment, measured, battery_no) in *tested {
            tests.push_str(&format!("{vin},main,{moment},12.7,{measured},CCA EN\n"));
            expected.push((vin.clone(), moment.replace(' ', "T") + "Z", *battery_no));
        }
    }
    // Tested on its first day on the road, and never changed: there is no other it could be of.
    let first = vin(DAYS.len());
    register.push_str(&format!(
        "{first},2024-06-30,U9,Midvale,Test,One,combustion,2024-05-04,flooded,600,EN\n"
    ));
    tests.push_str(&format!(
        "{first},main,2024-05-04 10:05:00,12.7,600,CCA EN\n"
    ));
    expected.push((first, "2024-05-04T10:05:00Z".to_owned(), 1.0));
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.write("dumps/tests.csv", tests);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);

    let found: Vec<(String, String, f64)> = rows(
        &place,
        "SELECT vin, tested_at, battery_no FROM battery_condition ORDER BY vin, tested_at",
    )
    .iter()
    .map(|row| {
        let text = |name: &str| row[name].as_str().expect("text").to_owned();
        (text("vin"), text("tested_at"), number(row, "battery_no"))
    })
    .collect();
    expected.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
    assert_eq!(found, expected);
}
