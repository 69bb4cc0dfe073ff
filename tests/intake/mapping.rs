//! Mapping files: what is wrong in one is told with its line, key and what to do.

use std::path::Path;

use voltwane::intake::{Mappings, find_files};

use super::reading::{Folder, vin};

fn error(toml: &str) -> String {
    Mappings::builtin()
        .add_toml(Path::new("m.toml"), toml)
        .expect_err("the mapping should be refused")
        .to_string()
}

const SOUND: &str = "kind = \"battery_test\"\nname = \"Bench\"\n[columns.\"Chassis\"]\nfield = \"vin\"\n[columns.\"When\"]\nfield = \"tested_at\"\n";

#[test]
fn a_sound_mapping_is_taken_once() {
    let mut mappings = Mappings::builtin();
    mappings.add_toml(Path::new("a.toml"), SOUND).unwrap();
    mappings.add_toml(Path::new("copy/a.toml"), SOUND).unwrap();
    assert_eq!(mappings.len(), 1);
}

#[test]
fn errors_name_line_key_and_remedy() {
    let cases: &[(&str, &str)] = &[
        ("kind = [", "m.toml, line 1, ``: is not TOML"),
        (
            "name = 'x'",
            "m.toml, line 1, `kind`: is missing; say kind = one of vehicle, battery_test",
        ),
        (
            "\nkind = 'battery'",
            "m.toml, line 2, `kind`: \"battery\" is no kind of dump",
        ),
        (
            "kind = 'vehicle'\ntimezone = 'UTC'",
            "m.toml, line 2, `timezone`: is not known; did you mean `time_zone`?",
        ),
        (
            "kind = 'vehicle'\ntime_zone = 'Chicago'",
            "m.toml, line 2, `time_zone`: \"Chicago\" is no IANA time zone; say it like \"America/Chicago\"",
        ),
        (
            "kind = 'vehicle'\ndelimiter = ';;'",
            "line 2, `delimiter`: \";;\" is not one ASCII character",
        ),
        (
            "kind = 'vehicle'\ndelimiter = 3",
            "line 2, `delimiter`: is no text; put it in quotes",
        ),
        (
            "kind = 'vehicle'\ndecimal_mark = ','\nthousands_mark = ','",
            "line 3, `thousands_mark`: \",\" is the decimal mark too",
        ),
        (
            "kind = 'vehicle'\nencoding = 'utf-7'",
            "line 2, `encoding`: \"utf-7\" is no encoding that is read",
        ),
        (
            "kind = 'battery_test'\ndate_code_pattern = '\\d'",
            "line 2, `date_code_pattern`: pattern '\\d' cannot be used: it has no group named year",
        ),
        (
            "kind = 'vehicle'\nskip_lines = -1",
            "line 2, `skip_lines`: is no number from 0 to 1000",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'odometer'",
            "line 3, `columns.\"A\".field`: vehicle has no field \"odometer\"; did you mean odometer_km?",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nunit = 'km'",
            "line 2, `columns.\"A\"`: names no field; say what `field` it is, or `ignore = true`",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'odometer_km'\nunit = 'V'",
            "line 4, `columns.\"A\".unit`: odometer_km has no unit \"V\"; say one of km, m, mi",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'make'\nunit = 'V'",
            "line 4, `columns.\"A\".unit`: make has no unit \"V\"; leave it out",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'seen_on'\nformat = '%Q'",
            "line 4, `columns.\"A\".format`: \"%Q\" is no strftime pattern",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'make'\nformat = '%Y'",
            "line 4, `columns.\"A\".format`: make is no date; leave it out",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfeild = 'make'",
            "line 3, `columns.\"A\".feild`: is not known; did you mean `field`?",
        ),
        (
            "kind = 'vehicle'\n[columns.A]\nfield = 'make'\n[columns.a]\nfield = 'model'",
            "line 4, `columns.\"a\"`: stands twice but for case",
        ),
        (
            "kind = 'battery_test'\n[columns.A]\nfield = 'measured_value'\nmeasured_kind = 'ohms'",
            "line 4, `columns.\"A\".measured_kind`: \"ohms\" is no kind of reading; say one of CCA SAE",
        ),
        (
            "kind = 'battery_test'\n[columns.A]\nfield = 'rated_value'\nmeasured_kind = 'CCA EN'",
            "line 4, `columns.\"A\".measured_kind`: rated_value is no reading",
        ),
        (
            "kind = 'vehicle'\n[words.chemistry]\n'Wet' = 'moist'",
            "line 3, `words.chemistry.\"Wet\"`: \"moist\" is no chemistry; say one of flooded, EFB, AGM, gel, lithium",
        ),
        (
            "kind = 'vehicle'\n[constants]\nseen_on = '1/2/2026'",
            "line 3, `constants.seen_on`: is not a date",
        ),
        (
            "kind = 'vehicle'\n[constants]\nshop = 'x'",
            "line 3, `constants.shop`: vehicle has no field \"shop\"",
        ),
        (
            "kind = 'battery_test'\n[columns.A]\nfield = 'vin'",
            "line 2, `columns`: no column gives tested_at (when the test was made); say which column it is, or give it in [constants]",
        ),
    ];
    for (toml, expected) in cases {
        let error = error(toml);
        assert!(
            error.contains(expected),
            "{toml}\n  gave {error}\n  not  {expected}"
        );
    }
}

#[test]
fn columns_match_whatever_the_case_and_blanks() {
    let folder = Folder::with_mapping(
        &(SOUND.to_owned()
            + "[columns.R]\nfield = 'source_verdict'\n[columns.Notes]\nignore = true\n"),
    );
    let outcome = folder.read(
        "t.csv",
        format!(
            "r, CHASSIS ,when,notes,Extra\nok,{},2026-01-01,n,e\n",
            vin(1)
        ),
    );
    assert_eq!(outcome.count("battery_test"), 1);
    assert_eq!(outcome.summary().mapping_name(), "Bench");
    assert_eq!(
        outcome.summary().parts[0].remarks,
        ["columns not used: Extra"]
    );
}

#[test]
fn of_two_mappings_the_one_with_more_columns_is_taken() {
    let mut folder = Folder::with_mapping(SOUND);
    folder.add_mapping(
        &(SOUND.replace("Bench", "Bench and volts")
            + "[columns.Volts]\nfield = 'rest_voltage_v'\n"),
    );
    let outcome = folder.read(
        "t.csv",
        format!("Chassis,When,Volts\n{},2026-01-01,12.5\n", vin(1)),
    );
    assert_eq!(outcome.summary().mapping_name(), "Bench and volts");
}

#[test]
fn two_mappings_that_fit_alike_are_told_apart_by_file_name_or_refused() {
    let mut folder = Folder::with_mapping(SOUND);
    folder.add_mapping(&SOUND.replace("Bench", "Other bench"));
    let text = format!("Chassis,When\n{},2026-01-01\n", vin(1));
    let error = folder.error("t.csv", &text);
    assert!(
        error.contains("the mappings \"Bench\" and \"Other bench\" both fit"),
        "{error}"
    );
    folder.add_mapping(&SOUND.replace("\"Bench\"", "\"Third\"\nfiles = \"thr*.csv\""));
    assert_eq!(
        folder.read("three.csv", &text).summary().mapping_name(),
        "Third"
    );
}

#[test]
fn own_column_names_and_plain_synonyms_need_no_mapping() {
    let folder = Folder::new();
    let cases: &[(&str, &str)] = &[
        ("vin,seen_on,depot,in_service_date", "vehicle"),
        ("VIN,Seen On,Site,In service date,Odometer (mi)", "vehicle"),
        ("vin,tested_at,rest_voltage_v", "battery_test"),
        ("scan_id,vin,scanned_at,modules_asked", "code_scan"),
        (
            "scan_id,vin,scanned_at,odometer_km,module_address,code",
            "code_scan",
        ),
        ("scan_id,vin,scanned_at,module_address,code", "trouble_code"),
        (
            "scan_id,vin,scanned_at,module_address,spn,fmi,load_id,row_hash",
            "trouble_code",
        ),
        ("order_no,vin,opened_at,operation", "work_order"),
        ("depot,day,mean_temperature_c", "depot_weather"),
    ];
    for (header, kind) in cases {
        let outcome = folder.read("dump.csv", format!("{header}\n"));
        assert_eq!(outcome.summary().kind(), *kind, "{header}");
        assert_eq!(
            outcome.summary().parts[0].remarks,
            ["a header and no rows"],
            "{header}"
        );
    }
    let (_, result) = folder.try_read("dump.csv", "vin,colour\nx,y\n");
    assert!(matches!(
        result,
        Err(voltwane::intake::IntakeError::UnknownKind { .. })
    ));
}

#[test]
fn folders_are_walked_for_dumps_and_mappings() {
    let folder = Folder::new();
    for name in [
        "b/tests.csv",
        "a.csv.gz",
        "can.log",
        "truth.csv",
        ".hidden.csv",
        ".git/x.csv",
        "mappings/m.toml",
        "README.md",
    ] {
        folder.write(name, "x");
    }
    let found = find_files(&[folder.path().to_owned(), folder.path().join("b/tests.csv")]);
    let names = |paths: &[std::path::PathBuf]| -> Vec<String> {
        paths
            .iter()
            .map(|path| {
                path.strip_prefix(folder.path())
                    .unwrap()
                    .display()
                    .to_string()
            })
            .collect()
    };
    assert_eq!(names(&found.dumps), ["a.csv.gz", "b/tests.csv", "can.log"]);
    assert_eq!(names(&found.mappings), ["mappings/m.toml"]);
    let error = find_files(&[folder.path().join("gone")]).left_out.remove(0);
    assert!(
        error.to_string().contains("gone: cannot be read"),
        "{error}"
    );
}
