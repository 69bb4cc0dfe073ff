//! Comebacks, wrong parts and unfinished work, in a fleet small enough to count by hand, and the report
//! that tells of them.

use crate::workplace::{Workplace, number};

/// A VIN that passes the check digit; the prefix belongs to no maker we know of.
fn vin(number: usize) -> String {
    let mut vin = format!("0VW0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

/// Writes orders as (number, vehicle, opened, closed, odometer, cause, operation, complaint, part,
/// cost), scans as (number, vehicle, instant, supply, codes), and a register of twelve vehicles.
fn load(orders: &[&str], scans: &[(&str, usize, &str, &str, Vec<String>)]) -> Workplace {
    let place = Workplace::new();
    let mut register =
        String::from("vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry\n");
    for number in 0..12 {
        register.push_str(&format!(
            "{},2026-06-20,U{number},Yard,Test,One,combustion,2020-01-01,flooded\n",
            vin(number)
        ));
    }
    let mut lines = String::from(
        "order_no,vin,opened_at,closed_at,odometer_km,cause,operation,complaint,module_address,parts_cost,shop,technician\n",
    );
    for order in orders {
        let (number, rest) = order.split_once(',').expect("a number");
        let (vehicle, rest) = rest.split_once(',').expect("a vehicle");
        let vehicle: usize = vehicle.parse().expect("a vehicle's number");
        lines.push_str(&format!("{number},{},{rest},North,AB\n", vin(vehicle)));
    }
    let mut scanned = String::from(
        "scan_id,vin,scanned_at,modules_asked,modules_answered,supply_voltage_v,km_since_clear,shop\n",
    );
    let mut codes = String::from("scan_id,vin,scanned_at,module_address,code\n");
    for (scan, vehicle, at, supply, shown) in scans {
        let vin = vin(*vehicle);
        scanned.push_str(&format!("{scan},{vin},{at},14,14,{supply},900,North\n"));
        for code in shown {
            codes.push_str(&format!("{scan},{vin},{at},{code}\n"));
        }
    }
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", lines);
    place.write("dumps/scans.csv", scanned);
    place.write("dumps/codes.csv", codes);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

/// The codes of a sagging supply: each module its own low voltage, and another module missed.
fn supply_flood() -> Vec<String> {
    (0..12)
        .flat_map(|module| {
            [
                format!("7{module:02X},U3003"),
                format!("7{module:02X},U01{:02}", 40 + module),
            ]
        })
        .collect()
}

/// Scans with nothing to show, so that what is usual is known: at a vehicle's first and at further ones.
fn quiet(scans: &mut Vec<(&'static str, usize, &'static str, &'static str, Vec<String>)>) {
    const MORNINGS: [(&str, &str); 5] = [
        ("Q0", "2026-03-02 08:00:00"),
        ("Q1", "2026-03-09 08:00:00"),
        ("Q2", "2026-03-16 08:00:00"),
        ("Q3", "2026-03-23 08:00:00"),
        ("Q4", "2026-03-30 08:00:00"),
    ];
    for (name, at) in MORNINGS {
        for vehicle in 0..12 {
            scans.push((name, vehicle, at, "12.6", Vec::new()));
        }
    }
}

#[test]
fn what_comes_back_is_told_from_what_does_not() {
    let place = load(
        &[
            // The same complaint eleven days later.
            "A1,0,2026-01-10 08:00:00,2026-01-10 10:00:00,50000,supply,battery charged,slow to start,,",
            "A2,0,2026-01-21 08:00:00,2026-01-21 10:00:00,50400,supply,battery replaced,slow to start,,210",
            // The same complaint, but long after and far away.
            "B1,1,2025-06-10 08:00:00,2025-06-10 10:00:00,20000,supply,battery charged,slow to start,,",
            "B2,1,2026-01-10 08:00:00,2026-01-10 10:00:00,48000,supply,battery replaced,slow to start,,205",
            // Long after, but hardly driven.
            "C1,2,2025-06-10 08:00:00,2025-06-10 10:00:00,20000,supply,battery charged,slow to start,,",
            "C2,2,2026-01-10 08:00:00,2026-01-10 10:00:00,21500,supply,battery replaced,slow to start,,199",
            // Another complaint, but the same code.
            "D1,3,2026-02-01 08:00:00,2026-02-01 10:00:00,30000,other,codes cleared,lamp on,,",
            "D2,3,2026-02-15 08:00:00,2026-02-15 10:00:00,30600,other,other,rough at idle,,",
            // A service is no comeback, and roadside help is no repair.
            "E1,4,2026-02-01 08:00:00,2026-02-01 10:00:00,30000,other,codes cleared,lamp on,,",
            "E2,4,2026-02-20 08:00:00,2026-02-20 10:00:00,30900,,other,service,,",
            "F1,5,2026-02-01 08:00:00,2026-02-01 09:00:00,30000,supply,jump start,slow to start,,",
            "F2,5,2026-02-02 08:00:00,2026-02-02 10:00:00,30010,supply,battery replaced,slow to start,,220",
        ],
        &[
            (
                "S1",
                3,
                "2026-02-01 08:30:00",
                "12.5",
                vec!["7E8,P0301".into()],
            ),
            (
                "S2",
                3,
                "2026-02-15 08:30:00",
                "12.5",
                vec!["7E8,P0301".into()],
            ),
            ("S3", 11, "2026-06-20 08:30:00", "12.5", Vec::new()),
        ],
    );
    let rows = place.sql(
        &[],
        "SELECT order_no, return_order_no, alike, days, came_back, came_back_soon FROM comeback ORDER BY order_no",
    );
    let told: Vec<(String, String)> = rows
        .iter()
        .map(|row| {
            (
                row["order_no"].as_str().expect("a number").to_owned(),
                row["alike"].as_str().unwrap_or("").to_owned(),
            )
        })
        .collect();
    let expected = [
        ("A1", "same complaint"),
        ("A2", ""),
        ("B1", ""),
        ("B2", ""),
        ("C1", "same complaint"),
        ("C2", ""),
        ("D1", "same code"),
        ("D2", ""),
        ("E1", ""),
        ("F2", ""),
    ]
    .map(|(order, alike)| (order.to_owned(), alike.to_owned()));
    assert_eq!(told, expected);
    assert_eq!(number(&rows[0], "days"), 11.0);
    assert_eq!(rows[0]["came_back_soon"], true);
    assert_eq!(rows[4]["came_back_soon"], false);
    let shop = &place.sql(&[], "SELECT * FROM comeback_rate WHERE kind = 'shop'")[0];
    assert_eq!(number(shop, "orders"), 10.0);
    assert_eq!(number(shop, "comebacks"), 3.0);
}

#[test]
fn a_module_replaced_for_what_the_supply_did_is_listed_with_its_cost() {
    let mut scans = vec![
        ("S1", 0, "2026-04-10 08:30:00", "10.4", supply_flood()),
        ("S2", 1, "2026-04-10 08:30:00", "10.4", supply_flood()),
        ("S3", 2, "2026-04-10 08:30:00", "12.6", Vec::new()),
    ];
    quiet(&mut scans);
    let place = load(
        &[
            "A1,0,2026-04-10 08:00:00,2026-04-10 10:00:00,50000,module,module replaced,lamps,748,612.5",
            "A2,0,2026-05-02 08:00:00,2026-05-02 10:00:00,50900,supply,battery replaced,does not start,,188",
            // Tested first: the module was replaced with open eyes.
            "B1,1,2026-04-10 08:00:00,2026-04-10 10:00:00,50000,module,battery tested,lamps,,",
            "B1,1,2026-04-10 08:00:00,2026-04-10 10:00:00,50000,module,module replaced,lamps,748,480",
            // No flood.
            "C1,2,2026-04-10 08:00:00,2026-04-10 10:00:00,50000,module,module replaced,lamps,748,530",
        ],
        &scans,
    );
    place.write(
        "more/tests.csv",
        format!(
            "vin,position,tested_at,rest_voltage_v\n{},main,2026-04-10 08:40:00,12.6\n",
            vin(1)
        ),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "more"]);
    let floods = place.sql(&[], "SELECT vin, cause FROM code_flood ORDER BY vin");
    assert_eq!(floods.len(), 2, "{floods:?}");
    assert!(
        floods.iter().all(|row| row["cause"] == "supply"),
        "{floods:?}"
    );
    let listed = place.sql(&[], "SELECT * FROM replaced_in_flood");
    assert_eq!(listed.len(), 1, "{listed:?}");
    assert_eq!(listed[0]["order_no"], "A1");
    assert_eq!(listed[0]["place"], "748");
    assert_eq!(number(&listed[0], "parts_cost"), 612.5);
    assert_eq!(listed[0]["put_right_on"], "2026-05-02");
}

#[test]
fn repeat_batteries_and_unchecked_clears_are_listed() {
    let place = load(
        &[
            "A1,0,2022-01-10 08:00:00,2022-01-10 10:00:00,20000,supply,battery replaced,slow to start,,180",
            "A2,0,2023-03-10 08:00:00,2023-03-10 10:00:00,40000,supply,battery replaced,slow to start,,190",
            "A3,0,2026-06-10 08:00:00,2026-06-10 10:00:00,90000,supply,battery replaced,slow to start,,190",
            "B1,1,2026-02-01 08:00:00,2026-02-01 08:45:00,30000,other,codes cleared,lamp on,,",
            "C1,2,2026-02-01 08:00:00,2026-02-01 09:00:00,30000,other,codes cleared,lamp on,,",
        ],
        &[
            (
                "S1",
                1,
                "2026-02-01 08:30:00",
                "12.5",
                vec!["7E8,P0301".into()],
            ),
            (
                "S2",
                2,
                "2026-02-01 08:30:00",
                "12.5",
                vec!["7E8,P0301".into()],
            ),
        ],
    );
    let repeats = place.sql(&["--as-of", "2026-06-30"], "SELECT * FROM repeat_battery");
    assert_eq!(repeats.len(), 1, "{repeats:?}");
    assert_eq!(number(&repeats[0], "days"), 424.0);
    // The second vehicle is scanned again after its clear.
    place.write(
        "more/scans.csv",
        format!(
            "scan_id,vin,scanned_at,modules_asked,modules_answered,km_since_clear\nS3,{},2026-02-01 08:50:00,14,14,0\n",
            vin(2)
        ),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "more"]);
    let unchecked = place.sql(
        &["--as-of", "2026-06-30"],
        "SELECT order_no, minutes, codes FROM cleared_unchecked",
    );
    assert_eq!(unchecked.len(), 1, "{unchecked:?}");
    assert_eq!(unchecked[0]["order_no"], "B1");
    assert_eq!(number(&unchecked[0], "minutes"), 15.0);
}

#[test]
fn the_report_says_the_same_twice_and_keeps_names_when_told_to() {
    let mut scans = vec![("S1", 0, "2026-04-10 08:30:00", "10.4", supply_flood())];
    quiet(&mut scans);
    let place = load(
        &[
            "A1,0,2026-04-10 08:00:00,2026-04-10 10:00:00,50000,module,module replaced,lamps,748,612.5",
            "B1,1,2026-01-10 08:00:00,2026-01-10 10:00:00,50000,supply,battery charged,slow to start,,",
            "B2,1,2026-01-21 08:00:00,2026-01-21 10:00:00,50400,supply,battery replaced,slow to start,,210",
        ],
        &scans,
    );
    place.run_expecting(0, &["comebacks", "--lake", "lake", "--out", "one"]);
    place.run_expecting(0, &["comebacks", "--lake", "lake", "--out", "two"]);
    for file in [
        "comebacks.md",
        "comebacks.html",
        "comebacks-list.csv",
        "replaced-in-flood.csv",
    ] {
        let (one, two) = (
            place.read(&format!("one/2026-W25/{file}")),
            place.read(&format!("two/2026-W25/{file}")),
        );
        assert_eq!(one, two, "{file}");
    }
    let report = place.read("one/2026-W25/comebacks.md");
    assert!(
        report.contains("1 module was replaced in the last 52 weeks"),
        "{report}"
    );
    assert!(report.contains("module 748"), "{report}");
    let list = place.read("one/2026-W25/comebacks-list.csv");
    assert!(
        list.contains("B2") && list.contains("same complaint"),
        "{list}"
    );
    place.run_expecting(
        0,
        &["comebacks", "--lake", "lake", "--share", "--out", "shared"],
    );
    let shared = place.read("shared/2026-W25/comebacks.md");
    assert!(
        !shared.contains("U0 ") && !shared.contains(&vin(0)),
        "{shared}"
    );
}

#[test]
fn orders_and_the_vehicles_they_are_of_are_counted_apart() {
    let clear = |order: &str, number: usize, day: &str| {
        format!(
            "{order},{number},{day} 08:00:00,{day} 10:00:00,50000,module,codes cleared,lamps,748,"
        )
    };
    let orders = [
        clear("A1", 0, "2026-04-10"),
        clear("A2", 0, "2026-05-30"),
        clear("B1", 1, "2026-05-10"),
    ];
    let code = || vec!["7E8,P0301".to_owned()];
    let place = load(
        &orders.each_ref().map(String::as_str),
        &[
            ("S1", 0, "2026-04-10 08:30:00", "12.5", code()),
            ("S2", 0, "2026-05-30 08:30:00", "12.5", code()),
            ("S3", 1, "2026-05-10 08:30:00", "12.5", code()),
        ],
    );
    let said = place.run_expecting(0, &["comebacks", "--lake", "lake", "--as-of", "2026-06-20"]);
    assert!(
        said.contains("3 orders (2 vehicles) in the last 13 weeks cleared codes"),
        "{said}"
    );
}

#[test]
fn a_lake_without_orders_or_scans_has_a_report_that_says_so() {
    let place = load(&[], &[]);
    let said = place.run_expecting(0, &["comebacks", "--lake", "lake", "--as-of", "2026-06-20"]);
    assert!(said.contains("0 modules were replaced"), "{said}");
    let report = place.read("reports/2026-W25/comebacks.md");
    for line in [
        "No repair order is old enough",
        "Nothing came back",
        "Every flood put down to the supply was followed by a battery test.",
        "No code is known to survive plain clears.",
        "No shop, model or week has more floods than chance brings.",
    ] {
        assert!(report.contains(line), "{line} is not in\n{report}");
    }
}
