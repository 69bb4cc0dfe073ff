//! Queries give codes and numbers; sentences are made in the report, in the reader's units.

use std::collections::BTreeSet;

use regex::Regex;
use voltwane::lake::tables::TABLES;
use voltwane::report::style::Units;
use voltwane::report::words;
use voltwane::report::words::reasons::{Reason, Reasoned};
use voltwane::trade::derived_words::*;
use voltwane::trade::words::*;

use crate::command::place_with_lake;

macro_rules! all_words {
    ($($list:ident),+ $(,)?) => {
        [$($list::ALL.iter().map(|word| word.as_str()).collect::<Vec<_>>()),+].concat()
    };
}

/// Every word a query may give.
fn known_words() -> BTreeSet<&'static str> {
    all_words!(
        Powertrain,
        Chemistry,
        RatingStandard,
        MeasuredKind,
        Operation,
        OrderCause,
        Verdict,
        CodeGroup,
        FloodCause,
        Outcome,
        Action,
        RecoveryStep,
        RecoveryOpening,
        RecoveryEvent,
        RecoveryEnd,
        RecoveryCaution,
        FloodSign,
        HeatBand,
        EstimateBasis,
        InstallEvidence,
        InstallSource,
        CohortKind,
        CohortName,
        Period,
        ScanBreadth,
        BaselineLevel,
        ClearKind,
        OrderKind,
        Alike,
        ReplacedPart,
        Position,
        Offer,
        PlanChange,
        ScanFinding,
        LakeFinding,
        VisitReason,
        EndEvidence,
        SinceCall,
        Certainty,
        Advice,
        LabelSource,
        PlaceSource,
        ServiceBasis,
        WarrantyStep,
        ComebackKind,
        ShopTrouble,
    )
    .into_iter()
    .collect()
}

/// The texts a query gives or compares with: no fields of structs, parts of dates, or patterns.
fn texts(sql: &str) -> Vec<String> {
    let comment = Regex::new(r"(?m)--.*$").expect("a pattern");
    let name = Regex::new(r"\['\w+'\]|(?i:date_trunc)\('\w+'|INTERVAL '[^']*'|'\^[^']*'")
        .expect("a pattern");
    let named = Regex::new(r"named_struct\(([^()]*)\)").expect("a pattern");
    let text = Regex::new(r"'((?:[^']|'')*)'").expect("a pattern");
    let sql = comment.replace_all(sql, "");
    let sql = name.replace_all(&sql, "");
    // Every other argument of a struct is a field's name.
    let sql = named.replace_all(&sql, |found: &regex::Captures<'_>| {
        let values: Vec<&str> = found[1].split(',').skip(1).step_by(2).collect();
        values.join(",")
    });
    text.captures_iter(&sql)
        .map(|found| {
            found[1]
                .trim_matches(|c: char| !c.is_alphanumeric())
                .to_owned()
        })
        .collect()
}

/// So a misspelt word, which would find nothing, and a sentence, which only one language reads, are
/// both found here.
#[test]
fn every_text_in_a_query_is_a_word_of_the_trade() {
    let known = known_words();
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("queries");
    let mut looked = 0;
    for entry in walkdir::WalkDir::new(folder).into_iter().flatten() {
        if entry
            .path()
            .extension()
            .is_none_or(|ending| ending != "sql")
        {
            continue;
        }
        let sql = std::fs::read_to_string(entry.path()).expect("a query");
        for text in texts(&sql) {
            let letters = text.chars().filter(|c| c.is_alphabetic()).count();
            let table = TABLES.iter().any(|table| table.name == text);
            // A part of the model's own fit is called by its name, the version of no model so.
            let of_model = ["test spread", "none"].contains(&text.as_str());
            looked += 1;
            assert!(
                letters < 2 || table || of_model || known.contains(text.as_str()),
                "{}: '{text}' is no word of trade::words or trade::derived_words",
                entry.path().display()
            );
        }
    }
    assert!(looked > 300, "{looked}");
}

#[test]
fn a_sentence_in_a_query_would_be_found() {
    let found = texts("SELECT x['fit'] || ' codes say ''low'' voltage' -- 'not this'");
    assert_eq!(found, ["codes say ''low'' voltage"]);
}

fn reason(topic: &str, numbers: &[(&str, f64)]) -> Reason {
    Reason {
        topic: topic.to_owned(),
        numbers: numbers
            .iter()
            .map(|(name, number)| ((*name).to_owned(), *number))
            .collect(),
    }
}

fn said(reasons: &[Reason], units: Units) -> String {
    Reasoned {
        reasons: Some(reasons),
        position: "main",
        chemistry: Some("AGM"),
        battery_group: Some("H6"),
        powertrain: None,
        failed_on: None,
        failed_until: None,
        open_call: None,
    }
    .said(units)
}

#[test]
fn reasons_are_said_in_the_readers_units() {
    let reasons = [
        reason("usage", &[("km_per_day", 80.4672)]),
        reason("weather", &[("heat_ahead", 7.0)]),
    ];
    assert_eq!(
        said(&reasons, Units::Metric),
        "driven 80 km a day; heat ahead: afternoons of about 37 °C in these weeks of the years before"
    );
    // 80.4672 km are 50 international miles, 37 °C are 98.6 °F.
    assert_eq!(
        said(&reasons, Units::Us),
        "driven 50 mi a day; heat ahead: afternoons of about 99 °F in these weeks of the years before"
    );
    assert_eq!(
        words::heat::band("mild", Units::Us),
        "ages as at 59 °F to 68 °F"
    );
    assert_eq!(words::heat::band("not known", Units::Us), "not known");
}

#[test]
fn one_length_of_time_is_said_in_one_way() {
    let tests = reason(
        "tests",
        &[
            ("health", 0.62),
            ("days_since_health", 8.0),
            ("days_since_test", 8.0),
        ],
    );
    assert_eq!(
        said(&[tests], Units::Metric),
        "62 % of rated cranking at its last test 8 days ago"
    );
    assert_eq!(
        words::test_answer::likely(Some(8.0), Some(1461.0), Some(0.55), Some(0.69)),
        "last tested when charged 8 days ago, 4.0 years old: a test would likely show 55 to 69 % of rated cranking"
    );
}

#[test]
fn a_battery_without_reasons_is_only_just_on_record() {
    assert_eq!(said(&[], Units::Metric), "only just on record");
}

#[test]
fn us_units_change_the_weekly_report() {
    let place = place_with_lake();
    let report = |units: &str| {
        place.run_expecting(
            0,
            &["weekly", "--lake", "lake", "--units", units, "--out", units],
        );
        let weeks = std::fs::read_dir(place.path().join(units)).expect("a folder of weeks");
        let week = weeks.flatten().next().expect("a week").file_name();
        place.read(&format!("{units}/{}/report.md", week.to_string_lossy()))
    };
    let (metric, us) = (report("metric"), report("us"));
    assert!(metric.contains(" °C") && !metric.contains(" °F"));
    assert!(us.contains(" °F") && !us.contains(" °C"));
    assert!(!us.contains(" km"), "kilometres are left");
    // What was told before stays as it was told, whatever units a later reader asks for.
    let told = place.sql(
        &[],
        "SELECT DISTINCT reasons FROM lake.risk_week WHERE reasons LIKE '%°F%'",
    );
    assert!(told.is_empty(), "{told:?}");
}
