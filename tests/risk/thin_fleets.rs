//! Fleets that say little still get a plan, and a word on what it cannot know.

use super::invented_fleet;
use crate::workplace::{Workplace, number};

/// Twenty vehicles on the road for one to five years, and an order that opens the books.
fn register(place: &Workplace) {
    let mut register = String::from(
        "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,battery_group,rating_value,rating_standard\n",
    );
    let mut orders = String::from("order_no,vin,opened_at,closed_at,cause,operation\n");
    for unit in 0..20 {
        let mut vin = format!("0VW0000000000{unit:04}");
        let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
        vin.replace_range(8..9, &digit.to_string());
        let year = 2021 + unit % 5;
        register.push_str(&format!(
            "{vin},2026-06-21,U{unit},Yard,Test,One,combustion,{year}-06-0{},flooded,65,650,SAE\n",
            1 + unit % 9
        ));
        orders.push_str(&format!(
            "{unit},{vin},2026-06-21 08:00:00,2026-06-21 09:00:00,,other\n"
        ));
    }
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
}

#[test]
fn one_week_of_data_without_a_test_gives_the_priors_chances() {
    let place = Workplace::new();
    register(&place);
    let summary = &place.sql(&["--as-of", "2026-06-28"], "SELECT * FROM model_summary")[0];
    assert_eq!(number(summary, "failures"), 0.0);
    assert_eq!(summary["chances_rest_on"], "nothing watched");
    assert_eq!(summary["wear_rests_on"], "few tests");
    assert!(number(summary, "prior_weight") > 0.9, "{summary}");
    let fit = &place.sql(
        &["--as-of", "2026-06-28"],
        "SELECT person_weeks FROM model_fit",
    )[0];
    assert!(number(fit, "person_weeks").is_sign_positive(), "{fit}");
    let plan = place.sql(
        &["--as-of", "2026-06-28"],
        "SELECT rank, age_days, chance, chance_lower, chance_upper, reasons FROM replacement_plan ORDER BY rank",
    );
    assert_eq!(plan.len(), 20);
    for pair in plan.windows(2) {
        // Without anything else, older is riskier.
        assert!(
            number(&pair[0], "age_days") >= number(&pair[1], "age_days") - 1.0,
            "{pair:?}"
        );
    }
    assert!(
        number(&plan[0], "chance") > 2.0 * number(&plan[19], "chance"),
        "{plan:?}"
    );
    for row in &plan {
        let (lower, chance, upper) = (
            number(row, "chance_lower"),
            number(row, "chance"),
            number(row, "chance_upper"),
        );
        assert!(
            0.0 < lower && lower < chance && chance < upper && upper < 1.0,
            "{row}"
        );
        // A level known within a factor of two either way shows in the limits.
        assert!(upper / lower > 8.0, "{row}");
        let reasons = row["reasons"].as_array().expect("a list");
        assert!(reasons.iter().all(|reason| reason["numbers"].is_object()));
        assert!(!reasons.is_empty(), "{row}");
    }
    let report = place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-06-28"]);
    assert!(!report.is_empty());
}

#[test]
fn the_fit_takes_over_as_failures_come() {
    let place = invented_fleet("100", "104");
    let summary = &place.sql(&[], "SELECT * FROM model_summary")[0];
    let failures = number(summary, "failures");
    assert!((3.0..30.0).contains(&failures), "{failures}");
    assert_eq!(summary["chances_rest_on"], "few failed");
    // The level's prior counts as two failures.
    let expected = 2.04 / (2.04 + failures);
    let weight = number(summary, "prior_weight");
    assert!(
        (weight / expected - 1.0).abs() < 0.35,
        "{weight}, about {expected}"
    );
    let plan = place.sql(
        &[],
        "SELECT depot, action, planned_cost, saving, failed_on, chance, pays_from, visit_no, special_visit
         FROM replacement_plan",
    );
    let mut spent = std::collections::BTreeMap::new();
    for row in plan.iter().filter(|row| row["action"] == "this week") {
        let (visits, money) = spent
            .entry(row["depot"].to_string())
            .or_insert((std::collections::BTreeSet::new(), 0.0));
        if row["special_visit"] == true {
            visits.insert(number(row, "visit_no") as i64);
        }
        *money += number(row, "planned_cost");
        let pays = number(row, "chance") >= number(row, "pays_from");
        assert!(pays || !row["failed_on"].is_null(), "{row}");
    }
    assert!(!spent.is_empty());
    // The defaults: 6 bays and 2,500 a depot and week.
    for (depot, (visits, money)) in spent {
        assert!(
            visits.len() <= 6 && money <= 2_500.0,
            "{depot}: {visits:?} for {money}"
        );
    }
}
