//! What a user is shown of the settings, and what of it is taken back.

use super::place_with_lake;
use crate::workplace::Workplace;

#[test]
fn what_is_printed_is_itself_a_configuration() {
    let place = Workplace::new();
    let printed = place.run_expecting(0, &["settings"]);
    assert!(
        printed.contains("# Chances are chances of failing within this time."),
        "{printed}"
    );
    assert!(printed.contains("# horizon_days = 56"), "{printed}");
    // With every value let in, it says the same again, each value as given.
    let edited: String = printed
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(value)
                if value
                    .split_once(" = ")
                    .is_some_and(|(key, value)| !key.contains(' ') && !value.starts_with(" ")) =>
            {
                format!("{value}\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    place.write("edited.toml", edited);
    let again = place.run_expecting(
        0,
        &["settings", "--config", "edited.toml", "--format", "csv"],
    );
    let rows = again.lines().skip(1);
    for row in rows {
        let given = row.contains("edited.toml, line ") || row.contains("not given");
        assert!(given || row.starts_with("plan.depots"), "{row}");
    }
}

#[test]
fn a_lakes_own_values_are_shown_with_file_and_line() {
    let place = place_with_lake();
    place.write("lake/voltwane.toml", "[plan]\n\nbays_per_week = 3\n");
    let printed = place.run_expecting(0, &["settings", "--lake", "lake"]);
    let line = printed
        .lines()
        .find(|line| line.starts_with("bays_per_week = 3"))
        .expect("in force");
    assert!(
        line.contains("voltwane.toml, line 3") && line.contains("default 6"),
        "{line}"
    );
}

#[test]
fn a_price_that_turns_the_plan_on_its_head_is_said() {
    let place = Workplace::new();
    place.write("dear.toml", "[cost]\nplanned_replacement = 2000\n");
    let output = place.run(&["settings", "--config", "dear.toml"]);
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("cost.planned_replacement is 2000") && said.contains("never replaced"),
        "{said}"
    );
}

#[test]
fn a_value_out_of_bounds_stops_every_command_that_reads_it() {
    let place = place_with_lake();
    place.write("lake/voltwane.toml", "[test]\nworn_below = 70\n");
    let output = place.run(&["weekly", "--lake", "lake"]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr);
    for part in [
        "voltwane.toml",
        "line 2",
        "test.worn_below is 70",
        "from 0.05 to 1",
    ] {
        assert!(said.contains(part), "{part:?} in {said}");
    }
}
