//! A shared report shows nothing that a person typed: a marker is put into every free column of every
//! kind of dump, and no file of any command with `--share` may hold it.

use std::io::Read;

use crate::command::small_fleet;
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

/// The small fleet's facts as dumps with markers, loaded; the vehicles and their unit numbers.
fn marked_fleet() -> (Workplace, Vec<(String, String)>) {
    let place = Workplace::new();
    let mut vehicles = Vec::new();
    for table in [
        "vehicle",
        "battery_test",
        "code_scan",
        "trouble_code",
        "work_order",
        "depot_weather",
    ] {
        let text = small_fleet().run_expecting(
            0,
            &[
                "sql",
                "--lake",
                "lake",
                "--format",
                "csv",
                &format!("SELECT * FROM lake.{table}"),
            ],
        );
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header = reader.headers().expect("a header").clone();
        let kept: Vec<usize> = (0..header.len())
            .filter(|at| !matches!(&header[*at], "load_id" | "row_hash" | "event_year"))
            .collect();
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer
            .write_record(kept.iter().map(|at| &header[*at]))
            .expect("a header");
        for (row, record) in reader.records().enumerate() {
            let record = record.expect("a record");
            let cell = |at: &usize| match (table, row, &header[*at]) {
                // A row that goes to quarantine, with names where a number should stand.
                ("work_order", 0, "vin") => "janeqxline".to_owned(),
                // One vehicle's battery lies where only its driver knows.
                ("battery_test", _, "position") if row % 7 == 0 => "janeqxposition".to_owned(),
                (_, _, column) => marked(column, &record[*at]),
            };
            writer
                .write_record(kept.iter().map(cell))
                .expect("a record");
            if table == "vehicle" {
                let named = |name: &str| {
                    let at = header.iter().position(|column| column == name);
                    record[at.expect("the column")].to_owned()
                };
                vehicles.push((named("vin"), named("unit_no")));
            }
        }
        let bytes = writer.into_inner().expect("a CSV");
        place.write(&format!("dumps/janeqxfile-{table}.csv"), bytes);
    }
    place.run_expecting(1, &["load", "--lake", "lake", "dumps"]);
    vehicles.sort();
    vehicles.dedup();
    (place, vehicles)
}

/// Everything below a folder that can be read as text, file by file; workbooks member by member.
fn texts(place: &Workplace, folder: &str) -> Vec<(String, String)> {
    let mut texts = Vec::new();
    for entry in walkdir::WalkDir::new(place.path().join(folder)) {
        let entry = entry.expect("an entry");
        let inside = entry.path().strip_prefix(place.path()).expect("below it");
        let name = inside.display().to_string();
        // The name of a file or folder is read as well.
        texts.push((name.clone(), name.clone()));
        if !entry.file_type().is_file() {
            continue;
        }
        let bytes = std::fs::read(entry.path()).expect("the file");
        if !name.ends_with(".xlsx") {
            texts.push((name, String::from_utf8_lossy(&bytes).into_owned()));
            continue;
        }
        let mut book = zip::ZipArchive::new(std::io::Cursor::new(bytes)).expect("a workbook");
        for at in 0..book.len() {
            let mut member = book.by_index(at).expect("a member");
            let mut text = String::new();
            member.read_to_string(&mut text).expect("text");
            texts.push((format!("{name}: {}", member.name()), text));
        }
    }
    texts
}

/// Runs every command that writes a report; answers all it wrote and printed.
fn everything(
    place: &Workplace,
    vehicle: &str,
    out: &str,
    share: &[&str],
) -> Vec<(String, String)> {
    let day = ["--as-of", "2026-06-28"];
    let run = |code: i32, arguments: &[&str]| {
        let mut all = arguments.to_vec();
        all.extend(["--lake", "lake"]);
        all.extend(share);
        (arguments.join(" "), place.run_expecting(code, &all))
    };
    let told = format!("{out}/told.csv");
    std::fs::create_dir_all(place.path().join(out)).expect("a folder can be made");
    let backtest = ["backtest", "--origins", "1", "--predictions", &told];
    let mut printed = vec![
        run(0, &[&["weekly", "--out", out][..], &day].concat()),
        run(0, &[&["comebacks", "--out", out][..], &day].concat()),
        run(
            1,
            &[&["screen", "list.csv", "--out", out][..], &day].concat(),
        ),
        run(0, &[&["history", vehicle, "--out", out][..], &day].concat()),
        run(0, &backtest),
    ];
    // What was asked for is no answer.
    for (command, _) in &mut printed {
        *command = command.split(' ').next().unwrap_or_default().to_owned();
    }
    printed.extend(texts(place, out));
    printed
}

#[test]
fn nothing_that_was_typed_is_in_a_shared_report() {
    let (place, vehicles) = marked_fleet();
    let mut list: Vec<&str> = vehicles.iter().map(|(vin, _)| vin.as_str()).collect();
    list.push("janeqxlist");
    place.write("list.csv", list.join("\n"));
    // A vehicle with much to tell: that with the most lines on its orders.
    let busiest = place.sql(
        &[],
        "SELECT vin FROM work_order WHERE module_address IS NOT NULL
         GROUP BY vin ORDER BY COUNT(*) DESC, vin LIMIT 1",
    );
    let busiest = busiest[0]["vin"].as_str().expect("a vin");
    // An earlier report, so that there is something to compare with.
    place.run_expecting(
        0,
        &[
            "weekly",
            "--lake",
            "lake",
            "--out",
            "before",
            "--as-of",
            "2026-06-14",
        ],
    );

    let open = everything(&place, busiest, "open", &[]);
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

    let shared = everything(&place, busiest, "shared", &["--share"]);
    assert_eq!(shared.len(), open.len());
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
