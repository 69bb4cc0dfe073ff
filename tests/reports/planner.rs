//! What a planner reads: room at the depots, batteries that count as failed, recoveries beside the
//! plan, and last report's list, each agreeing with the rest.

use std::collections::BTreeMap;

use super::written::vin;
use crate::command::place_with_lake;
use crate::workplace::{Workplace, number};

const REGISTER: &str = "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,battery_group,rating_value,rating_standard\n";
const ORDERS: &str = "order_no,vin,opened_at,closed_at,cause,operation,position,complaint\n";

/// The rows of a table a report wrote, by column.
pub fn table(place: &Workplace, file: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(place.path().join(file)).expect("a CSV");
    reader
        .deserialize()
        .map(|row| row.expect("a record"))
        .collect()
}

/// A fleet of vehicles a year on the road, with these orders: vehicle, day and hour, cause,
/// operation.
fn fleet_with(vehicles: usize, orders: &[(usize, &str, &str, &str)]) -> Workplace {
    let place = Workplace::new();
    let mut register = REGISTER.to_owned();
    for number in 0..vehicles {
        register.push_str(&format!(
            "{},2026-01-05,U{number},Yard,Make,Model,combustion,2025-06-01,flooded,H5,600,EN\n",
            vin(number)
        ));
    }
    let mut text = ORDERS.to_owned();
    for (at, (number, hour, cause, operation)) in orders.iter().enumerate() {
        text.push_str(&format!(
            "{at},{},{hour}:00:00,{hour}:40:00,{cause},{operation},main,\n",
            vin(*number)
        ));
    }
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", text);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

#[test]
fn a_call_on_the_day_of_the_replacement_was_of_the_old_battery() {
    let place = fleet_with(
        1,
        &[
            (0, "2026-01-05 08", "", "other"),
            (0, "2026-06-10 06", "supply", "no-start call"),
            (0, "2026-06-10 09", "supply", "battery replaced"),
            (0, "2026-06-28 09", "", "other"),
        ],
    );
    let lives = place.sql(
        &[],
        "SELECT battery_no, outcome, failed_on FROM battery_life ORDER BY battery_no",
    );
    let told: Vec<_> = lives
        .iter()
        .map(|life| (life["outcome"].as_str(), life["failed_on"].as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (Some("failed"), Some("2026-06-10")),
            (Some("in service"), None)
        ]
    );
}

#[test]
fn a_battery_that_counts_as_failed_is_said_to_until_when_and_its_recovery_says_the_same() {
    let place = fleet_with(
        2,
        &[
            (0, "2025-09-01 08", "", "battery replaced"),
            (0, "2026-06-10 06", "supply", "no-start call"),
            (1, "2026-06-28 09", "", "other"),
        ],
    );
    place.write(
        "more/tests.csv",
        format!(
            "vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,rated_value,rated_standard\n\
             {0},auxiliary,2026-02-01 08:00:00,12.6,250,CCA EN,600,EN\n\
             {0},main,2026-06-11 08:00:00,12.6,150,CCA EN,600,EN\n",
            vin(0)
        ),
    );
    place.run_expecting(0, &["load", "--lake", "lake", "more"]);
    // One bay, which the failed one takes; the other battery, worn at its last test, shares the visit where a
    // failure costs enough.
    place.write(
        "lake/voltwane.toml",
        "[plan]\nbays_per_week = 1\n[cost]\nunplanned_failure = 12000.0\n",
    );
    let short = place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert!(
        short.contains("1 of them counts as failed already"),
        "{short}"
    );
    assert!(
        short.contains("1 battery counts as failed") && short.contains("after 60 days"),
        "{short}"
    );
    let report = place.read("reports/2026-W26/report.md");
    let row = report
        .lines()
        .find(|line| line.starts_with("| 1 | U0 |"))
        .expect("the first to act on");
    for words in [
        // The vehicle has an auxiliary battery too.
        "H5 flooded main",
        "| counts as failed |",
        "| this week, under warranty: claim it |",
        "a call on 2026-06-10",
        "counts as failed until 2026-08-09",
    ] {
        assert!(row.contains(words), "{words:?} in {row}");
    }
    let recoveries = table(&place, "reports/2026-W26/recoveries.csv");
    assert_eq!(recoveries.len(), 1);
    assert_eq!(recoveries[0]["planned"], "this week");
    assert_eq!(
        recoveries[0]["next_step"],
        "save the codes of every module, then replace the main and the auxiliary battery this week, as planned"
    );
    // When that time is over without a new battery it had not failed.
    place.write("short.toml", "[run]\ntrouble_days = 10\n");
    let over = place.sql(
        &["--config", "short.toml"],
        "SELECT COUNT(*) AS n FROM battery_life WHERE failed_on IS NOT NULL",
    );
    assert_eq!(number(&over[0], "n"), 0.0);
}

#[test]
fn a_call_that_nothing_answered_is_told_by_what_became_of_such_calls() {
    // Of three earlier calls that were only charged, one battery was replaced ten days later as failed.
    let place = fleet_with(
        5,
        &[
            (0, "2025-10-01 06", "supply", "no-start call"),
            (0, "2025-10-01 07", "supply", "battery charged"),
            (0, "2025-10-11 08", "supply", "battery replaced"),
            (1, "2025-10-05 06", "supply", "no-start call"),
            (1, "2025-10-05 07", "supply", "battery charged"),
            (2, "2025-11-05 06", "supply", "no-start call"),
            (2, "2025-11-05 07", "supply", "battery charged"),
            (3, "2026-06-20 06", "supply", "no-start call"),
            (3, "2026-06-20 07", "supply", "battery charged"),
            (4, "2026-06-28 09", "", "other"),
        ],
    );
    let open = place.sql(
        &[],
        "SELECT since_then, calls, proved, chance FROM open_call",
    );
    assert_eq!(open.len(), 1);
    assert_eq!(open[0]["since_then"], "charged");
    // It has stood for a week: so had two that came to nothing and one that did not.
    assert_eq!(
        (number(&open[0], "calls"), number(&open[0], "proved")),
        (3.0, 1.0)
    );
    // All open calls: looked at on the day and after a week three each, after four weeks the two: 2 of 8, with two of
    // four believed 1/3; charged ones (2 + 4/3) / 12; after a week (1 + 4 x 0.2778) / 7.
    assert!(
        (number(&open[0], "chance") - 0.301_587).abs() < 1e-5,
        "{open:?}"
    );
    let risk = place.sql(
        &[],
        "SELECT chance, failed_on, called_on FROM battery_risk WHERE called_on IS NOT NULL",
    );
    assert_eq!(risk.len(), 1);
    assert!(
        (0.301..0.35).contains(&number(&risk[0], "chance")),
        "{risk:?}"
    );
    let short = place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert!(!short.contains("counts as failed"), "{short}");
    let report = place.read("reports/2026-W26/report.md");
    assert!(
        report.contains(
            "a call on 2026-06-20 was put down to the 12 V supply, charged and neither replaced nor tested fit since: of 3 such calls 1 proved a failure"
        ),
        "{report}"
    );
}

#[test]
fn ignored_is_the_same_battery_and_last_reports_list_adds_up() {
    // Both stand for want of a battery in three reports running; the second had one put in meanwhile.
    let place = fleet_with(
        3,
        &[
            (0, "2026-06-02 06", "supply", "no-start call"),
            (1, "2026-06-02 06", "supply", "no-start call"),
            (1, "2026-06-16 06", "supply", "battery replaced"),
            (1, "2026-06-20 06", "supply", "no-start call"),
            (2, "2026-06-28 09", "", "other"),
        ],
    );
    for day in ["2026-06-07", "2026-06-14", "2026-06-21", "2026-06-28"] {
        place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", day]);
    }
    let told = place.sql(
        &[],
        "SELECT vin, COUNT(*) AS runs FROM lake.risk_week
         WHERE action = 'this week' AND as_of < '2026-06-28' GROUP BY vin ORDER BY vin",
    );
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told.iter().all(|row| row["runs"] == 3), "{told:?}");
    let changes = table(&place, "reports/2026-W26/changes.csv");
    let ignored: Vec<&str> = changes
        .iter()
        .filter(|row| row["change"] == "still to do")
        .map(|row| row["unit_no"].as_str())
        .collect();
    assert_eq!(ignored, ["U0"]);
    let report = place.read("reports/2026-W26/report.md");
    assert!(report.contains("Against the last report: 1 still to do"));
    assert_adds_up(&report);
}

/// Batteries told of are those replaced, failed, gone and in service still.
#[track_caller]
fn assert_adds_up(report: &str) {
    let rows: Vec<Vec<i64>> = report
        .lines()
        .skip_while(|line| !line.starts_with("| it said |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let cells = line.split('|').skip(2).map(str::trim);
            cells.filter_map(|cell| cell.parse().ok()).collect()
        })
        .collect();
    assert!(!rows.is_empty(), "{report}");
    for row in rows {
        assert_eq!(row[0], row[1..5].iter().sum::<i64>(), "{row:?}");
        assert!(row[5] <= row[4], "{row:?}");
    }
}

#[test]
fn last_reports_list_adds_up_for_a_whole_fleet() {
    let place = place_with_lake();
    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-03-01"]);
    place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert_adds_up(&place.read("reports/2026-W26/report.md"));
}

/// The shops of the invented fleet never heard of the report: what they did by themselves is what was followed.
#[test]
fn what_following_was_worth_is_told_once_a_reports_days_are_over() {
    let place = place_with_lake();
    place.write("lake/voltwane.toml", "[cost]\nunplanned_failure = 6000\n");
    let weekly = |day: &str| place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", day]);
    weekly("2026-03-01");
    weekly("2026-04-25");
    let worth = "**What following reports was worth.**";
    // The days of the first are not over.
    assert!(!place.read("reports/2026-W17/report.md").contains(worth));
    weekly("2026-06-28");
    assert!(place.read("reports/2026-W26/report.md").contains(worth));
    let found = &place.sql(&[], "SELECT * FROM advice_worth")[0];
    let told = &place.sql(
        &[],
        "SELECT COUNT(*) AS told, COUNT(seen_to_days) AS seen_to, SUM(CASE WHEN place_failed THEN 1 ELSE 0 END) AS failed,
                SUM(CASE WHEN seen_to_days > 56 OR failed_days > 56 OR failed_days <= 0 THEN 1 ELSE 0 END) AS beyond,
                COUNT(DISTINCT week) AS reports
         FROM advice_told",
    )[0];
    for count in ["told", "seen_to", "failed", "reports"] {
        assert_eq!(found[count], told[count], "{count}");
    }
    assert!(
        number(told, "told") > 0.0 && number(told, "beyond") == 0.0,
        "{told}"
    );
    // Those seen to would have failed no less often than none, and limits lie about what is told.
    let alone = number(found, "failures_left_alone");
    assert!(
        number(found, "failures_left_alone_lower") <= alone,
        "{found}"
    );
    assert!(
        number(found, "failures_left_alone_upper") > alone,
        "{found}"
    );
    let spared = (alone - number(found, "failed")) * 6000.0;
    assert!((number(found, "spared") - spared).abs() < 1e-6, "{found}");
}

#[test]
fn prices_that_nobody_set_are_said() {
    let place = fleet_with(1, &[(0, "2026-06-28 09", "", "other")]);
    let short = place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert!(
        short.contains(
            "still round defaults (planned replacement, planned by chemistry, unplanned failure,"
        ),
        "{short}"
    );
    place.write("lake/voltwane.toml", "[cost]\nunplanned_failure = 1000\n");
    let short = place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert!(
        short.contains("round defaults (planned replacement, planned by chemistry, battery test,"),
        "{short}"
    );
}

/// What each limit keeps back, as the depots' table, the ranking and the short version have it.
fn kept_back(plan: &str, reason: &str) {
    let place = place_with_lake();
    // So dear a failure, and so cheap a visit, that many are to be called in.
    let dear =
        "[cost]\nunplanned_failure = 6000\nspecial_visit_trip = 0\nspecial_visit_half_day = 0\n";
    place.write("lake/voltwane.toml", format!("{plan}\n{dear}"));
    let short = place.run_expecting(0, &["weekly", "--lake", "lake"]);
    assert!(
        short.contains("that would pay wait") && short.contains(&format!(" for {reason}, worth ")),
        "{short}"
    );
    let report = place.read("reports/2026-W26/report.md");
    let ranking = table(&place, "reports/2026-W26/ranking.csv");
    let depots = table(&place, "reports/2026-W26/depots.csv");
    let mut waiting = 0;
    for depot in &depots {
        let of = |wanted: &dyn Fn(&BTreeMap<String, String>) -> bool| {
            let here = ranking.iter().filter(|row| row["depot"] == depot["depot"]);
            here.filter(|row| wanted(row)).count().to_string()
        };
        assert_eq!(depot["this_week"], of(&|row| row["action"] == "this week"));
        assert_eq!(
            depot["would_pay_but_wait"],
            of(&|row| row["waits_for"] == reason)
        );
        assert_eq!(
            depot["would_pay_but_wait"] != "0",
            depot["wait_for"] == reason
        );
        waiting += depot["would_pay_but_wait"]
            .parse::<usize>()
            .expect("a count");
    }
    assert!(waiting > 1, "{depots:?}");
    for row in &ranking {
        // Only just on record, its chance and its saving are not known.
        let pays = row["saving"].parse().is_ok_and(|saving: f64| saving >= 0.0);
        assert!(pays || row["waits_for"].is_empty(), "{row:?}");
    }
    assert!(report.contains(&format!("but wait for {reason}.")));
    assert!(report.contains(&format!("from now, waits for {reason}")));
}

#[test]
fn what_waits_for_a_bay_is_said_to() {
    kept_back(
        "[plan]\nbays_per_week = 1\nbudget_per_week = inf\n",
        "a bay",
    );
}

#[test]
fn what_waits_for_budget_is_said_to() {
    kept_back(
        "[plan]\nbays_per_week = 50\nbudget_per_week = 350.0\n",
        "budget",
    );
}
