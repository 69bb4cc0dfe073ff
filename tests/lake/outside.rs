//! A log that names a file outside its table is not followed.

use voltwane::lake::Lake;

use super::{append_everywhere, lake_place, newest_entry};
use crate::workplace::Workplace;

#[tokio::test]
async fn an_entry_that_leads_out_of_the_table_is_refused() {
    let place = Workplace::new();
    let mut lake = Lake::open_or_create(&lake_place(&place))
        .await
        .expect("a lake");
    append_everywhere(&mut lake, 0..3).await;
    let secret = place.write("elsewhere/secret.parquet", "not the lake's");
    let entry = newest_entry(&place.path().join("lake"), "battery_test");
    let text = std::fs::read_to_string(&entry).expect("readable");
    let path = regex::Regex::new(r#"("add":\{"path":")[^"]*""#).expect("a pattern");
    assert!(path.is_match(&text), "{text}");
    let absolute = secret.display().to_string();
    for leads_out in [
        "../../elsewhere/secret.parquet",
        "event_year=2026/../../../elsewhere/secret.parquet",
        "%2e%2e/%2e%2e/elsewhere/secret.parquet",
        absolute.as_str(),
        &format!("file://{absolute}"),
        "http://example.invalid/x.parquet",
    ] {
        let changed = path.replace(&text, format!("${{1}}{leads_out}\""));
        std::fs::write(&entry, changed.as_bytes()).expect("writable");
        let output = place.run(&[
            "sql",
            "--lake",
            "lake",
            "SELECT COUNT(*) FROM lake.battery_test",
        ]);
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{leads_out}: {told}");
        assert_eq!(told.lines().count(), 1, "{leads_out}: {told}");
        assert!(told.contains("outside the table"), "{leads_out}: {told}");
    }
}
