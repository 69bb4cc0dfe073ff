//! The sheets that depots work from.

use super::planner::table;
use crate::command::place_with_lake;
use crate::workplace::Workplace;

/// A small fleet to which failures are so dear that there is work this week.
fn with_work() -> Workplace {
    let place = place_with_lake();
    place.write(
        "lake/voltwane.toml",
        "[cost]\nunplanned_failure = 20000.0\n",
    );
    place
}

#[test]
fn a_depots_sheet_has_what_a_technician_needs() {
    let place = with_work();
    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-06-28"]);
    let jobs = table(&place, "reports/2026-W26/depot_sheets.csv");
    let planned: Vec<_> = table(&place, "reports/2026-W26/ranking.csv")
        .into_iter()
        .filter(|row| ["this week", "test first"].contains(&row["action"].as_str()))
        .collect();
    // Every battery of this week's list stands on a sheet once, and nothing else.
    assert!(!jobs.is_empty());
    assert_eq!(jobs.len(), planned.len());
    let page = place.read("reports/2026-W26/depot_sheets.html");
    assert!(page.contains("break-before:page"));
    let mut last: Option<(&str, usize, &str)> = None;
    for job in &jobs {
        let (depot, vin) = (job["depot"].as_str(), job["vin"].as_str());
        assert!(planned.iter().any(|row| row["vin"] == vin), "{job:?}");
        assert!(page.contains(vin), "{vin} is not on the page");
        assert!(
            !job["bring"].is_empty() && !job["to_do"].is_empty(),
            "{job:?}"
        );
        let visit: usize = job["visit"].parse().expect("a number");
        // Visits of a depot are counted from one; batteries of one vehicle share one.
        match last {
            Some((before, number, other)) if before == depot => {
                assert_eq!(visit, number + usize::from(other != vin), "{job:?}");
            }
            _ => assert_eq!(visit, 1, "{job:?}"),
        }
        last = Some((depot, visit, vin));
    }
    let depots: std::collections::BTreeSet<&str> =
        jobs.iter().map(|job| job["depot"].as_str()).collect();
    for words in ["☐", "acid", "lift", "service information"] {
        assert!(page.matches(words).count() >= depots.len(), "{words}");
    }
    assert!(page.contains("<h2"), "a heading a depot");
    assert!(
        place
            .read("reports/2026-W26/report.md")
            .contains("(depot_sheets.html)")
    );
}

#[test]
fn health_in_the_ranking_is_that_of_the_page() {
    let place = with_work();
    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-06-28"]);
    let page = place.read("reports/2026-W26/report.md");
    let first = page
        .split("## First to act on")
        .nth(1)
        .and_then(|rest| rest.split("## ").next())
        .expect("the first to act on");
    let ranking = table(&place, "reports/2026-W26/ranking.csv");
    let mut compared = 0;
    for line in first
        .lines()
        .filter(|line| line.starts_with("| ") && line.contains(" % |"))
    {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let row = ranking
            .iter()
            .find(|row| row["rank"] == cells[1])
            .expect("its rank");
        let Ok(health) = row["health"].parse::<f64>() else {
            continue;
        };
        let drawn = format!("{:.0} %", health * 100.0);
        assert!(cells[7].contains(&drawn), "{drawn} in {line}");
        compared += 1;
    }
    assert!(compared > 0, "{first}");
}
