//! The plan of the coming weeks over a whole fleet: what holds for every battery, visit and week of it.

use std::collections::{BTreeMap, BTreeSet};

use crate::command::place_with_lake;
use crate::workplace::number;

#[test]
fn every_week_keeps_to_bays_and_budget_and_every_visit_to_one_vehicle() {
    let place = place_with_lake();
    place.write(
        "lake/voltwane.toml",
        "[plan]\nbays_per_week = 1\nbudget_per_week = 700\n\
         [cost]\nunplanned_failure = 6000\nspecial_visit_trip = 0\nspecial_visit_half_day = 0\n",
    );
    let plan = place.sql(
        &[],
        "SELECT vin, depot, week, visit_no, special_visit, planned_cost, failed_on, advice, in_doubt, action,
                saving, waits
         FROM replacement_plan WHERE week IS NOT NULL",
    );
    let mut visits: BTreeMap<i64, BTreeSet<String>> = BTreeMap::new();
    let mut special: BTreeMap<(String, i64), (BTreeSet<i64>, f64)> = BTreeMap::new();
    for row in &plan {
        let week = number(row, "week") as i64;
        assert!((1..=13).contains(&week), "{row}");
        let visit = number(row, "visit_no") as i64;
        visits
            .entry(visit)
            .or_default()
            .insert(row["vin"].to_string());
        if row["special_visit"] == true && row["failed_on"].is_null() {
            let of_week = special.entry((row["depot"].to_string(), week)).or_default();
            of_week.0.insert(visit);
            of_week.1 += number(row, "planned_cost");
        }
        // Nobody is simply told to replace what its last test does not speak against.
        let told_to_replace = row["advice"].as_str().expect("text").starts_with("replace");
        assert!(
            !told_to_replace || row["in_doubt"] == false || !row["failed_on"].is_null(),
            "{row}"
        );
        if row["action"] == "a later week" {
            assert!(week > 1 && row["special_visit"] == true, "{row}");
        }
    }
    assert!(visits.values().all(|vins| vins.len() == 1));
    for ((depot, week), (visits, cost)) in &special {
        assert!(
            visits.len() <= 1 && *cost <= 700.0,
            "{depot} {week}: {visits:?} for {cost}"
        );
    }
    assert!(
        special.keys().any(|(_, week)| *week > 1),
        "what does not fit goes to later weeks"
    );
    // What waits is worth a visit now.
    let waiting: Vec<_> = plan.iter().filter(|row| row["waits"] == true).collect();
    assert!(!waiting.is_empty());
    assert!(waiting.iter().all(|row| number(row, "saving") > 0.0));
}

#[test]
fn dearer_failures_call_for_more() {
    let place = place_with_lake();
    // Visits that cost nothing besides, so that some pay.
    place.write(
        "lake/voltwane.toml",
        "[cost]\nunplanned_failure = 6000\nspecial_visit_trip = 0\nspecial_visit_half_day = 0\n",
    );
    let rows = place.sql(
        &[],
        "SELECT saving, saving_failure_half AS half, saving_failure_double AS twice FROM replacement_plan
         WHERE failed_on IS NULL AND special_visit",
    );
    assert!(!rows.is_empty());
    for row in rows {
        assert!(number(&row, "half") < number(&row, "twice"), "{row}");
    }
}

#[test]
fn a_replacement_dearer_than_a_failure_is_left_to_fail() {
    let place = place_with_lake();
    place.write("lake/voltwane.toml", "[cost]\nunplanned_failure = 200\n");
    let planned = place.sql(
        &[],
        "SELECT COUNT(*) AS n, COUNT(pays_from) AS pays FROM replacement_plan
         WHERE (week IS NOT NULL OR pays_from IS NOT NULL) AND failed_on IS NULL",
    );
    assert_eq!(
        (number(&planned[0], "n"), number(&planned[0], "pays")),
        (0.0, 0.0)
    );
}

#[test]
fn the_forecast_adds_up_to_the_plan_and_to_the_chances() {
    let place = place_with_lake();
    let sums = place.sql(
        &[],
        "SELECT SUM(planned) AS planned, SUM(failing) AS failing, SUM(batteries) AS batteries,
                MIN(batteries - batteries_lower) AS below, MIN(batteries_upper - batteries) AS above,
                SUM(batteries_upper - batteries_lower) AS width
         FROM purchase_forecast",
    );
    let told = place.sql(
        &[],
        "SELECT SUM(CASE WHEN failed_on IS NOT NULL THEN 1.0 ELSE replace_share END) AS most,
                COUNT(*) AS batteries FROM replacement_plan",
    );
    let left_alone = place.sql(
        &[],
        "SELECT SUM(failing_left_alone) AS failing FROM week_need",
    );
    let (sums, told) = (&sums[0], &told[0]);
    let (planned, failing) = (number(sums, "planned"), number(sums, "failing"));
    assert!((planned + failing - number(sums, "batteries")).abs() < 1e-9);
    // Some planned for a later week fail before it.
    assert!(planned <= number(told, "most") + 1e-9 && planned > 0.8 * number(told, "most"));
    assert!(failing > 0.0 && failing < number(&left_alone[0], "failing"));
    assert!(number(sums, "width") > 0.0);
    assert!(number(sums, "below") >= 0.0 && number(sums, "above") >= 0.0);
}

#[test]
fn a_claim_needs_a_finding_within_the_warranty() {
    let place = place_with_lake();
    place.write("lake/voltwane.toml", "[comeback]\nwarranty_months = 60\n");
    let claims = place.sql(
        &[],
        "SELECT what, verdict, failed_on, evidence, days_between($as_of, ends_on) AS days_left,
                days_between(tested_on, $as_of) AS days_since_test FROM warranty_claim",
    );
    assert!(!claims.is_empty());
    for row in &claims {
        assert!(number(row, "days_left") >= -1.0, "{row}");
        assert!(
            row["evidence"] == "work order" || row["evidence"] == "register",
            "{row}"
        );
        match row["what"].as_str().expect("text") {
            "claim: failed" => assert!(!row["failed_on"].is_null(), "{row}"),
            "claim: tested failed" => assert_eq!(row["verdict"], "failed"),
            "claim: tested worn" => assert_eq!(row["verdict"], "worn"),
            _ => {
                assert!(number(row, "days_left") <= 91.0, "{row}");
                let fresh = row["days_since_test"]
                    .as_f64()
                    .is_some_and(|days| days <= 91.0);
                assert!(!fresh, "{row}");
            }
        }
    }
    let worn = claims
        .iter()
        .filter(|row| row["what"] == "claim: tested worn");
    assert!(worn.count() > 0);
}
