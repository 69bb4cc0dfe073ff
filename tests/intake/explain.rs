//! What a load would do, told before it does it, and first mappings to edit.

use voltwane::intake::{ColumnUse, Explanation, Recognised, explain_file, suggest_mapping};

use super::reading::{Folder, now, vin};

const MAPPING: &str = "kind = 'battery_test'\nname = 'Bench'\nshop = 'Corlund'\ntime_zone = 'America/Chicago'\n\
    [columns.Chassis]\nfield = 'vin'\n[columns.When]\nfield = 'tested_at'\nformat = '%m/%d/%Y %H:%M'\n\
    [columns.'Temp F']\nfield = 'temperature_c'\nunit = 'degF'\n[columns.Cond]\nfield = 'measured_value'\n\
    measured_kind = 'conductance S'\n[columns.Notes]\nignore = true\n";

fn explain(folder: &Folder, text: &str) -> Explanation {
    explain_file(&folder.write("bench.csv", text), &folder.mappings, now(), 3).unwrap()
}

fn table_text() -> String {
    format!(
        "Chassis,When,Temp F,Cond,Notes,OCV\n{0},05/01/2026 10:00,77,812,x,12.6\n{1},05/02/2026 10:00,,790,,12.5\n\
         {0},soon,77,812,,\nABC,05/03/2026 10:00,77,812,,\n{0},05/04/2026 10:00,77,812,,12.4\n",
        vin(1),
        vin(2)
    )
}

#[test]
fn each_column_is_explained_with_values_before_and_after() {
    let folder = Folder::with_mapping(MAPPING);
    let explanation = explain(&folder, &table_text());
    let table = &explanation.tables[0];
    let column = |name: &str| {
        table
            .columns
            .iter()
            .find(|column| column.column == name)
            .unwrap()
    };
    let pair = |before: &str, after: &str| (before.to_owned(), after.to_owned());
    assert_eq!(
        column("Temp F").use_,
        ColumnUse::Field {
            field: "temperature_c",
            manner: "in degF".to_owned()
        }
    );
    assert_eq!(
        column("Temp F").samples,
        [pair("77", "25"), pair("", ""), pair("77", "25")]
    );
    assert_eq!(
        column("When").samples[0],
        pair("05/01/2026 10:00", "2026-05-01 15:00 UTC")
    );
    assert_eq!(
        column("Cond").use_,
        ColumnUse::Field {
            field: "measured_value",
            manner: "as conductance S".to_owned()
        }
    );
    assert_eq!(column("Notes").use_, ColumnUse::Ignored);
    assert_eq!(
        column("OCV").use_,
        ColumnUse::Unused {
            likely: Some("rest_voltage_v")
        }
    );
    assert!(
        table
            .without_column
            .contains(&("shop", "Corlund".to_owned()))
    );
    assert!(
        table
            .without_column
            .contains(&("load_seconds", String::new()))
    );
    assert!(
        table
            .without_column
            .iter()
            .all(|(field, _)| *field != "measured_kind")
    );
    assert_eq!((table.rows_read, table.rows_quarantined), (5, 2));
    assert_eq!(table.rows_good["battery_test"], 3);
    let reasons: Vec<(&str, u64, u64)> = table
        .reasons
        .iter()
        .map(|reason| (reason.class.as_str(), reason.rows, reason.first_line))
        .collect();
    assert_eq!(
        reasons,
        [("not a date and time", 1, 4), ("not a VIN", 1, 5)]
    );
}

#[test]
fn the_explanation_reads_as_a_table() {
    let folder = Folder::with_mapping(MAPPING);
    let text = explain(&folder, &table_text()).to_string();
    for line in [
        "  battery_test, read by \"Bench\", local times in America/Chicago\n  UTF-8, columns parted by \",\"\n",
        "  Temp F   temperature_c (in degF)             77 -> 25 | (blank) | 77 -> 25\n",
        "  OCV      not used; perhaps rest_voltage_v    12.6 | 12.5 | 12.4\n",
        "  set by the mapping: shop = Corlund\n",
        "  5 rows read\n  3 rows for battery_test, less those the lake has already\n  2 rows for quarantine\n",
        "    1 from line 5 on: not a VIN: VIN 'ABC' has 3 characters, not 17",
    ] {
        assert!(text.contains(line), "{line:?} is not in\n{text}");
    }
}

#[test]
fn an_unknown_header_is_explained_by_likeness() {
    let explanation = explain(&Folder::new(), &table_text());
    let table = &explanation.tables[0];
    assert!(matches!(
        &table.recognised,
        Recognised::No {
            likely_kind: "battery_test",
            ..
        }
    ));
    let likely: Vec<Option<&str>> = table
        .columns
        .iter()
        .map(|column| match &column.use_ {
            ColumnUse::Unused { likely } => *likely,
            _ => None,
        })
        .collect();
    let expected = [
        Some("vin"),
        Some("tested_at"),
        Some("temperature_c"),
        Some("measured_value"),
        None,
        Some("rest_voltage_v"),
    ];
    assert_eq!(likely, expected);
    assert_eq!(table.columns[0].samples.len(), 3);
    assert!(
        explanation
            .to_string()
            .contains("not recognised; it looks most like battery_test")
    );
}

#[test]
fn a_suggested_mapping_reads_the_file_it_was_made_from() {
    let text = format!(
        "VIN;Test Date;Test Time;Rest Voltage;Temp (F);Chemistry;Colour\n{0};13.05.2026;10:05;12,61;77;Nass;red\n\
         {1};14.05.2026;17:30;12,45;68;AGM;\n",
        vin(1),
        vin(2)
    );
    let folder = Folder::new();
    let toml = suggest_mapping(&folder.write("werkstatt.csv", &text)).unwrap();
    for line in [
        "kind = \"battery_test\"",
        "name = \"werkstatt\"",
        "delimiter = \";\"",
        "decimal_mark = \",\"",
        "field = \"tested_at\"\nformat = \"%d.%m.%Y\"",
        "field = \"tested_at\"\nformat = \"%H:%M\"",
        "field = \"temperature_c\"\nunit = \"degF\"",
        "[columns.\"Colour\"]   # red\nignore = true",
        "[words.chemistry]   # flooded, EFB, AGM, gel, lithium\n# \"Nass\" = \"\"",
    ] {
        assert!(toml.contains(line), "{line:?} is not in\n{toml}");
    }
    let folder = Folder::with_mapping(&toml.replace("# \"Nass\" = \"\"", "\"Nass\" = \"flooded\""));
    let outcome = folder.read("werkstatt.csv", &text);
    assert_eq!(
        outcome.numbers("battery_test", "rest_voltage_v"),
        [Some(12.61), Some(12.45)]
    );
    let times = ["2026-05-13T10:05:00Z", "2026-05-14T17:30:00Z"];
    assert_eq!(
        outcome.instants("battery_test", "tested_at"),
        times.map(|at| Some(at.to_owned()))
    );
    assert_eq!(
        outcome.texts("battery_test", "chemistry")[0].as_deref(),
        Some("flooded")
    );
}

#[test]
fn what_a_suggestion_cannot_know_stands_in_comments() {
    let folder = Folder::new();
    let toml =
        suggest_mapping(&folder.write("w.csv", "Tested;Rest voltage;Nummer\n03/04/2026;12.5;17\n"))
            .unwrap();
    assert!(
        toml.contains("format = \"%m/%d/%Y\"   # or %d/%m/%Y: the first rows do not tell"),
        "{toml}"
    );
    assert!(
        toml.contains("[constants]   # no column was found for these"),
        "{toml}"
    );
    assert!(toml.contains("# vin = \"\""), "{toml}");
}

#[test]
fn a_column_of_vins_is_known_by_its_cells() {
    let folder = Folder::new();
    let text = format!(
        "Fahrgestell;Tested;Rest voltage\n{};2026-04-03;12.5\n",
        vin(1)
    );
    let toml = suggest_mapping(&folder.write("w.csv", &text)).unwrap();
    assert!(
        toml.contains(&format!(
            "[columns.\"Fahrgestell\"]   # {}\nfield = \"vin\"",
            vin(1)
        )),
        "{toml}"
    );
    assert_eq!(
        Folder::with_mapping(&toml)
            .read("w.csv", &text)
            .count("battery_test"),
        1
    );
}
