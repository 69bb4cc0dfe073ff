//! What goes past a limit is told of in a line with the setting's name, and never by an abort.

use std::time::{Duration, Instant};

use super::shown;
use crate::workplace::Workplace;

/// A lake of ten days' weather with these settings.
fn lake_with(settings: &str) -> Workplace {
    let place = Workplace::new();
    let mut text = String::from("depot,day,mean_temperature_c,max_temperature_c\n");
    for day in 1..=10 {
        text.push_str(&format!("Yard,2026-01-{day:02},1,2\n"));
    }
    place.write("in/weather.csv", text);
    place.run_expecting(0, &["load", "--lake", "lake", "in"]);
    place.write("lake/voltwane.toml", settings);
    place
}

#[track_caller]
fn refused(place: &Workplace, query: &str, setting: &str) {
    for form in ["table", "csv"] {
        let began = Instant::now();
        let output = place.run(&["sql", "--lake", "lake", "--format", form, query]);
        let said = shown(&output);
        assert_eq!(output.status.code(), Some(2), "{said}");
        let stderr = String::from_utf8_lossy(&output.stderr);
        assert_eq!(stderr.lines().count(), 1, "{stderr}");
        assert!(
            stderr.starts_with("voltwane: ") && stderr.contains(setting),
            "{stderr}"
        );
        assert!(began.elapsed() < Duration::from_secs(120), "{query}");
    }
}

#[test]
fn an_answer_is_limited_in_rows_size_and_time() {
    let place = lake_with("[limits]\nanswer_rows = 5\nanswer_mb = 1\nquery_seconds = 5\n");
    refused(&place, "SELECT * FROM depot_weather", "limits.answer_rows");
    refused(
        &place,
        "SELECT REPEAT('x', 500000), day FROM depot_weather LIMIT 5",
        "limits.answer_mb",
    );
    // Nothing of this is ever answered.
    refused(
        &place,
        "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n) SELECT COUNT(*) FROM n",
        "limits.query_seconds",
    );
    let days = ["a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k"];
    let product: Vec<String> = days
        .iter()
        .map(|name| format!("depot_weather {name}"))
        .collect();
    let endless = format!(
        "SELECT COUNT(*), SUM(a.max_temperature_c + k.max_temperature_c) FROM {}",
        product.join(", ")
    );
    refused(&place, &endless, "limits.query_seconds");
}

#[test]
fn a_run_is_limited_in_memory() {
    if !cfg!(target_os = "linux") {
        return;
    }
    let place = lake_with("[limits]\nmemory_mb = 300\n");
    refused(
        &place,
        "SELECT LENGTH(REPEAT('x', 2000000000))",
        "limits.memory_mb",
    );
    refused(
        &place,
        "WITH RECURSIVE n AS (SELECT 'xxxxxxxx' AS t UNION ALL SELECT t || t FROM n) SELECT MAX(LENGTH(t)) FROM n",
        "limits.memory_mb",
    );
}

#[test]
fn an_expression_is_limited_in_depth() {
    let place = lake_with("");
    let sum = format!("SELECT 1{}", " + 1".repeat(20_000));
    refused(&place, &sum, "limits.expression_depth");
    let brackets = format!("SELECT {}1{}", "(".repeat(5_000), ")".repeat(5_000));
    refused(&place, &brackets, "limits.expression_depth");
    let nots = format!("SELECT {} TRUE", "NOT ".repeat(5_000));
    refused(&place, &nots, "limits.expression_depth");
    let unions = format!("SELECT 1{}", " UNION ALL SELECT 1".repeat(5_000));
    refused(&place, &unions, "limits.expression_depth");
    // A query at the limit is planned and answered; a long list is not deep.
    let sum = format!("SELECT 1{} AS sum", " + 1".repeat(399));
    assert_eq!(place.sql(&[], &sum)[0]["sum"], 400);
    let list = format!(
        "SELECT COUNT(*) AS n FROM depot_weather WHERE depot IN ('Yard'{})",
        ", 'x'".repeat(5_000)
    );
    assert_eq!(place.sql(&[], &list)[0]["n"], 10);
}

#[test]
fn a_template_that_goes_round_for_ever_ends() {
    let place = super::place_with_lake();
    place.write("lake/voltwane.toml", "[limits]\ntemplate_steps = 100000\n");
    place.write(
        "own/comeback_rates.md",
        "{% for a in range(9999) %}{% for b in range(9999) %}{% for c in range(9999) %}{% endfor %}{% endfor %}{% endfor %}",
    );
    let output = place.run(&["comebacks", "--lake", "lake", "--templates", "own"]);
    let said = shown(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("limits.template_steps"), "{said}");
}

#[cfg(unix)]
#[test]
fn nothing_is_read_outside_the_folders_that_were_named() {
    let place = lake_with("");
    place.write(
        "secret.sql",
        "-- One row is a secret. Reads nothing.\nSELECT 'hidden' AS secret",
    );
    std::fs::create_dir_all(place.path().join("own")).expect("a folder");
    std::os::unix::fs::symlink("../secret.sql", place.path().join("own/extra.sql"))
        .expect("a link");
    let ask = [
        "sql",
        "--lake",
        "lake",
        "--queries",
        "own",
        "SELECT * FROM extra",
    ];
    let said = shown(&place.run(&ask));
    assert!(
        said.contains("outside the folder") && !said.contains("hidden"),
        "{said}"
    );
    for device in ["/dev/zero", "/proc/kmsg"] {
        let output = place.run(&["sql", "--lake", "lake", "--config", device, "SELECT 1"]);
        let said = shown(&output);
        // A kernel's file is empty by its size, so it is an empty configuration.
        let code = if device == "/dev/zero" { 2 } else { 0 };
        assert_eq!(output.status.code(), Some(code), "{said}");
        let said = shown(&place.run(&["load", "--lake", "lake", device]));
        assert!(
            said.starts_with("exit code 2") && said.contains(device),
            "{said}"
        );
    }
}
