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
            read_as: "in degF".to_owned()
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
            read_as: "as conductance S".to_owned()
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
        "  3 of 5 rows would load (60.0 %)\n",
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
        "# to decide: a field, or ignore = true\n# [columns.\"Colour\"]   # red\n",
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

/// A job list of a shop that names no column as the lake does: what stands in them tells most of it, and
/// what nothing tells is left to decide, which every load says.
#[test]
fn columns_are_known_by_what_stands_in_them() {
    let mut text = String::from("Frame,Job,In,Out,Job done,Who\n");
    for (at, number) in (0usize..12).zip(0u32..) {
        let done = ["SWAPPED BATT", "TOPPED UP", "LOOKED AT"][at % 3];
        text.push_str(&format!(
            "{},J-{},{:02}.04.2026,{:02}.04.2026,{done},{}\n",
            vin(number),
            4711 + at * 13,
            at + 1,
            at + 2,
            ["AB", "CD"][at % 2]
        ));
    }
    let folder = Folder::new();
    let toml = suggest_mapping(&folder.write("jobs.csv", &text)).unwrap();
    for line in [
        "kind = \"work_order\"",
        "[columns.\"Frame\"]",
        "[columns.\"Job\"]   # J-4711\nfield = \"order_no\"",
        "[columns.\"In\"]   # 01.04.2026\nfield = \"opened_at\"\nformat = \"%d.%m.%Y\"",
        "[columns.\"Out\"]   # 02.04.2026\nfield = \"closed_at\"\nformat = \"%d.%m.%Y\"",
    ] {
        assert!(toml.contains(line), "{line:?} is not in\n{toml}");
    }
    assert!(!toml.contains("\nignore = true"), "{toml}");
    assert!(
        !toml.contains("\"J-4724\" ="),
        "numbers are no words:\n{toml}"
    );
    assert!(toml.contains("# to decide: "), "{toml}");
}

#[test]
fn volts_and_standards_are_known_by_their_values() {
    let mut text = String::from("Frame,Date,Open volts,Norm,Make-up,Comment\n");
    for (at, number) in (0usize..12).zip(0u32..) {
        text.push_str(&format!(
            "{},2026-04-{:02},12.{},{},{},c{at}\n",
            vin(number),
            at + 1,
            at % 8,
            ["EN", "SAE"][at % 2],
            ["wet", "mat"][at % 2],
        ));
    }
    text = text.replace("Date,", "Tested on,");
    let folder = Folder::new();
    let toml = suggest_mapping(&folder.write("bench.csv", &text)).unwrap();
    for line in [
        "kind = \"battery_test\"",
        "[columns.\"Open volts\"]   # 12.0\nfield = \"rest_voltage_v\"",
        "[columns.\"Norm\"]   # EN\nfield = \"rated_standard\"",
        "[columns.\"Make-up\"]   # wet\nfield = \"chemistry\"",
        "\"mat\" = \"AGM\"   # check",
        "# to decide: a field, or ignore = true\n# [columns.\"Comment\"]",
    ] {
        assert!(toml.contains(line), "{line:?} is not in\n{toml}");
    }
    let outcome = Folder::with_mapping(&toml).read("bench.csv", &text);
    assert_eq!(outcome.count("battery_test"), 12);
}

/// A row that cannot be used shows which of its cells could be read.
#[test]
fn each_cell_of_a_bad_row_has_its_own_outcome() {
    let folder = Folder::with_mapping(MAPPING);
    let text = format!(
        "Chassis,When,Temp F,Cond,Notes,OCV\n{},soon,77,812,,\n",
        vin(1)
    );
    let shown = explain(&folder, &text).to_string();
    assert!(shown.contains("soon -> not read"), "{shown}");
    assert!(shown.contains("77 -> 25"), "{shown}");
    assert!(shown.contains("0 of 1 rows would load (0.0 %)"), "{shown}");
}
