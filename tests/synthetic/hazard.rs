//! Failures against the true hazard, and against the band the model promises.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::{LARGE, Row, day, number};

fn last_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, 28).expect("a date")
}

/// Days of failures, by battery's place.
fn failures() -> BTreeMap<(String, String), Vec<NaiveDate>> {
    let mut failures: BTreeMap<_, Vec<NaiveDate>> = BTreeMap::new();
    for row in LARGE.truth("battery") {
        if let Some(at) = row.get("happened_at") {
            failures
                .entry((row["vin"].clone(), row["position"].clone()))
                .or_default()
                .push(day(at));
        }
    }
    failures
}

fn fails_within(
    row: &Row,
    failures: &BTreeMap<(String, String), Vec<NaiveDate>>,
    days: u64,
) -> bool {
    let (from, key) = (
        day(&row["ended"]),
        (row["vin"].clone(), row["position"].clone()),
    );
    failures.get(&key).is_some_and(|list| {
        list.iter()
            .any(|at| *at > from && *at <= from + Days::new(days))
    })
}

/// About 6 to 9 in a hundred batteries fail in a year, a few in the second year of age and 12 to 25
/// in the fifth (`common practice, no source`).
#[test]
fn failure_rates_lie_in_the_stated_band() {
    let summary = &LARGE.summary;
    let rate = summary.failures as f64 / (summary.battery_weeks as f64 * 7.0 / 365.25);
    assert!((0.06..=0.09).contains(&rate), "{rate} a year");

    let window = NaiveDate::from_ymd_opt(2023, 7, 3).expect("a date");
    let mut by_age: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for row in LARGE.truth("battery") {
        let (started, ended) = (day(&row["started"]), day(&row["ended"]));
        let failed = row.get("happened_at").map(|at| day(at));
        let until = failed.unwrap_or(ended);
        let mut at = started.max(window);
        while at < until {
            by_age
                .entry((at - started).num_days() * 4 / 1461)
                .or_default()
                .1 += 1.0 / 365.25;
            at = at + Days::new(1);
        }
        if let Some(failed) = failed.filter(|failed| *failed >= window) {
            by_age
                .entry((failed - started).num_days() * 4 / 1461)
                .or_default()
                .0 += 1.0;
        }
    }
    let rate = |year: i64| by_age[&(year - 1)].0 / by_age[&(year - 1)].1;
    assert!((0.015..0.05).contains(&rate(2)), "second year {}", rate(2));
    assert!((0.12..0.25).contains(&rate(5)), "fifth year {}", rate(5));
    assert!(rate(1) < rate(2) && rate(2) < rate(3) && rate(3) < rate(4) && rate(4) < rate(5));
}

/// The sum of the true chances is the number of failures, within three standard deviations.
#[test]
fn the_true_chances_add_up_to_the_failures() {
    let failures = failures();
    let (mut expected, mut variance, mut happened) = (0.0, 0.0, 0.0);
    for row in LARGE.truth("hazard") {
        let ahead = (last_day() - day(&row["ended"])).num_days();
        // Every eighth week, so that no failure counts twice.
        if ahead >= 56 && ahead % 56 == 0 {
            let chance = number(row, "chance");
            expected += chance;
            variance += chance * (1.0 - chance);
            happened += f64::from(u8::from(fails_within(row, &failures, 56)));
        }
    }
    assert!(happened > 100.0, "{happened} failures");
    // Weather that was not the season's mean, and planned replacements within the eight weeks, add to
    // the binomial spread: a tenth of the expected number.
    let allowed = 3.0 * f64::sqrt(variance) + 0.1 * expected;
    assert!(
        (happened - expected).abs() < allowed,
        "{happened} failed, {expected} expected"
    );
}

/// Batteries of a higher true chance fail more often, fifth by fifth.
#[test]
fn failures_rise_with_the_true_chance() {
    let failures = failures();
    let mut told: Vec<(f64, bool)> = LARGE
        .truth("hazard")
        .iter()
        .filter(|row| (last_day() - day(&row["ended"])).num_days() >= 56)
        .map(|row| (number(row, "chance"), fails_within(row, &failures, 56)))
        .collect();
    told.sort_by(|one, other| one.0.total_cmp(&other.0));
    let fifths: Vec<(f64, f64)> = told
        .chunks(told.len().div_ceil(5))
        .map(|fifth| {
            let n = fifth.len() as f64;
            let mean = fifth.iter().map(|(chance, _)| chance).sum::<f64>() / n;
            (
                mean,
                fifth.iter().filter(|(_, fails)| *fails).count() as f64 / n,
            )
        })
        .collect();
    assert!(
        fifths.windows(2).all(|pair| pair[0].1 < pair[1].1),
        "{fifths:?}"
    );
    assert!(fifths[4].1 > 5.0 * fifths[1].1, "{fifths:?}");
    let (told_last, seen_last) = fifths[4];
    assert!((seen_last / told_last - 1.0).abs() < 0.25, "{fifths:?}");
}

#[test]
fn every_end_of_a_battery_occurs() {
    let mut ends: BTreeMap<String, usize> = BTreeMap::new();
    for row in LARGE.truth("battery") {
        *ends.entry(row["what"].clone()).or_default() += 1;
        assert_eq!(
            row["what"] == "failed",
            row.contains_key("happened_at"),
            "{row:?}"
        );
    }
    assert!(
        ends.keys()
            .eq(["failed", "in service", "left fleet", "preventive"]),
        "{ends:?}"
    );
    assert!(ends.values().all(|count| *count > 100), "{ends:?}");
}

/// Hot depots wear batteries faster than cold ones: the rule of thumb that the model states.
#[test]
fn heat_shortens_lives() {
    let years_and_wear = |depot: &str| {
        let rows = LARGE.truth("battery");
        let (years, wear) = rows
            .iter()
            .filter(|row| {
                row["depot"] == depot
                    && row["chemistry"] == "flooded"
                    && row["what"] == "in service"
            })
            .map(|row| {
                (
                    (day(&row["ended"]) - day(&row["started"])).num_days() as f64 / 365.25,
                    number(row, "wear"),
                )
            })
            .fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
        wear / years
    };
    let (cold, hot) = (years_and_wear("Northfell"), years_and_wear("Cindermoor"));
    assert!(
        (1.4..2.6).contains(&(hot / cold)),
        "wear a year {cold} in the cold, {hot} in the heat"
    );
}
