//! Whether a tester's reading allows for the temperature is said once, in the shop's mapping.

use super::vin;
use crate::workplace::Workplace;

/// What a battery of 600 A (EN) is found to have when 360 A are read at -10 degrees, and how sure that is,
/// by what the shop's mapping says.
fn found(said: &str) -> (f64, f64) {
    let place = Workplace::new();
    let row = format!(
        "vin,position,tested_at,rest_voltage_v,temperature_c,cca,rated_value,rated_standard,chemistry\n\
         {},main,2025-01-15 09:00:00,12.75,-10,360,600,EN,flooded\n",
        vin(0)
    );
    place.write("dumps/tests.csv", &row);
    let mut mapping = "kind = \"battery_test\"\nname = \"a shop\"\nshop = \"A shop\"\n".to_owned();
    for field in [
        "vin",
        "position",
        "tested_at",
        "rest_voltage_v",
        "temperature_c",
        "rated_value",
        "rated_standard",
        "chemistry",
    ] {
        mapping.push_str(&format!("\n[columns.{field}]\nfield = \"{field}\"\n"));
    }
    mapping.push_str("\n[columns.cca]\nfield = \"measured_value\"\nmeasured_kind = \"CCA EN\"\n");
    mapping.push_str(said);
    place.write("dumps/shop.toml", &mapping);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
    let rows = place.sql(
        &["--as-of", "2025-06-30"],
        "SELECT health, health_sigma FROM test_verdict",
    );
    assert_eq!(rows.len(), 1, "{rows:?}");
    let number = |name: &str| rows[0][name].as_f64().expect("a number");
    (number("health"), number("health_sigma"))
}

#[test]
fn a_reading_that_allows_for_the_cold_is_not_corrected_again() {
    let yes = "\n[constants]\ntemperature_compensated = \"yes\"\n";
    let no = "\n[constants]\ntemperature_compensated = \"no\"\n";
    let (corrected, _) = found(yes);
    // Six tenths of the rating are six tenths, whatever the cold, but for the last of the charge.
    assert!((0.58..0.63).contains(&corrected), "{corrected}");
    // What was read raw in the cold is more at 25 degrees.
    let (raw, _) = found(no);
    assert!(raw > 1.15 * corrected, "{raw} {corrected}");
    // Unsaid it is what is common of such testers, and the doubt makes it less sure.
    let (unsaid, unsure) = found("");
    assert!((unsaid - corrected).abs() < 1e-12, "{unsaid} {corrected}");
    assert!(unsure > found(yes).1);
}
