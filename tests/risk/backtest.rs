//! The backtest command on a small invented fleet.

use super::invented_fleet;

#[test]
fn it_foretells_from_the_past_and_counts_what_came() {
    let place = invented_fleet("150", "104");
    let arguments = [
        "backtest",
        "--lake",
        "lake",
        "--origins",
        "3",
        "--every",
        "16",
        "--format",
        "json",
        "--predictions",
        "told.csv",
    ];
    let text = place.run_expecting(0, &arguments);
    let answer: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let origins = answer["origins"].as_array().expect("origins");
    assert_eq!(
        origins
            .iter()
            .map(|one| one["origin"].as_str().expect("a day"))
            .collect::<Vec<_>>(),
        ["2025-09-21", "2026-01-11", "2026-05-03"]
    );
    let told = place.read("told.csv");
    let mut reader = csv::Reader::from_reader(told.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let at = |name: &str| {
        header
            .iter()
            .position(|column| column == name)
            .expect("a column")
    };
    let (mut rows, mut failed) = (0, 0);
    for record in reader.records() {
        let record = record.expect("a row");
        let number = |name: &str| record[at(name)].parse::<f64>().expect("a number");
        assert!(0.0 < number("chance_lower") && number("chance_lower") <= number("chance"));
        assert!(number("chance") <= number("chance_upper") && number("chance_upper") < 1.0);
        assert!((1.0..=56.0).contains(&number("days")));
        rows += 1;
        failed += i32::from(&record[at("failed")] == "true");
    }
    assert_eq!(answer["model"]["predictions"], rows);
    assert_eq!(answer["model"]["failures"], failed);
    assert!(rows > 300 && failed > 0, "{rows} {failed}");

    // The truth, from today's lives: the failures within 56 days of each origin of batteries then in sight.
    let counted = place.sql(
        &[],
        "SELECT COUNT(*) AS failures FROM battery_life l
         CROSS JOIN (VALUES (DATE '2025-09-21'), (DATE '2026-01-11'), (DATE '2026-05-03')) AS o(origin)
         WHERE l.failed AND l.installed_on <= o.origin AND l.exited_on > o.origin
           AND days_between(o.origin, l.exited_on) <= 56",
    );
    let counted = counted[0]["failures"].as_i64().expect("a number");
    // A battery that was taken for failed on the day itself is not foretold.
    assert!(
        i64::from(failed) <= counted && counted - i64::from(failed) <= 2,
        "{failed} of {counted}"
    );
}
