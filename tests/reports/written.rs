//! Whole reports as commands write them: hostile dumps, replaced names, screening, history.

use super::hostile_text::HOSTILE;
use crate::command::{place_with_lake, small_fleet};
use crate::workplace::Workplace;

pub fn vin(number: usize) -> String {
    let mut vin = format!("0VW0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// A fleet whose every name and remark is hostile, with a failed battery and a bad test each.
fn hostile_fleet() -> Workplace {
    let place = Workplace::new();
    let mut register = String::from(
        "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,battery_group,rating_value,rating_standard\n",
    );
    let mut orders = String::from(
        "order_no,vin,opened_at,closed_at,cause,operation,complaint,shop,technician\n",
    );
    let mut tests = String::from(
        "vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,shop,technician\n",
    );
    for (number, text) in HOSTILE.iter().enumerate() {
        let (vin, text) = (vin(number), quoted(text));
        register.push_str(&format!(
            "{vin},2026-06-01,{text},{text},{text},{text},hybrid,2019-01-01,flooded,{text},600,EN\n"
        ));
        orders.push_str(&format!(
            "{number},{vin},2026-06-10 08:00:00,2026-06-10 09:00:00,supply,no-start call,{text},{text},{text}\n"
        ));
        tests.push_str(&format!(
            "{vin},main,2026-06-11 08:00:00,12.6,250,CCA EN,{text},{text}\n"
        ));
    }
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.write("dumps/tests.csv", tests);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    place
}

/// Table rows have as many cells as their table's head.
#[track_caller]
fn assert_tables_whole(markdown: &str) {
    let cells = |line: &str| line.replace("\\|", "").matches('|').count();
    let mut head = None;
    let mut rows = 0;
    for line in markdown.lines() {
        if !line.starts_with('|') {
            head = None;
            continue;
        }
        let columns = *head.get_or_insert_with(|| cells(line));
        assert_eq!(cells(line), columns, "{line}");
        rows += 1;
    }
    assert!(rows > 5, "the report has no tables:\n{markdown}");
}

#[track_caller]
fn assert_harmless(place: &Workplace, folder: &str, name: &str) {
    let page = place.read(&format!("{folder}/{name}.html"));
    let page = page.replacen(&voltwane::report::page::script(), "", 1);
    let body = page.split("<main").nth(1).expect("a body");
    for tag in [
        "<script",
        "<img",
        "<b>",
        "javascript:alert(1)\"",
        "href=\"http",
    ] {
        assert!(!body.contains(tag), "{tag} in {name}.html");
    }
    assert_tables_whole(&place.read(&format!("{folder}/{name}.md")));
    for entry in std::fs::read_dir(place.path().join(folder)).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|ending| ending != "csv") {
            continue;
        }
        let mut reader = csv::Reader::from_path(&path).expect("a CSV");
        for record in reader.records() {
            for cell in record.expect("a record").iter() {
                let number = cell.parse::<f64>().is_ok();
                assert!(
                    number || !cell.trim_start().starts_with(['=', '+', '-', '@']),
                    "{cell:?} in {}",
                    path.display()
                );
            }
        }
    }
}

#[test]
fn hostile_dumps_make_harmless_reports() {
    let place = hostile_fleet();
    place.run_expecting(0, &["weekly", "--lake", "lake", "--as-of", "2026-06-28"]);
    assert_harmless(&place, "reports/2026-W26", "report");
    let list: String = (0..HOSTILE.len())
        .map(|number| vin(number) + "\n")
        .collect();
    place.write("list.csv", list);
    place.run_expecting(0, &["screen", "--lake", "lake", "list.csv"]);
    let screened = std::fs::read_dir(place.path().join("reports"))
        .expect("reports")
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .find(|name| name.starts_with("screen-"))
        .expect("a screening");
    assert_harmless(&place, &format!("reports/{screened}"), "screen");
    place.run_expecting(0, &["history", "--lake", "lake", &vin(0), "--out", "one"]);
    let written = std::fs::read_dir(place.path().join("one"))
        .expect("a history")
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .next()
        .expect("a folder");
    assert_harmless(&place, &format!("one/{written}"), "history");
}

#[test]
fn a_shared_report_names_no_vehicle_and_keeps_its_pseudonyms() {
    let place = place_with_lake();
    for out in ["one", "two"] {
        place.run_expecting(0, &["weekly", "--lake", "lake", "--share", "--out", out]);
    }
    let vehicles = small_fleet().sql(&[], "SELECT DISTINCT vin, unit_no FROM vehicle");
    assert!(vehicles.len() > 40);
    let mut read = 0;
    for entry in walkdir::WalkDir::new(place.path().join("one"))
        .into_iter()
        .filter_map(Result::ok)
    {
        if !entry.file_type().is_file() || entry.path().extension().is_some_and(|end| end == "xlsx")
        {
            continue;
        }
        let text = std::fs::read_to_string(entry.path()).expect("text");
        for vehicle in &vehicles {
            for name in [&vehicle["vin"], &vehicle["unit_no"]] {
                let Some(name) = name.as_str() else { continue };
                assert!(!text.contains(name), "{name} in {}", entry.path().display());
            }
        }
        read += 1;
    }
    assert!(read > 5);
    let ranking = place.read("one/2026-W26/ranking.csv");
    assert!(
        ranking.contains(",V-") && ranking.contains(",U-"),
        "{ranking}"
    );
    assert_eq!(ranking, place.read("two/2026-W26/ranking.csv"));
    // What the lake keeps of the report is not replaced.
    let kept = place.sql(
        &[],
        "SELECT COUNT(*) AS n FROM risk_week r JOIN vehicle v ON v.vin = r.vin",
    );
    assert!(kept[0]["n"].as_i64() > Some(0));
}

#[test]
fn every_section_of_the_weekly_report_is_there_and_says_its_day() {
    let place = place_with_lake();
    place.run_expecting(0, &["weekly", "--lake", "lake"]);
    let report = place.read("reports/2026-W26/report.md");
    for section in [
        "The short version",
        "First to act on",
        "The depots",
        "What became of the last report",
        "The data behind this",
        "Appendix",
        "Depot by depot",
        "Pick list",
        "Tests that would tell something",
        "Floods of codes this week",
        "Recoveries that stand open",
        "What changed",
        "What reports told and what came",
        "How long batteries last here",
        "Failure rates",
        "The data in full",
        "How this was worked out",
        "Cautions",
    ] {
        assert!(report.contains(&format!("\n## {section}\n")), "{section}");
    }
    // A link within the page leads to one of its headings.
    let page = place.read("reports/2026-W26/report.html");
    let link = regex::Regex::new(r##"href="#([^"]+)""##).expect("a pattern");
    let mut within = 0;
    for found in link.captures_iter(&page) {
        let id = format!("id=\"{}\"", &found[1]);
        assert!(page.contains(&id), "{id}");
        within += 1;
    }
    assert!(within > 20, "{within}");
    // Every caption of a table says as of which day.
    let captions: Vec<&str> = report
        .lines()
        .filter(|line| line.starts_with('*') && line.ends_with('*'))
        .collect();
    assert!(captions.len() >= 5, "{captions:?}");
    for caption in captions {
        assert!(caption.contains("2026-06-28"), "{caption}");
    }
    assert_tables_whole(&report);
    for chart in regex::Regex::new(r"\]\((charts/[^)]+)\)")
        .expect("a pattern")
        .captures_iter(&report)
    {
        assert!(
            place
                .path()
                .join("reports/2026-W26")
                .join(&chart[1])
                .is_file(),
            "{}",
            &chart[1]
        );
    }
}

#[test]
fn own_templates_come_first() {
    let place = place_with_lake();
    place.write(
        "own/opening.md",
        "# Ours, {{ week }}\n\n{{ batteries }} batteries.\n",
    );
    place.run_expecting(
        0,
        &[
            "weekly",
            "--lake",
            "lake",
            "--templates",
            "own",
            "--out",
            "mine",
        ],
    );
    let report = place.read("mine/2026-W26/report.md");
    assert!(report.starts_with("# Ours, 2026-W26\n\n"), "{report}");
    let output = place.run(&["weekly", "--lake", "lake", "--templates", "nowhere"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("nowhere"));
}

#[test]
fn a_list_is_screened_with_dumps_that_the_lake_does_not_keep() {
    let place = place_with_lake();
    let known = place.sql(&[], "SELECT vin FROM vehicle ORDER BY vin LIMIT 1")[0]["vin"]
        .as_str()
        .expect("a vin")
        .to_owned();
    let new = vin(7);
    place.write("list.csv", format!("vin\n{known}\n{new}\nno number\n"));
    place.write(
        "seller.csv",
        format!("vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,rated_value,rated_standard,chemistry,date_code\n{new},main,2026-06-20 10:00:00,12.6,200,CCA EN,600,EN,flooded,\n"),
    );
    place.run_expecting(
        1,
        &["screen", "--lake", "lake", "list.csv", "--out", "bare"],
    );
    let bare = place.read("bare/screen-2026-06-28/screening.csv");
    assert!(
        bare.lines()
            .any(|line| line.contains(&new) && line.contains("nothing is on record of it")),
        "{bare}"
    );
    place.run_expecting(
        1,
        &[
            "screen",
            "--lake",
            "lake",
            "list.csv",
            "seller.csv",
            "--out",
            "with",
        ],
    );
    let with = place.read("with/screen-2026-06-28/screening.csv");
    assert!(
        with.lines()
            .any(|line| line.contains(&new) && line.contains("worn on 2026-06-20")),
        "{with}"
    );
    assert!(with.lines().any(|line| line.contains(&known)));
    let text = place.read("with/screen-2026-06-28/screen.md");
    assert!(text.contains("no number"), "{text}");
    let kept = place.sql(
        &[],
        &format!("SELECT COUNT(*) AS n FROM battery_test WHERE vin = '{new}'"),
    );
    assert_eq!(kept[0]["n"].as_i64(), Some(0));
}

#[test]
fn a_vehicle_is_found_by_either_name_and_its_history_told() {
    let place = place_with_lake();
    let vehicle = &place.sql(
        &[],
        "SELECT f.vin, f.unit_no FROM fleet_vehicle f JOIN battery_test t ON t.vin = f.vin
         GROUP BY f.vin, f.unit_no ORDER BY COUNT(*) DESC, f.vin LIMIT 1",
    )[0];
    let (vin, unit) = (
        vehicle["vin"].as_str().expect("a vin"),
        vehicle["unit_no"].as_str().expect("a unit"),
    );
    place.run_expecting(
        0,
        &[
            "history",
            "--lake",
            "lake",
            &unit.to_lowercase(),
            "--out",
            "one",
        ],
    );
    place.run_expecting(0, &["history", "--lake", "lake", vin, "--out", "two"]);
    let report = place.read(&format!("one/history-{unit}/history.md"));
    assert_eq!(
        report,
        place.read(&format!("two/history-{unit}/history.md"))
    );
    assert!(
        report.contains(vin) && report.contains("charts/timeline.svg"),
        "{report}"
    );
    assert_tables_whole(&report);
    let tests = place.sql(
        &[],
        &format!(
            "SELECT DISTINCT CAST(tested_at AS DATE) AS day FROM battery_test WHERE vin = '{vin}'"
        ),
    );
    let events = place.read(&format!("one/history-{unit}/events.csv"));
    for test in tests {
        let day = test["day"].as_str().expect("a day");
        assert!(
            events.contains(&format!("{day},battery test,")),
            "{day} in\n{events}"
        );
    }
    let output = place.run(&["history", "--lake", "lake", "no such thing"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("no such thing"));
}

#[test]
fn every_vehicle_has_a_history() {
    let place = place_with_lake();
    for vehicle in place.sql(&[], "SELECT DISTINCT vin FROM vehicle ORDER BY vin LIMIT 6") {
        let vin = vehicle["vin"].as_str().expect("a vin");
        place.run_expecting(0, &["history", "--lake", "lake", vin]);
    }
}

#[test]
fn completions_and_manual_pages_name_every_command() {
    let place = Workplace::new();
    for shell in ["bash", "zsh", "fish"] {
        let text = place.run_expecting(0, &["completions", shell]);
        for command in ["load", "weekly", "screen", "history"] {
            assert!(text.contains(command), "{command} for {shell}");
        }
    }
    place.run_expecting(0, &["manual", "--out", "man"]);
    assert!(place.read("man/voltwane.1").contains("weekly"));
    assert!(place.read("man/voltwane-history.1").contains("unit number"));
}

#[test]
fn a_reader_who_leaves_early_is_no_failure() {
    let place = place_with_lake();
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("voltwane"))
        .current_dir(place.path())
        .env("VOLTWANE_NOW", crate::workplace::NOW)
        .args(["history", "--lake", "lake", "--out", "one"])
        .arg(
            place.sql(&[], "SELECT MIN(vin) AS vin FROM vehicle")[0]["vin"]
                .as_str()
                .expect("a vin"),
        )
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("the program ends");
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert_eq!(output.status.code(), Some(0));
}
