//! A shared report shows nothing that a person typed: a marker is put into every free column of every
//! kind of dump, and no file of any command with `--share` may hold it.

use voltwane::report::pseudonym::Pseudonyms;
use voltwane::report::style::ReportStyle;

use super::every_report::{Looked, made_over};
use crate::workplace::Workplace;

/// Part of a number and a unit as somebody types them into a complaint.
const PARTIAL_VIN: &str = "NK000294";
const UNIT: &str = "B00295";

/// Free columns and the marker each gets, led by the same name.
const TYPED: [(&str, &str); 11] = [
    ("unit_no", "janeqxunit"),
    ("shop", "janeqxshop"),
    ("technician", "janeqxtechnician"),
    ("order_no", "janeqxorder"),
    ("complaint", "janeqxcomplaint"),
    ("position", "janeqxposition"),
    ("module_address", "janeqxmodule"),
    ("battery_group", "janeqxgroup"),
    ("scan_id", "janeqxscan"),
    ("date_code", "janeqxdate"),
    ("source_verdict", "janeqxverdict"),
];

/// A cell with its column's marker.
fn marked(column: &str, cell: &str) -> String {
    let marker = TYPED
        .iter()
        .find(|(name, _)| *name == column)
        .map_or("", |(_, marker)| marker);
    match (marker, cell) {
        // The main battery keeps its name, so that the fleet has batteries to speak of.
        ("", _) | (_, "") | ("janeqxposition", "main") => cell.to_owned(),
        ("janeqxcomplaint", _) => format!("{cell} {marker} unit {UNIT} {PARTIAL_VIN}"),
        _ => format!("{marker} {cell}"),
    }
}

/// The small fleet's facts as dumps with markers, loaded.
fn marked_fleet() -> Workplace {
    let place = made_over(
        &|table| format!("janeqxfile-{table}.csv"),
        &|table, row, column, cell| match (table, row, column) {
            // A row that goes to quarantine, with names where a number should stand.
            ("work_order", 0, "vin") => "janeqxline".to_owned(),
            // One vehicle's battery lies where only its driver knows.
            ("battery_test", _, "position") if row % 7 == 0 => "janeqxposition".to_owned(),
            _ => marked(column, cell),
        },
    );
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    place
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_that_was_typed_is_in_a_shared_report() {
    let place = marked_fleet();
    let vehicles: Vec<(String, String)> = place
        .sql(
            &[],
            "SELECT DISTINCT vin, unit_no FROM lake.vehicle ORDER BY vin",
        )
        .iter()
        .map(|row| {
            let text = |name: &str| row[name].as_str().unwrap_or_default().to_owned();
            (text("vin"), text("unit_no").replace("janeqxunit ", ""))
        })
        .collect();
    let mut list: Vec<&str> = vehicles.iter().map(|(vin, _)| vin.as_str()).collect();
    list.push("janeqxlist");
    place.write("list.csv", list.join("\n"));
    // An earlier report, so that there is something to compare with.
    let before = [
        "weekly",
        "--lake",
        "lake",
        "--out",
        "before",
        "--as-of",
        "2026-06-14",
    ];
    place.run_expecting(0, &before);

    let mut looked = Looked::at(&place, "list.csv").await;
    let open = looked
        .reports(&place.path().join("open"), &ReportStyle::default())
        .await;
    let shown = |marker: &str| {
        let holds = |(_, text): &&(String, String)| text.to_lowercase().contains(marker);
        open.iter().filter(holds).count()
    };
    // What no open report shows would be no test of a shared one.
    for marker in [
        "janeqxunit",
        "janeqxshop",
        "janeqxtechnician",
        "janeqxorder",
        "janeqxcomplaint",
        "janeqxposition",
        "janeqxmodule",
        "janeqxgroup",
        "janeqxline",
        "janeqxlist",
    ] {
        assert!(shown(marker) > 0, "{marker} is in no open report");
    }
    assert!(shown(&vehicles[0].0.to_lowercase()) > 0);

    let folder = looked.lake().folder();
    let style = ReportStyle {
        pseudonyms: Some(Pseudonyms::find(folder.as_deref()).expect("a key")),
        ..ReportStyle::default()
    };
    let out = place.path().join("shared");
    let mut shared = looked.reports(&out, &style).await;
    assert_eq!(shared.len(), open.len());
    // What the program prints is the same; the backtest has its answers beside it.
    for command in [
        &[
            "comebacks",
            "--lake",
            "lake",
            "--share",
            "--out",
            "again",
            "--as-of",
            "2026-06-28",
        ][..],
        &[
            "backtest",
            "--lake",
            "lake",
            "--share",
            "--origins",
            "1",
            "--predictions",
            "told.csv",
        ],
    ] {
        shared.push((command[0].to_owned(), place.run_expecting(0, command)));
    }
    shared.push(("told.csv".to_owned(), place.read("told.csv")));
    let mut typed = vec![
        "janeqx".to_owned(),
        PARTIAL_VIN.to_lowercase(),
        UNIT.to_lowercase(),
    ];
    for (vin, unit) in &vehicles {
        typed.push(vin[9..].to_lowercase());
        typed.push(unit.to_lowercase());
    }
    typed.retain(|text| !text.is_empty());
    let mut leaks = Vec::new();
    for (name, text) in &shared {
        let text = text.to_lowercase();
        for word in &typed {
            if let Some(at) = text.find(word.as_str()) {
                let around: String = text[..at].chars().rev().take(60).collect();
                let before: String = around.chars().rev().collect();
                leaks.push(format!("{name}: {before}[{word}]"));
            }
        }
    }
    assert!(leaks.is_empty(), "{}", leaks.join("\n"));
    let list = shared
        .iter()
        .filter(|(name, text)| name.ends_with("comebacks-list.csv") && name != text)
        .map(|(_, text)| text.as_str())
        .collect::<String>();
    assert!(
        list.contains("left out of a shared report: may name people"),
        "{list}"
    );
}
