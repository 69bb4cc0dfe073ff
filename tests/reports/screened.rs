//! What a buyer reads of each vehicle: tests of the battery that is in now, costs by its chemistry,
//! stored codes, and what the weekly plan would replace.

use std::collections::BTreeMap;

use super::planner::table;
use super::written::vin;
use crate::command::place_with_lake;
use crate::workplace::{Workplace, number};

const REGISTER: &str = "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,battery_group,rating_value,rating_standard\n";
const ORDERS: &str = "order_no,vin,opened_at,closed_at,cause,operation,position\n";
const TESTS: &str = "vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,rated_value,rated_standard,chemistry\n";
const CODES: &str = "scan_id,vin,scanned_at,odometer_km,module_address,code,pending,confirmed\n";

type Row = BTreeMap<String, String>;

/// Screens these vehicles; answers the rows by vehicle.
fn screened(place: &Workplace, vins: &[String]) -> BTreeMap<String, Row> {
    place.write("list.csv", vins.join("\n"));
    place.run_expecting(
        0,
        &[
            "screen",
            "--lake",
            "lake",
            "list.csv",
            "--as-of",
            "2026-06-28",
        ],
    );
    table(place, "reports/screen-2026-06-28/screening.csv")
        .into_iter()
        .map(|row| (row["vin"].clone(), row))
        .collect()
}

/// A lake of vehicles with these chemistries, orders, tests and codes.
fn lake(chemistries: &[&str], orders: &str, tests: &str, codes: &str) -> Workplace {
    let place = Workplace::new();
    let mut register = REGISTER.to_owned();
    for (at, chemistry) in chemistries.iter().enumerate() {
        register.push_str(&format!(
            "{},2026-06-01,U{at},Yard,Make,Model,combustion,2020-01-01,{chemistry},H5,600,EN\n",
            vin(at)
        ));
    }
    for (name, head, lines) in [
        ("orders", ORDERS, orders),
        ("tests", TESTS, tests),
        ("codes", CODES, codes),
    ] {
        if !lines.is_empty() {
            place.write(&format!("dumps/{name}.csv"), format!("{head}{lines}"));
        }
    }
    place.write("dumps/register.csv", register);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

#[test]
fn a_test_of_the_battery_before_does_not_speak() {
    // Vehicle 2 is not in the register; its order is all that parts old from new.
    let [changed, tested_since, bought] = [vin(0), vin(1), vin(2)];
    let mut orders = String::new();
    let mut tests = String::new();
    for (at, vin) in [&changed, &tested_since, &bought].into_iter().enumerate() {
        orders.push_str(&format!(
            "{at},{vin},2025-12-28 08:00:00,2025-12-28 09:00:00,,battery replaced,main\n"
        ));
        for day in ["2025-12-04 10:00:00", "2025-12-28 08:30:00"] {
            tests.push_str(&format!(
                "{vin},main,{day},12.7,200,CCA EN,600,EN,flooded\n"
            ));
        }
    }
    tests.push_str(&format!(
        "{tested_since},main,2026-03-01 10:00:00,12.7,590,CCA EN,600,EN,flooded\n"
    ));
    let place = lake(&["flooded", "flooded"], &orders, &tests, "");
    let rows = screened(
        &place,
        &[changed.clone(), tested_since.clone(), bought.clone()],
    );
    for vin in [&changed, &bought] {
        let row = &rows[vin];
        assert_eq!(
            row["battery_test"], "not tested since it was fitted",
            "{row:?}"
        );
        assert!(!row["reason"].contains("is worn"), "{row:?}");
        assert!(
            row["battery_age"].starts_with("6 months (work order"),
            "{row:?}"
        );
    }
    assert!(rows[&tested_since]["battery_test"].starts_with("fit on 2026-03-01"));
}

/// The defaults: flooded 220, AGM 320, EFB as any other, 260.
#[test]
fn a_battery_costs_what_its_chemistry_does() {
    let chemistries = [("flooded", 220.0), ("AGM", 320.0), ("EFB", 260.0)];
    let mut tests = String::new();
    for at in 0..chemistries.len() {
        tests.push_str(&format!(
            "{},main,2026-06-20 10:00:00,12.8,100,CCA EN,,,\n",
            vin(at)
        ));
    }
    let names = chemistries.map(|(name, _)| name);
    let place = lake(&names, "", &tests, "");
    let vins: Vec<String> = (0..chemistries.len()).map(vin).collect();
    let rows = screened(&place, &vins);
    for (vin, (name, cost)) in vins.iter().zip(chemistries) {
        let row = &rows[vin];
        assert!(
            row["battery_test"].starts_with("worn") || row["battery_test"].starts_with("failed")
        );
        assert!(
            row["reason"].contains(&format!("for ${cost}")),
            "{name}: {row:?}"
        );
        let lower: f64 = row["cost_lower"].parse().expect("a cost");
        assert_eq!(lower, cost, "{name}: {row:?}");
    }
}

#[test]
fn stored_codes_cost_their_tracing_and_pending_ones_are_told() {
    let [stored, pending, clean] = [vin(0), vin(1), vin(2)];
    let mut tests = String::new();
    for vin in [&stored, &pending, &clean] {
        tests.push_str(&format!(
            "{vin},main,2026-06-20 10:00:00,12.7,640,CCA EN,600,EN,flooded\n"
        ));
    }
    let codes = format!(
        "1,{stored},2026-06-20 10:00:00,50000,7E8,P0401,false,true\n\
         1,{stored},2026-06-20 10:00:00,50000,7E9,P0128,,\n\
         2,{pending},2026-06-20 10:00:00,50000,7E8,P0401,true,false\n\
         3,{clean},2026-06-20 10:00:00,50000,,,,\n"
    );
    let place = lake(&["flooded"; 3], "", &tests, &codes);
    let rows = screened(&place, &[stored.clone(), pending.clone(), clean.clone()]);
    let costs = |vin: &str| rows[vin]["cost_lower"].parse::<f64>().expect("a cost");
    assert!(
        rows[&stored]["reason"].contains("2 stored codes are to be traced"),
        "{rows:?}"
    );
    assert_eq!(rows[&stored]["disposition"], "put right");
    assert_eq!(costs(&stored) - costs(&clean), 150.0);
    assert!(
        rows[&pending]["reason"].contains("1 code is pending only"),
        "{rows:?}"
    );
    assert_eq!(costs(&pending), costs(&clean));
    assert!(!rows[&clean]["reason"].contains("code"), "{rows:?}");
}

#[test]
fn what_the_weekly_plan_would_replace_is_never_free() {
    let place = place_with_lake();
    let at = ["--as-of", "2026-06-28"];
    let batteries = place.sql(
        &at,
        "SELECT vin, planned_cost, failed_on IS NOT NULL OR (action IN ('this week', 'a later week') AND keep_at IS NULL) AS sure,
                failed_on IS NOT NULL OR action <> 'leave' AS planned
         FROM replacement_plan ORDER BY vin, position",
    );
    // What is sure to be paid, and what may have to be.
    let mut plan: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    for row in &batteries {
        let vin = row["vin"].as_str().expect("a vin").to_owned();
        let (sure, planned) = plan.entry(vin).or_default();
        let cost = number(row, "planned_cost");
        *sure += if row["sure"] == true { cost } else { 0.0 };
        *planned += if row["planned"] == true { cost } else { 0.0 };
    }
    let vins: Vec<String> = plan.keys().cloned().collect();
    let rows = screened(&place, &vins);
    let (mut sure_ones, mut conditional) = (0, 0);
    for (vin, (sure, planned)) in &plan {
        let row = &rows[vin];
        let cost = |name: &str| row[name].parse::<f64>().expect("a cost");
        // What hangs on a test or a day to come is neither free nor sure.
        assert!(cost("cost_lower") >= *sure, "{sure} in {row:?}");
        assert!(
            cost("expected_cost") >= sure + (planned - sure) * 0.03,
            "{row:?}"
        );
        let found_bad = ["worn", "failed"]
            .iter()
            .any(|verdict| row["reason"].contains(&format!("battery is {verdict} and may fail")));
        // What a test found worn is to be replaced, whatever the plan waits for.
        assert!(!found_bad || cost("cost_lower") > 0.0, "{row:?}");
        if *sure > 0.0 || found_bad {
            sure_ones += 1;
            assert_ne!(row["disposition"], "ready", "{row:?}");
            assert!(row["reason"].contains("replace it for $"), "{row:?}");
        } else if *planned > 0.0 {
            conditional += 1;
            let only_battery = cost("cost_upper") <= *planned;
            assert!(!only_battery || cost("cost_lower") == 0.0, "{row:?}");
        }
    }
    assert!(
        sure_ones > 1 && conditional > 1,
        "{sure_ones}, {conditional}"
    );
}

/// A buyer's list: what is there, what is blank, listed twice, malformed, misread and not on record.
#[test]
fn every_line_of_the_list_has_its_answer() {
    let known = [vin(0), vin(1)];
    let mut tests = String::new();
    for vin in &known {
        tests.push_str(&format!(
            "{vin},main,2026-06-20 10:00:00,12.7,200,CCA EN,600,EN,flooded\n"
        ));
    }
    let place = lake(&["flooded", "AGM"], "", &tests, "");
    // One character of a number of the lake misread, so that its check digit no longer holds.
    let mut misread = known[0].clone();
    misread.replace_range(16..17, if known[0].ends_with('7') { "8" } else { "7" });
    let unknown = vin(900);
    place.write(
        "list.csv",
        format!(
            "lot,vin,price,seller\nL1,{},9000,A\nL2,{},1000,B\nL3,,500,C\nL4,{},9000,D\nL5,NOPE,1,E\nL6,{misread},800,F\nL7,{unknown},700,G\n",
            known[0], known[1], known[0]
        ),
    );
    place.run_expecting(
        1,
        &[
            "screen",
            "--lake",
            "lake",
            "list.csv",
            "--as-of",
            "2026-06-28",
        ],
    );
    let rows = table(&place, "reports/screen-2026-06-28/screening.csv");
    let order: Vec<&str> = rows.iter().map(|row| row["lot"].as_str()).collect();
    // Both batteries are worn; the dearer vehicle has less of its price at stake. Then what nothing is known
    // of, then lines that name no further vehicle.
    assert_eq!(
        order,
        ["L2", "L1", "L6", "L7", "L3", "L4", "L5"],
        "{rows:?}"
    );
    let header = place.read("reports/screen-2026-06-28/screening.csv");
    assert!(header.starts_with("lot,price,seller,line,vin,"), "{header}");
    let of = |lot: &str| rows.iter().find(|row| row["lot"] == lot).expect("a line");
    assert_eq!(of("L3")["disposition"], "blank");
    assert_eq!(of("L4")["disposition"], "listed twice");
    assert_eq!(of("L5")["disposition"], "no VIN");
    assert!(of("L6")["reason"].contains(&known[0]), "{:?}", of("L6"));
    assert!(of("L6")["check_that_settles_most"].contains("read the number again"));
    for lot in ["L6", "L7"] {
        assert_eq!(of(lot)["expected_cost"], "", "{:?}", of(lot));
        assert_ne!(of(lot)["check_that_settles_most"], "", "{:?}", of(lot));
    }
    let page = place.read("reports/screen-2026-06-28/screen_lines.html");
    assert_eq!(page.matches("<tr>").count(), 1 + 7, "a line each");
    // Names of sellers stay in the house.
    place.run_expecting(
        1,
        &[
            "screen",
            "--lake",
            "lake",
            "list.csv",
            "--as-of",
            "2026-06-28",
            "--share",
            "--out",
            "shared",
        ],
    );
    let shared = place.read("shared/screen-2026-06-28/screening.csv");
    assert!(
        !shared.contains("seller") && !shared.contains("NOPE"),
        "{shared}"
    );
}

/// A scan of long ago shows little, but it does not hold a vehicle back.
#[test]
fn an_old_scan_holds_nothing_back() {
    let old = vin(0);
    let tests = format!("{old},main,2026-06-20 10:00:00,12.7,640,CCA EN,600,EN,flooded\n");
    let codes = format!("1,{old},2024-02-20 10:00:00,50000,7E8,P0401,false,true\n");
    let place = lake(&["flooded"], "", &tests, &codes);
    place.write(
        "more/scans.csv",
        format!(
            "scan_id,vin,scanned_at,warm_ups_since_clear,km_since_clear,monitors_ready,monitors_supported\n             1,{old},2024-02-20 10:00:00,1,3,2,8\n"
        ),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "more"]);
    let rows = screened(&place, std::slice::from_ref(&old));
    let row = &rows[&old];
    assert_ne!(row["disposition"], "drive and scan again", "{row:?}");
    assert!(!row["reason"].contains("to be traced"), "{row:?}");
    assert!(
        row["missing"].contains("a scan that speaks for it"),
        "{row:?}"
    );
}
