//! Days are those of the shop: orders that carry a day alone, far from Greenwich and over changes of the
//! clock.

use super::{Dumps, Shown, answers, vin};

/// A shop's time zone, the day of a replacement, and what its offset from UTC is then.
const CHANGES: [(&str, &str, &str); 5] = [
    // Eight hours behind, on the eve of the change to summer time.
    ("America/Los_Angeles", "2025-03-08", "08"),
    // One hour ahead, on both changes of the clock, and on a plain day.
    ("Europe/Berlin", "2025-03-30", "b1"),
    ("Europe/Berlin", "2025-10-26", "b2"),
    ("Europe/Berlin", "2025-05-05", "b3"),
    // Thirteen hours ahead.
    ("Pacific/Tongatapu", "2025-05-05", "13"),
];

/// The worn test of the morning of the change is of the battery that came out, wherever the shop lies, and the
/// new battery is as old as the shop's calendar says.
#[test]
fn a_day_alone_is_the_shops_own_day() {
    let mut dumps = Dumps::new();
    for number in 0..CHANGES.len() {
        dumps.shown(&vin(number), "2025-12-01", Shown::default());
    }
    let place = crate::workplace::Workplace::new();
    place.write("dumps/register.csv", &dumps.register);
    for (number, (zone, day, shop)) in CHANGES.iter().enumerate() {
        let vin = vin(number);
        place.write(
            &format!("dumps/orders-{shop}.csv"),
            format!("Job {shop};Chassis {shop};Day {shop};Work {shop};Why {shop}\nJ{number};{vin};{day};battery replaced;planned\n"),
        );
        place.write(
            &format!("dumps/orders-{shop}.toml"),
            format!(
                "kind = \"work_order\"\nshop = \"S{shop}\"\ndelimiter = \";\"\ntime_zone = \"{zone}\"\n\
                 [columns.\"Job {shop}\"]\nfield = \"order_no\"\n[columns.\"Chassis {shop}\"]\nfield = \"vin\"\n\
                 [columns.\"Day {shop}\"]\nfield = \"opened_at\"\nformat = \"%Y-%m-%d\"\n\
                 [columns.\"Work {shop}\"]\nfield = \"operation\"\n[columns.\"Why {shop}\"]\nfield = \"complaint\"\n"
            ),
        );
        place.write(
            &format!("dumps/tests-{shop}.csv"),
            format!("Chassis {shop};At {shop};V {shop};A {shop}\n{vin};{day} 09:00;12.7;330\n{vin};{day} 16:30;12.7;330\n"),
        );
        place.write(
            &format!("dumps/tests-{shop}.toml"),
            format!(
                "kind = \"battery_test\"\nshop = \"S{shop}\"\ndelimiter = \";\"\ntime_zone = \"{zone}\"\n\
                 [constants]\nmeasured_kind = \"CCA EN\"\nposition = \"main\"\n\
                 [columns.\"Chassis {shop}\"]\nfield = \"vin\"\n\
                 [columns.\"At {shop}\"]\nfield = \"tested_at\"\nformat = \"%Y-%m-%d %H:%M\"\n\
                 [columns.\"V {shop}\"]\nfield = \"rest_voltage_v\"\n[columns.\"A {shop}\"]\nfield = \"measured_value\"\n"
            ),
        );
    }
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    let replaced = answers(
        &place,
        "2025-12-31",
        "SELECT vin || ' ' || CAST(replaced_on AS VARCHAR) AS answer FROM battery_life WHERE replaced_on IS NOT NULL ORDER BY vin",
    );
    let mut expected: Vec<String> = CHANGES
        .iter()
        .enumerate()
        .map(|(number, (_, day, _))| format!("{} {day}", vin(number)))
        .collect();
    expected.sort();
    assert_eq!(replaced, expected);
    let tested = answers(
        &place,
        "2025-12-31",
        "SELECT CAST(battery_no AS VARCHAR) AS answer FROM battery_condition",
    );
    assert_eq!(tested, vec!["1"; 2 * CHANGES.len()]);
}
