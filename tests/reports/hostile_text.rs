//! Text from dumps stays text in Markdown, HTML, CSV and the workbook.

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use chrono::NaiveDate;
use proptest::prelude::*;
use voltwane::report::cells;
use voltwane::report::page;
use voltwane::report::table_files::{Kind, Sheet, column, workbook};

/// Texts that would be mark-up, a formula or an address somewhere.
pub const HOSTILE: [&str; 20] = [
    "<script>alert(1)</script>",
    "</td></tr></table><h1>x",
    "<img src=x onerror=alert(1)>",
    "| one | two |",
    "**bold** _em_ ~~gone~~ `code`",
    "[a link](javascript:alert(1))",
    "![a picture](http://example.invalid/x.png)",
    "<http://example.invalid>",
    "www.example.invalid and http://example.invalid",
    "@somebody #12 !34",
    "# heading",
    "- item",
    "1. item",
    "> quote",
    "line\nbreak\r\n\nparagraph",
    "=HYPERLINK(\"http://example.invalid\",\"x\")",
    "@SUM(A1:A9)",
    "+1-1|cmd",
    "\n- item after a break",
    "\u{1}\u{202e}- item after what is not shown",
];

fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 6, 28).expect("a day")
}

/// The page of a table with this text in its only cell.
fn page_with(text: &str) -> String {
    let markdown = format!(
        "# Title\n\n| column |\n| --- |\n| {} |\n\n{}\n",
        cells::markdown(text),
        cells::markdown(text)
    );
    page::html("Title", &markdown, &[]).replacen(&page::script(), "", 1)
}

fn times(page: &str, tag: &str) -> usize {
    page.matches(tag).count()
}

#[track_caller]
fn assert_only_text(text: &str) {
    let page = page_with(text);
    let body = page.split("<main").nth(1).expect("a body");
    for tag in [
        "<a ",
        "<img",
        "<script",
        "<em",
        "<strong",
        "<code",
        "<del",
        "<ul",
        "<ol",
        "<blockquote",
        "<h2",
        "<h3",
        "<hr",
        "<pre",
        "<input",
    ] {
        assert_eq!(times(body, tag), 0, "{tag} from {text:?} in\n{body}");
    }
    assert_eq!(times(body, "<table"), 1, "{text:?} in\n{body}");
    assert_eq!(times(body, "<td"), 1, "{text:?} in\n{body}");
    assert_eq!(times(body, "<h1"), 1, "{text:?} in\n{body}");
}

#[test]
fn hostile_text_is_only_text_on_the_page() {
    for text in HOSTILE {
        assert_only_text(text);
    }
}

#[test]
fn the_words_of_hostile_text_are_still_there() {
    let page = page_with("<b>M|5 & \"co\"</b>");
    assert!(
        page.contains("&lt;b&gt;M|5 &amp; &quot;co&quot;&lt;/b&gt;"),
        "{page}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn any_text_is_only_text_on_the_page(text in "\\PC{0,60}|[-+=#>*_`|<>\\[\\]()!~&@:/.0-9a-z \\n\\\\]{0,40}") {
        assert_only_text(&text);
    }
}

fn sheet(texts: &[&str]) -> Sheet {
    Sheet::new(
        "texts",
        texts,
        vec![
            column("text", Kind::Text, |text: &&str| *text),
            column("length", Kind::Integer, |text: &&str| text.len() as i64),
        ],
    )
}

#[test]
fn no_cell_of_the_csv_begins_like_a_formula() {
    let bytes = sheet(&HOSTILE).csv().expect("a CSV");
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let cells: Vec<String> = reader
        .records()
        .map(|record| record.expect("a record")[0].to_owned())
        .collect();
    assert_eq!(cells.len(), HOSTILE.len());
    for (cell, text) in cells.iter().zip(HOSTILE) {
        assert!(
            !cell.trim_start().starts_with(['=', '+', '-', '@']),
            "{cell:?} would be taken for a formula"
        );
        assert_eq!(cell.trim_start_matches('\''), text);
    }
}

#[test]
fn the_workbook_holds_hostile_text_as_text() {
    let long = "x".repeat(40_000);
    let mut texts = HOSTILE.to_vec();
    texts.push(&long);
    let bytes = workbook("Texts", day(), &[sheet(&texts)]).expect("a workbook");
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).expect("a readable workbook");
    let formulas = book.worksheet_formula("texts").expect("a sheet");
    assert!(formulas.cells().all(|(_, _, formula)| formula.is_empty()));
    let range = book.worksheet_range("texts").expect("a sheet");
    let cells: Vec<&Data> = range.rows().skip(1).map(|row| &row[0]).collect();
    assert_eq!(cells.len(), texts.len());
    for (cell, text) in cells.iter().zip(&HOSTILE) {
        let Data::String(cell) = cell else {
            panic!("{cell:?} is no text");
        };
        assert_eq!(cell.replace('\r', ""), text.replace('\r', ""));
    }
}

#[test]
fn the_workbook_has_real_types_and_a_header_that_stays() {
    let rows = [(Some("2026-02-15"), 0.25, true), (None, 0.5, false)];
    let sheet = Sheet::new(
        "types",
        &rows,
        vec![
            column("tested_on", Kind::Day, |row: &(Option<&str>, f64, bool)| {
                row.0
            }),
            column("chance", Kind::Share, |row: &(Option<&str>, f64, bool)| {
                row.1
            }),
            column("open", Kind::Flag, |row: &(Option<&str>, f64, bool)| row.2),
        ],
    );
    let bytes = workbook("Types", day(), &[sheet]).expect("a workbook");
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes.clone())).expect("a readable workbook");
    let range = book.worksheet_range("types").expect("a sheet");
    let Some(Data::DateTime(tested_on)) = range.get((1, 0)) else {
        panic!("{:?} is no day", range.get((1, 0)));
    };
    // Days since 1899-12-30, the count of spreadsheets.
    assert_eq!(tested_on.as_f64(), 46_068.0);
    assert_eq!(range.get((1, 1)), Some(&Data::Float(0.25)));
    assert_eq!(range.get((1, 2)), Some(&Data::Bool(true)));
    assert_eq!(range.get((2, 0)), Some(&Data::Empty));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip");
    let mut xml = String::new();
    std::io::Read::read_to_string(
        &mut archive
            .by_name("xl/worksheets/sheet1.xml")
            .expect("a sheet"),
        &mut xml,
    )
    .expect("text");
    assert!(xml.contains("state=\"frozen\""), "{xml}");
    assert!(xml.contains("<autoFilter ref=\"A1:C3\""), "{xml}");
}

#[test]
fn the_workbook_says_which_program_made_it() {
    let bytes = workbook("Texts", day(), &[sheet(&["one"])]).expect("a workbook");
    let mut members = zip::ZipArchive::new(Cursor::new(&bytes)).expect("a zip");
    let properties =
        std::io::read_to_string(members.by_name("docProps/app.xml").expect("properties"))
            .expect("text");
    assert!(
        properties.contains("<Application>voltwane</Application>"),
        "{properties}"
    );
    let again = workbook("Texts", day(), &[sheet(&["one"])]).expect("a workbook");
    assert_eq!(bytes, again, "the same report is the same bytes");
}
