//! Hostile text in every column that a person types into, and in the names of the dumps: every report is
//! written, and in none of its forms is any of it more than text.

use std::path::Path;

use calamine::{Data, Reader, Xlsx, open_workbook};
use voltwane::report::style::ReportStyle;

use super::every_report::{Looked, made_over};
use super::hostile_text::HOSTILE;
use crate::workplace::Workplace;

/// What is no mark-up and no formula, but a terminal, a template or an editor might obey.
const OBEYED: [&str; 8] = [
    "\u{1b}[2J\u{1b}[31mred",
    "\u{1b}]0;title\u{7}",
    "\u{9b}31m",
    "safe\u{202e}fdp.exe",
    "a\rb",
    "{{ 7 * 7 }}{% for x in range(9) %}",
    "$as_of '; DROP TABLE vehicle; --",
    "../../../../etc/passwd",
];

/// Columns that hold whatever somebody typed.
const TYPED: [&str; 14] = [
    "unit_no",
    "depot",
    "make",
    "model",
    "shop",
    "technician",
    "order_no",
    "complaint",
    "position",
    "module_address",
    "battery_group",
    "scan_id",
    "date_code",
    "source_verdict",
];

/// The cell with a payload that is always the same for the same cell, so that what belongs together
/// still does.
fn planted(table: &str, row: usize, column: &str, cell: &str) -> String {
    // The main battery keeps its name, so that the fleet has batteries to speak of; a seventh has none.
    let kept = column == "position" && !(table == "battery_test" && row.is_multiple_of(7));
    if cell.is_empty() || kept || !TYPED.contains(&column) {
        return cell.to_owned();
    }
    let payloads = HOSTILE.iter().chain(&OBEYED);
    let number = cell
        .bytes()
        .fold(7_usize, |sum, byte| sum * 31 % 65_521 + usize::from(byte));
    let payload = payloads
        .clone()
        .nth(number % payloads.count())
        .expect("a payload");
    // A long name as well: no file system takes it for a file's.
    match column {
        "model" => format!("{payload} {cell} {}", "long ".repeat(80)),
        _ => format!("{payload}{cell}"),
    }
}

fn hostile_fleet() -> Workplace {
    let name = |table: &str| format!("\u{1b}[31m{table} <b>&=x\u{202e}.csv");
    let place = made_over(&name, &planted);
    let loaded = place.run(&["load", "--lake", "lake", "dumps"]);
    assert!(matches!(loaded.status.code(), Some(0 | 1)), "{loaded:?}");
    for bytes in [&loaded.stdout, &loaded.stderr] {
        no_terminal_would_obey("load", &String::from_utf8_lossy(bytes));
    }
    place
}

#[track_caller]
fn no_terminal_would_obey(name: &str, text: &str) {
    let obeyed = |c: &char| (c.is_control() && *c != '\n') || ('\u{202A}'..='\u{202E}').contains(c);
    let found = text.chars().find(obeyed);
    assert!(
        found.is_none(),
        "{name} prints {found:?}:\n{}",
        text.escape_debug()
    );
}

/// No element that runs, loads or leads out of the page, and no handler.
#[track_caller]
fn nothing_lives(name: &str, html: &str) {
    let html = &html.replacen(&voltwane::report::page::script(), "", 1);
    let tag =
        regex::Regex::new(r#"<\s*/?\s*([a-zA-Z][a-zA-Z0-9-]*)((?:[^>"']|"[^"]*"|'[^']*')*)>"#)
            .expect("a pattern");
    // What stands in quotation marks is a value, whatever it looks like.
    let attribute =
        regex::Regex::new(r#"([^\s"'=<>/]+)(?:\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s"'>]+)))?"#)
            .expect("a pattern");
    for found in tag.captures_iter(html) {
        let element = found[1].to_lowercase();
        let dead = !matches!(
            element.as_str(),
            "script"
                | "iframe"
                | "object"
                | "embed"
                | "form"
                | "button"
                | "base"
                | "foreignobject"
                | "animate"
                | "set"
                | "marquee"
                | "video"
                | "audio"
                | "frame"
                | "applet"
                | "textarea"
        );
        assert!(dead, "{name} has {}", &found[0]);
        for pair in attribute.captures_iter(&found[2]) {
            let key = pair[1].to_lowercase();
            assert!(!key.starts_with("on"), "{name} has {}", &found[0]);
            let value = (2..=4)
                .find_map(|at| pair.get(at))
                .map_or("", |value| value.as_str());
            if matches!(
                key.as_str(),
                "href" | "src" | "action" | "data" | "xlink:href"
            ) {
                let within = value.starts_with('#')
                    || value.starts_with("data:image/")
                    || !(value.contains(':') || value.starts_with("//") || value.contains(".."));
                assert!(within, "{name} leads to {value}");
            }
        }
    }
}

/// The page that a reader of Markdown makes of it, with everything that reader may do.
fn as_others_render(markdown: &str) -> String {
    let mut options = comrak::Options::default();
    options.render.r#unsafe = true;
    options.extension.table = true;
    options.extension.strikethrough = true;
    options.extension.autolink = true;
    options.extension.tasklist = true;
    options.extension.footnotes = true;
    comrak::markdown_to_html(markdown, &options)
}

fn a_safe_name(name: &str) -> bool {
    name.split('/').all(|part| {
        part.len() <= 120
            && !part.starts_with('-')
            && part
                .chars()
                .all(|c| c.is_alphanumeric() || matches!(c, '-' | '.' | '_'))
    })
}

fn every_cell_is_text(path: &Path) {
    if path.extension().is_some_and(|ending| ending == "csv") {
        let mut reader = csv::Reader::from_path(path).expect("a CSV");
        for record in reader.records() {
            for cell in record.expect("a record").iter() {
                let formula = cell.trim_start().starts_with(['=', '+', '-', '@']);
                let plain = cell.parse::<f64>().is_ok() || matches!(cell, "-" | "–");
                assert!(!formula || plain, "{} has {cell:?}", path.display());
            }
        }
        return;
    }
    let mut book: Xlsx<_> = open_workbook(path).expect("a workbook");
    for name in book.sheet_names() {
        let formulas = book.worksheet_formula(&name).expect("a sheet");
        assert!(formulas.cells().all(|(_, _, formula)| formula.is_empty()));
        let cells = book.worksheet_range(&name).expect("a sheet");
        assert!(
            cells
                .used_cells()
                .all(|(_, _, cell)| !matches!(cell, Data::Error(_)))
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn hostile_text_in_every_column_is_only_text_in_every_report() {
    let place = hostile_fleet();
    let vins = place.sql(
        &[],
        "SELECT DISTINCT vin FROM lake.vehicle ORDER BY vin LIMIT 30",
    );
    let mut list: Vec<String> = vins
        .iter()
        .map(|row| row["vin"].as_str().expect("a vin").to_owned())
        .collect();
    list.push("<img src=x onerror=alert(1)>\u{1b}[2J".to_owned());
    place.write("list.csv", list.join("\n"));
    let mut looked = Looked::at(&place, "list.csv").await;
    let out = place.path().join("out");
    let all = looked.reports(&out, &ReportStyle::default()).await;

    // A payload that no report shows would prove nothing.
    let shows = |text: &str| all.iter().filter(|(_, held)| held.contains(text)).count();
    for seen in ["alert(1)", "example.invalid", "7 * 7", "passwd", "fdp.exe"] {
        assert!(shows(seen) > 0, "{seen} is in no report");
    }
    for (name, text) in &all {
        match name.rsplit('.').next().unwrap_or_default() {
            _ if name == text => assert!(a_safe_name(name), "{name:?}"),
            "html" | "svg" => nothing_lives(name, text),
            "md" => {
                assert!(
                    !text.contains("49{"),
                    "{name} filled a template in from data"
                );
                nothing_lives(name, &as_others_render(text));
            }
            _ => {}
        }
    }
    for entry in walkdir::WalkDir::new(&out) {
        let entry = entry.expect("an entry");
        let ending = entry.path().extension().and_then(|ending| ending.to_str());
        if matches!(ending, Some("csv" | "xlsx")) {
            every_cell_is_text(entry.path());
        }
    }
    // And what commands print on a terminal.
    for command in [
        &["check", "--lake", "lake"][..],
        &["comebacks", "--lake", "lake", "--out", "again"],
        &[
            "sql",
            "--lake",
            "lake",
            "SELECT * FROM lake.work_order LIMIT 200",
        ],
    ] {
        let printed = place.run(command);
        assert!(matches!(printed.status.code(), Some(0 | 1)), "{printed:?}");
        for bytes in [&printed.stdout, &printed.stderr] {
            no_terminal_would_obey(command[0], &String::from_utf8_lossy(bytes));
        }
    }
}
