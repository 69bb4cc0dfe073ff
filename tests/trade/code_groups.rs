//! What codes tell of: groups, the user's table, descriptions.

use proptest::prelude::*;
use voltwane::trade::code_group::CodeGroups;
use voltwane::trade::code_text::{describe, describe_or_origin, failure_type_text};
use voltwane::trade::heavy_code::Code;
use voltwane::trade::words::CodeGroup;

/// Our own grouping over the ranges of SAE J2012, the failure types of ISO 14229-1 and SPN/FMI.
#[test]
fn groups_from_ranges_and_failure_types() {
    use CodeGroup::{ImplausibleSignal, LostCommunication, Other, SupplyVoltage};
    let groups = CodeGroups::builtin();
    for (text, failure_type, expected) in [
        ("P0562", None, SupplyVoltage),
        ("P0563", Some(0x17), SupplyVoltage),
        ("P0622", None, SupplyVoltage),
        ("P2503", None, SupplyVoltage),
        ("P0A8D", None, SupplyVoltage),
        ("U3003", Some(0x16), SupplyVoltage),
        ("U3006", None, SupplyVoltage),
        ("P0A80", None, Other),
        ("P0420", None, Other),
        ("P0564", None, Other),
        ("U0100", None, LostCommunication),
        ("U0073", None, LostCommunication),
        ("U0155", Some(0x87), LostCommunication),
        ("U0100", Some(0x81), ImplausibleSignal),
        ("U0300", None, Other),
        ("U0401", None, ImplausibleSignal),
        ("U0415", Some(0x68), ImplausibleSignal),
        ("B1318", None, Other),
        ("B1000", Some(0x87), LostCommunication),
        ("C1234", Some(0x64), ImplausibleSignal),
        ("C0035", Some(0x16), Other),
        ("U1000", None, Other),
        ("SPN168/FMI4", None, SupplyVoltage),
        ("SPN444/FMI4", None, SupplyVoltage),
        ("SPN627/FMI3", None, SupplyVoltage),
        ("SPN167/FMI18", None, SupplyVoltage),
        ("SPN639/FMI2", None, LostCommunication),
        ("SPN2003/FMI31", None, LostCommunication),
        ("SPN84/FMI9", None, LostCommunication),
        ("SPN84/FMI19", None, ImplausibleSignal),
        ("SPN110/FMI3", None, Other),
        ("not a code", None, Other),
    ] {
        assert_eq!(
            groups.group_of_text(text, failure_type, None),
            expected,
            "{text} {failure_type:?}"
        );
    }
}

#[test]
fn a_users_table_goes_before_the_built_in_rules() {
    let groups = CodeGroups::with_table(
        r#"
        [[codes]]
        first = "B1318"
        make = "Corlund"
        group = "supply voltage"
        [[codes]]
        first = "U1000"
        last = "U10FF"
        group = "lost communication"
        [[codes]]
        first = "P0562"
        failure_type = "1F"
        group = "other"
        [[codes]]
        spn = 521000
        fmi = 4
        group = "supply voltage"
        "#,
    )
    .unwrap();
    let group = |code, failure_type, make| groups.group_of_text(code, failure_type, make);
    assert_eq!(
        group("B1318", None, Some("corlund")),
        CodeGroup::SupplyVoltage
    );
    assert_eq!(group("B1318", None, Some("Tessmar")), CodeGroup::Other);
    assert_eq!(group("B1318", None, None), CodeGroup::Other);
    assert_eq!(group("U1042", None, None), CodeGroup::LostCommunication);
    assert_eq!(group("U1100", None, None), CodeGroup::Other);
    assert_eq!(group("P0562", Some(0x1F), None), CodeGroup::Other);
    assert_eq!(group("P0562", Some(0x16), None), CodeGroup::SupplyVoltage);
    assert_eq!(
        group("SPN521000/FMI4", None, None),
        CodeGroup::SupplyVoltage
    );
    assert_eq!(group("SPN521000/FMI3", None, None), CodeGroup::Other);
}

#[test]
fn a_wrong_table_is_refused_naming_the_entry() {
    for (table, what) in [
        ("[[codes]]\nfirst = \"P0562\"\ngroup = \"power\"", "'power'"),
        (
            "[[codes]]\nfirst = \"P0562\"\ngroup = \"other\"\n[[codes]]\nfirst = \"Z1\"\ngroup = \"other\"",
            "entry 2",
        ),
        (
            "[[codes]]\nfirst = \"P0563\"\nlast = \"P0560\"\ngroup = \"other\"",
            "`last`",
        ),
        (
            "[[codes]]\nfirst = \"P0563\"\nlast = \"U0100\"\ngroup = \"other\"",
            "letter",
        ),
        (
            "[[codes]]\nfirst = \"P0563\"\nspn = 3\ngroup = \"other\"",
            "either",
        ),
        (
            "[[codes]]\nfirst = \"P0563\"\nfailure_type = \"+1\"\ngroup = \"other\"",
            "two hex digits",
        ),
        ("[[codes]]\nspn = 600000\ngroup = \"other\"", "524287"),
        (
            "[[codes]]\nspn = 3\nlast = \"P0563\"\ngroup = \"other\"",
            "not with `spn`",
        ),
        ("[[codes]]\nfirts = \"P0563\"\ngroup = \"other\"", "firts"),
    ] {
        let message = CodeGroups::with_table(table).unwrap_err().to_string();
        assert!(message.contains(what), "{table}: {message}");
    }
}

#[test]
fn descriptions_where_a_standard_fixes_the_meaning() {
    let text = |code: &str| describe(Code::parse(code).unwrap());
    assert_eq!(text("P0562"), Some("supply voltage too low"));
    assert_eq!(text("U0100"), Some("engine control does not answer"));
    assert_eq!(text("U0234"), Some("a module does not answer"));
    assert_eq!(
        text("SPN168/FMI1"),
        Some("battery voltage at the first power input")
    );
    assert_eq!(text("P1000"), None);
    assert_eq!(
        describe_or_origin(Code::parse("P1000").unwrap()),
        "maker's own code"
    );
    assert_eq!(failure_type_text(0x16), Some("voltage below its limit"));
    assert_eq!(failure_type_text(0xFE), None);
}

proptest! {
    /// Any code and failure type has a group, any table is read or refused.
    #[test]
    fn any_code_is_grouped_and_any_table_read_or_refused(
        text in "[PCBU][0-3][0-9A-F]{3}", failure_type: Option<u8>, table in "(\\[\\[codes\\]\\]\n)?(first|spn|group)? ?=? ?.{0,20}",
    ) {
        let group = CodeGroups::builtin().group_of_text(&text, failure_type, None);
        prop_assert!(CodeGroup::ALL.contains(&group));
        if let Ok(code) = Code::parse(&text) {
            prop_assert!(!describe_or_origin(code).is_empty());
        }
        if let Err(error) = CodeGroups::with_table(&table) {
            prop_assert!(!error.to_string().is_empty());
        }
    }
}
