use std::collections::BTreeSet;
use std::path::Path;

use super::*;

fn parse(text: &str) -> Result<Settings, String> {
    Settings::parse(text, Path::new("voltwane.toml")).map_err(|error| error.to_string())
}

#[test]
fn a_map_given_in_part_keeps_the_defaults_of_the_rest() {
    let usual = Settings::default();
    let settings = parse("[cost.planned_by_chemistry]\nAGM = 410\n").expect("right");
    assert_eq!(settings.cost.planned(Some("AGM")), 410.0);
    for chemistry in ["flooded", "gel", "lithium"] {
        assert_eq!(
            settings.cost.planned(Some(chemistry)),
            usual.cost.planned(Some(chemistry)),
            "{chemistry}"
        );
    }
    assert_eq!(
        settings.cost.unplanned_failure,
        usual.cost.unplanned_failure
    );
}

#[test]
fn a_value_out_of_its_bound_is_told_with_its_key_bound_and_line() {
    for (text, parts) in [
        (
            "[test]\n# share\nworn_below = 70\n",
            ["line 3", "test.worn_below is 70", "from 0.05 to 1", "share"],
        ),
        (
            "[plan]\nbays_per_week = -1\n",
            ["line 2", "plan.bays_per_week is -1", "from 0 to", "visits"],
        ),
        (
            "[plan.depots.Yard]\nbudget_per_week = nan\n",
            [
                "line 2",
                "plan.depots.Yard.budget_per_week is nan",
                "from 0",
                "money",
            ],
        ),
        (
            "[cost.planned_by_chemistry]\nAGM = 0\n",
            [
                "line 2",
                "cost.planned_by_chemistry.AGM is 0",
                "above 0",
                "money",
            ],
        ),
        (
            "[run]\nhorizon_days = 56.5\n",
            ["line 2", "run.horizon_days is 56.5", "whole number", "days"],
        ),
        (
            "[run]\nobservation_start = 'May'\n",
            [
                "line 2",
                "run.observation_start is 'May'",
                "a day such as",
                "2025",
            ],
        ),
        (
            "[plan]\nbays_per_weak = 3\n",
            [
                "line 2",
                "plan.bays_per_weak",
                "did you mean",
                "bays_per_week?",
            ],
        ),
        (
            "[plan]\nbays_per_week = 3\n[plans]\n",
            ["line 3", "plans is not", "did you mean", "plan?"],
        ),
    ] {
        let error = parse(text).expect_err(text);
        for part in parts {
            assert!(error.contains(part), "{part:?} in {error:?}");
        }
        assert!(error.contains("voltwane.toml"), "{error}");
    }
}

#[test]
fn all_that_is_wrong_is_told_at_once() {
    let error = parse("[test]\nworn_below = 70\n[plan]\nbays_per_week = -1\n").expect_err("wrong");
    assert!(
        error.contains("line 2") && error.contains("line 4"),
        "{error}"
    );
}

#[test]
fn every_default_lies_within_its_own_bound() {
    let text = toml::to_string(&Settings::default()).expect("plain values");
    let settings = parse(&text).expect("defaults are right");
    assert_eq!(settings.list().len(), Settings::default().list().len());
    assert!(
        settings.unedited_prices().is_empty(),
        "all were written down"
    );
}

#[test]
fn names_of_options_are_unique_so_that_each_is_one_parameter() {
    let parameters = || OPTIONS.iter().filter(|option| option.is_parameter());
    let names: BTreeSet<&str> = parameters().map(|option| option.name).collect();
    assert_eq!(names.len(), parameters().count());
    assert!(!names.contains("as_of"));
}

#[test]
fn every_option_has_a_meaning_and_every_number_a_unit() {
    for option in OPTIONS {
        assert!(option.meaning().ends_with('.'), "{}", option.key());
        let counts = matches!(option.bound, Bound::Whole(..) | Bound::Number(..));
        assert!(!counts || !option.unit.is_empty(), "{}", option.key());
    }
}

#[test]
fn the_list_says_where_each_value_comes_from() {
    let settings =
        parse("[run]\nsilent_days = 21\n[plan.depots.'North Yard']\nbays_per_week = 2\n")
            .expect("right");
    let list = settings.list();
    let of = |key: &str| list.iter().find(|value| value.key == key).expect("listed");
    let given = of("run.silent_days");
    assert_eq!(
        (given.value.as_str(), given.default.as_deref()),
        ("21", Some("14"))
    );
    assert_eq!(
        given.given.as_ref().expect("given").to_string(),
        "voltwane.toml, line 2"
    );
    assert!(of("run.trouble_days").given.is_none());
    assert_eq!(of("plan.depots.North Yard.bays_per_week").value, "2");
    assert_eq!(of("risk.ridge").value, "not given");
    assert_eq!(settings.plan.limits("North Yard"), (2, 2_500.0));
    assert_eq!(settings.plan.limits("South Yard"), (6, 2_500.0));
}

#[test]
fn prices_that_nobody_set_are_known() {
    let settings =
        parse("[cost]\nunplanned_failure = 900\nplanned_by_chemistry.AGM = 300\n").expect("right");
    let unedited = settings.unedited_prices();
    assert!(unedited.contains(&"cost.planned_replacement".to_owned()));
    assert!(unedited.contains(&"cost.planned_by_chemistry.flooded".to_owned()));
    assert!(!unedited.contains(&"cost.unplanned_failure".to_owned()));
    assert!(!unedited.contains(&"cost.planned_by_chemistry.AGM".to_owned()));
    assert!(!unedited.contains(&"cost.battery_life_months".to_owned()));
}

#[test]
fn a_replacement_dearer_than_a_failure_is_said() {
    assert!(Settings::default().warnings().is_empty());
    let settings = parse("[cost]\nunplanned_failure = 300\n").expect("allowed");
    let warnings = settings.warnings();
    assert_eq!(warnings.len(), 3, "AGM, gel, lithium: {warnings:?}");
    assert!(
        warnings[0].contains("cost.planned_by_chemistry.AGM is 320 (the default)")
            && warnings[0].contains("300 (given in voltwane.toml, line 2)")
            && warnings[0].contains("never replaced before they fail"),
        "{warnings:?}"
    );
}
