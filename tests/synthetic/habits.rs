//! Habits of real records: each stands in the dumps as intake reads them, with what is true beside it.
//!
//! Rows of tests and registers are spoilt now and then, so most of what the truth notes is asked for,
//! not all.

use std::collections::{BTreeMap, BTreeSet};

use voltwane::synthetic::{Habit, Scenario, WorldName};

use super::{Fleet, Loaded, Row, day, instant, load, number};

/// A fleet with these habits, its dumps as intake reads them.
struct Kept {
    fleet: Fleet,
    loaded: Loaded,
}

impl Kept {
    fn with(habits: &[Habit]) -> Kept {
        Kept::write(Scenario {
            habits: habits.iter().copied().collect(),
            truth_weeks: 0,
            ..Scenario::new(260, 120, 37)
        })
    }

    fn write(scenario: Scenario) -> Kept {
        let fleet = Fleet::write(&scenario);
        let loaded = load(fleet.folder.path());
        Kept { fleet, loaded }
    }

    fn noted(&self, habit: Habit) -> Vec<&Row> {
        let rows = self.fleet.truth("habit").iter();
        rows.filter(|row| row["what"] == habit.name()).collect()
    }

    fn table(&self, table: &str) -> &[Row] {
        &self.loaded.tables[table]
    }

    /// Lines of the order with that number.
    fn order(&self, vin: &str, order_no: &str) -> Vec<&Row> {
        let rows = self.table("work_order").iter();
        rows.filter(|row| row["vin"] == vin && row["order_no"] == order_no)
            .collect()
    }

    fn replaced(&self) -> BTreeMap<&str, &str> {
        let events = self.fleet.truth("event").iter();
        let replaced = events.filter(|row| row["what"].starts_with("replaced"));
        replaced
            .map(|row| (row["ids"].as_str(), row["what"].as_str()))
            .collect()
    }
}

/// Whether at least eight in ten hold.
fn most<T>(of: &[T], least: usize, mut holds: impl FnMut(&T) -> bool) -> bool {
    let held = of.iter().filter(|one| holds(one)).count();
    assert!(of.len() >= least, "only {} cases", of.len());
    held * 10 >= of.len() * 8
}

fn is(row: &Row, column: &str, value: &str) -> bool {
    row.get(column).is_some_and(|cell| cell == value)
}

#[test]
fn every_habit_has_a_name_and_a_meaning() {
    let mut names = BTreeSet::new();
    for (habit, name, meaning) in Habit::ALL {
        assert!(names.insert(name), "{name} twice");
        assert_eq!((Habit::named(name), habit.name()), (Some(habit), name));
        assert!(!meaning.is_empty());
    }
    assert_eq!(Habit::all().len(), Habit::ALL.len());
}

/// With every habit at once intake still refuses no more than what was spoilt and cut.
#[test]
fn dumps_with_every_habit_load() {
    let kept = Kept::write(Scenario {
        world: WorldName::UseWears,
        habits: Habit::all(),
        truth_weeks: 0,
        ..Scenario::new(500, 120, 38)
    });
    let summary = &kept.fleet.summary;
    let cut = kept.noted(Habit::CutFiles).len() as u64;
    let sound = summary.dirty["duplicate"] + summary.dirty["missing rating"];
    let spoilt = summary.n_dirty() - sound;
    // A file that was cut ends in a line that breaks off; one that has all its cells is a row.
    assert_eq!(kept.loaded.read + kept.loaded.unfinished, summary.n_rows());
    assert!(kept.loaded.unfinished <= cut);
    // A cut line may still read as a row, and typed slips can be refused as impossible.
    let slips = (kept.noted(Habit::MistypedRatings).len()
        + kept.noted(Habit::CorrectedTests).len()
        + kept.noted(Habit::MistypedYear).len() * 12) as u64;
    let refused = kept.loaded.quarantined;
    assert!(
        (spoilt.saturating_sub(cut)..=spoilt + cut + slips).contains(&refused),
        "{refused} refused, {spoilt} spoilt, {cut} files cut, {slips} slips"
    );
    for habit in Habit::all() {
        assert!(
            !kept.noted(habit).is_empty(),
            "{} has no truth",
            habit.name()
        );
    }
}

#[test]
fn silent_leavers_have_no_day_of_leaving() {
    let kept = Kept::with(&[Habit::SilentLeavers]);
    let told: BTreeSet<&str> = kept
        .table("vehicle")
        .iter()
        .filter(|row| row.contains_key("left_fleet_date"))
        .map(|row| row["vin"].as_str())
        .collect();
    let vehicles = kept.fleet.truth("vehicle");
    let of =
        |what: &str| -> Vec<&Row> { vehicles.iter().filter(|row| row["what"] == what).collect() };
    let (silent, left) = (of("left silently"), of("left"));
    assert!(silent.iter().all(|row| !told.contains(row["vin"].as_str())));
    assert!(most(&left, 8, |row| told.contains(row["vin"].as_str())));
    let share = silent.len() as f64 / (silent.len() + left.len()) as f64;
    assert!((0.3..0.7).contains(&share), "{share} leave silently");
}

#[test]
fn unnamed_auxiliaries_stand_in_tests_alone() {
    let kept = Kept::with(&[Habit::UnnamedAuxiliaries]);
    let auxiliary = |row: &&Row| is(row, "position", "auxiliary");
    assert_eq!(kept.table("work_order").iter().filter(auxiliary).count(), 0);
    assert!(kept.table("battery_test").iter().filter(auxiliary).count() > 50);
    let truth = kept.fleet.truth("battery");
    let kinds = |position: &str| -> BTreeMap<&str, (&str, &str)> {
        let rows = truth.iter().filter(|row| row["position"] == position);
        rows.map(|row| {
            (
                row["vin"].as_str(),
                (row["rating_value"].as_str(), row["group"].as_str()),
            )
        })
        .collect()
    };
    let (main, auxiliary) = (kinds("main"), kinds("auxiliary"));
    assert!(auxiliary.len() > 30);
    assert!(auxiliary.iter().all(|(vin, kind)| main[vin] != *kind));
}

#[test]
fn open_orders_come_again_when_closed() {
    let kept = Kept::with(&[Habit::OpenOrders]);
    let noted = kept.noted(Habit::OpenOrders);
    assert!(most(&noted, 100, |note| {
        let lines = kept.order(&note["vin"], &note["ids"]);
        let open = lines.iter().any(|line| !line.contains_key("closed_at"));
        let closed = lines.iter().any(|line| {
            line.get("closed_at")
                .is_some_and(|closed| day(closed) > day(&line["opened_at"]))
        });
        open && closed
    }));
}

#[test]
fn two_systems_have_one_job_under_two_numbers() {
    let kept = Kept::with(&[Habit::TwoSystems]);
    let noted = kept.noted(Habit::TwoSystems);
    assert!(most(&noted, 5, |note| {
        let (one, other) = (
            kept.order(&note["vin"], &note["ids"]),
            kept.order(&note["vin"], &note["told"]),
        );
        let (Some(one), [other]) = (one.first(), &other[..]) else {
            return false;
        };
        let apart = instant(&other["opened_at"]) - instant(&one["opened_at"]);
        apart.num_days() == 1 && is(other, "operation", "battery replaced")
    }));
}

#[test]
fn migrated_orders_come_again_under_new_numbers() {
    let kept = Kept::with(&[Habit::MigratedOrders]);
    let noted = kept.noted(Habit::MigratedOrders);
    let lines = |vin: &str, number: &str| -> BTreeSet<(String, String)> {
        let rows = kept.order(vin, number);
        rows.iter()
            .map(|row| (row["opened_at"].clone(), row["operation"].clone()))
            .collect()
    };
    assert!(most(&noted, 100, |note| {
        let old = lines(&note["vin"], &note["ids"]);
        !old.is_empty() && old == lines(&note["vin"], &note["told"])
    }));
}

#[test]
fn the_registers_day_of_the_battery_is_corrected_later() {
    let kept = Kept::with(&[Habit::CorrectedBatteryDates]);
    let noted = kept.noted(Habit::CorrectedBatteryDates);
    let days = |vin: &str| -> BTreeSet<&str> {
        let rows = kept.table("vehicle").iter().filter(|row| row["vin"] == vin);
        rows.filter_map(|row| row.get("battery_installed_on").map(String::as_str))
            .collect()
    };
    // The heavy register keeps no day of the battery.
    let noted: Vec<_> = noted
        .into_iter()
        .filter(|note| !days(&note["vin"]).is_empty())
        .collect();
    assert!(most(&noted, 10, |note| days(&note["vin"])
        .contains(note["told"].as_str())));
    assert!(noted.iter().all(|note| note["told"] != note["truly"]));
    let corrected = |note: &&&Row| days(&note["vin"]).contains(note["truly"].as_str());
    assert!(noted.iter().filter(corrected).count() * 2 > noted.len());
}

#[test]
fn date_only_orders_carry_no_time_of_day() {
    let kept = Kept::with(&[Habit::DateOnlyOrders]);
    let shops: BTreeSet<&str> = kept
        .noted(Habit::DateOnlyOrders)
        .iter()
        .map(|row| row["shop"].as_str())
        .collect();
    assert!(shops.iter().eq(&["Mervane", "Oxhelm"]), "{shops:?}");
    let mut times: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for row in kept.table("work_order") {
        let of_shop = times.entry(row["shop"].as_str()).or_default();
        of_shop.insert(&row["opened_at"][11..16]);
    }
    for (shop, times) in times {
        // Midnight of Berlin is 22:00 or 23:00 UTC, that of Phoenix 07:00.
        assert_eq!(times.len() <= 2, shops.contains(shop), "{shop}: {times:?}");
    }
}

#[test]
fn one_year_in_some_hundred_vehicles_is_mistyped() {
    let kept = Kept::with(&[Habit::MistypedYear]);
    let noted = kept.noted(Habit::MistypedYear);
    assert!((1..=3).contains(&noted.len()), "{}", noted.len());
    for note in noted {
        assert!(day(&note["truly"]) - day(&note["told"]) > chrono::Duration::days(7300));
        let lines = kept.order(&note["vin"], &note["ids"]);
        assert!(!lines.is_empty());
        for line in lines {
            let off = (day(&line["opened_at"]) - day(&note["told"])).num_days();
            assert!(off.abs() <= 1, "{line:?}");
        }
    }
}

#[test]
fn planned_changes_read_as_supply() {
    let kept = Kept::with(&[Habit::PlannedAsSupply]);
    let replaced = kept.replaced();
    let noted = kept.noted(Habit::PlannedAsSupply);
    assert!(most(&noted, 10, |note| {
        replaced[note["ids"].as_str()] == "replaced planned"
            && kept.order(&note["vin"], &note["ids"]).iter().any(|line| {
                is(line, "operation", "battery replaced")
                    && is(line, "complaint", "annual service")
                    && is(line, "cause", "supply")
            })
    }));
}

#[test]
fn alternator_jobs_read_as_charging() {
    let kept = Kept::write(Scenario {
        habits: [Habit::ChargingAlternator].into(),
        truth_weeks: 0,
        ..Scenario::new(400, 120, 37)
    });
    let replaced = kept.replaced();
    let noted = kept.noted(Habit::ChargingAlternator);
    assert!(most(&noted, 4, |note| {
        let lines = kept.order(&note["vin"], &note["ids"]);
        replaced[note["ids"].as_str()] == "replaced planned"
            && lines.iter().all(|line| is(line, "cause", "charging"))
            && lines.iter().any(|line| is(line, "operation", "other"))
    }));
}

#[test]
fn fit_batteries_are_tested_on_the_morning_of_their_change() {
    let kept = Kept::write(Scenario {
        habits: [Habit::FitTestSameMorning].into(),
        truth_weeks: 0,
        ..Scenario::new(400, 120, 37)
    });
    let replaced = kept.replaced();
    let noted = kept.noted(Habit::FitTestSameMorning);
    assert!(noted.len() >= 4, "{}", noted.len());
    let shown = noted.iter().filter(|note| {
        let at = instant(&note["happened_at"]);
        let mut tests = kept.table("battery_test").iter();
        let tested = tests.any(|test| {
            let after = instant(&test["tested_at"]) - at;
            test["vin"] == note["vin"] && (0..120).contains(&after.num_minutes())
        });
        tested && replaced[note["ids"].as_str()] == "replaced planned"
    });
    // Shops without a tester of that kind of battery still note the test.
    assert!(shown.count() * 10 >= noted.len() * 8);
}

#[test]
fn charged_batteries_are_no_failures() {
    let kept = Kept::write(Scenario {
        habits: [Habit::ChargedNotFailed].into(),
        truth_weeks: 0,
        ..Scenario::new(400, 120, 37)
    });
    let noted = kept.noted(Habit::ChargedNotFailed);
    assert!(most(&noted, 10, |note| {
        let lines = kept.order(&note["vin"], &note["ids"]);
        let call = lines
            .iter()
            .any(|line| is(line, "operation", "no-start call") && is(line, "cause", "supply"));
        call && lines
            .iter()
            .any(|line| is(line, "operation", "battery charged"))
    }));
    let tests_after: usize = noted
        .iter()
        .map(|note| {
            let at = instant(&note["happened_at"]);
            let tests = kept.table("battery_test").iter();
            tests
                .filter(|test| {
                    let after = instant(&test["tested_at"]) - at;
                    test["vin"] == note["vin"] && (0..45).contains(&after.num_days())
                })
                .count()
        })
        .sum();
    assert!(tests_after >= 2 * noted.len(), "{tests_after} tests");
    let events = kept.fleet.truth("event");
    assert!(most(&noted, 10, |note| {
        events.iter().any(|event| {
            event["vin"] == note["vin"]
                && event["happened_at"] == note["happened_at"]
                && event["what"] == "only discharged"
        })
    }));
}

#[test]
fn the_complaint_stands_on_another_line() {
    let kept = Kept::with(&[Habit::ComplaintOnAnotherLine]);
    let replaced = kept.replaced();
    let noted = kept.noted(Habit::ComplaintOnAnotherLine);
    assert!(most(&noted, 5, |note| {
        let lines = kept.order(&note["vin"], &note["ids"]);
        let bare = lines.iter().any(|line| {
            is(line, "operation", "battery replaced")
                && !line.contains_key("complaint")
                && !line.contains_key("cause")
        });
        let said = lines
            .iter()
            .any(|line| is(line, "complaint", &note["truly"]));
        replaced[note["ids"].as_str()] == "replaced failed" && bare && said
    }));
}

#[test]
fn calls_for_auxiliaries_do_not_say_which() {
    let kept = Kept::write(Scenario {
        world: WorldName::UseWears,
        habits: [Habit::NoStartWithoutPosition].into(),
        truth_weeks: 0,
        ..Scenario::new(300, 120, 37)
    });
    let noted = kept.noted(Habit::NoStartWithoutPosition);
    assert!(most(&noted, 5, |note| {
        let lines = kept.order(&note["vin"], &note["ids"]);
        let calls = lines
            .iter()
            .filter(|line| is(line, "operation", "no-start call"));
        note["truly"] == "auxiliary"
            && calls.clone().count() > 0
            && calls.into_iter().all(|line| !line.contains_key("position"))
    }));
    // The replacement itself still says so.
    let named =
        |row: &&Row| is(row, "operation", "battery replaced") && is(row, "position", "auxiliary");
    assert!(kept.table("work_order").iter().filter(named).count() > 5);
}

/// The same tests read higher in the cold where the tester allows for it: by 0.68 % a degree or so.
#[test]
fn compensated_testers_read_the_cold_away() {
    let by_test = |kept: &Kept| -> BTreeMap<(String, String), (f64, f64)> {
        let rows = kept.table("battery_test").iter();
        let rows = rows.filter(|row| is(row, "shop", "Corlund"));
        rows.filter(|row| row.contains_key("measured_value") && row.contains_key("temperature_c"))
            .map(|row| {
                let key = (row["vin"].clone(), row["tested_at"].clone());
                (
                    key,
                    (number(row, "measured_value"), number(row, "temperature_c")),
                )
            })
            .collect()
    };
    let plain = by_test(&Kept::with(&[]));
    let compensated = by_test(&Kept::with(&[Habit::CompensatedTesters]));
    let (mut cold, mut warm) = (Vec::new(), Vec::new());
    for (key, (value, temperature_c)) in &compensated {
        if let Some((before, _)) = plain.get(key) {
            if *temperature_c < 15.0 {
                cold.push(value / before);
            } else if (20.0..30.0).contains(temperature_c) {
                warm.push(value / before);
            }
        }
    }
    let mean = |ratios: &[f64]| ratios.iter().sum::<f64>() / ratios.len() as f64;
    assert!(
        cold.len() > 10 && warm.len() > 15,
        "{} {}",
        cold.len(),
        warm.len()
    );
    assert!(mean(&cold) > 1.05, "{}", mean(&cold));
    assert!((mean(&warm) - 1.0).abs() < 0.03, "{}", mean(&warm));
}

#[test]
fn ratings_are_mistyped() {
    let kept = Kept::with(&[Habit::MistypedRatings]);
    let noted = kept.noted(Habit::MistypedRatings);
    let typed: BTreeSet<(&str, &str)> = kept
        .table("battery_test")
        .iter()
        .filter_map(|row| Some((row["vin"].as_str(), row.get("rated_value")?.as_str())))
        .map(|(vin, rated)| (vin, rated.trim_end_matches(".0")))
        .collect();
    // A digit too many is more than any battery has, and refused; a half is read.
    let halves: Vec<_> = noted
        .iter()
        .filter(|note| number(note, "told") < number(note, "truly"))
        .collect();
    assert!(most(&halves, 5, |note| {
        typed.contains(&(note["vin"].as_str(), note["told"].as_str()))
    }));
    let tests = kept.table("battery_test").len();
    let share = noted.len() as f64 / tests as f64;
    assert!((0.007..0.03).contains(&share), "{share}");
}

#[test]
fn some_files_end_in_the_middle_of_a_line() {
    let kept = Kept::with(&[Habit::CutFiles]);
    let noted = kept.noted(Habit::CutFiles);
    assert!(noted.len() >= 4, "{} files", noted.len());
    for note in noted {
        let bytes = std::fs::read(kept.fleet.folder.path().join(&note["ids"])).expect("a file");
        let text = String::from_utf8_lossy(&bytes);
        let last = text.rsplit('\n').next().expect("a last line");
        assert!(!last.is_empty() && last.len() < note["truly"].len());
        assert!(
            note["truly"].starts_with(last),
            "{last} of {}",
            note["truly"]
        );
    }
}

#[test]
fn late_joiners_are_in_no_register_yet() {
    let kept = Kept::with(&[Habit::LateJoiners]);
    let known: BTreeSet<&str> = kept
        .table("vehicle")
        .iter()
        .map(|row| row["vin"].as_str())
        .collect();
    let noted = kept.noted(Habit::LateJoiners);
    assert!(!noted.is_empty());
    assert!(
        noted
            .iter()
            .all(|note| !known.contains(note["vin"].as_str()))
    );
    let worked_on: BTreeSet<&str> = kept
        .table("work_order")
        .iter()
        .map(|row| row["vin"].as_str())
        .collect();
    assert!(worked_on.iter().any(|vin| !known.contains(vin)));
}

#[test]
fn tests_are_corrected_at_the_same_instant() {
    let kept = Kept::with(&[Habit::CorrectedTests]);
    let noted = kept.noted(Habit::CorrectedTests);
    let twice = noted.iter().filter(|note| {
        let rows = kept.table("battery_test").iter();
        let values: BTreeSet<&str> = rows
            .filter(|row| {
                row["vin"] == note["vin"]
                    && instant(&row["tested_at"]) == instant(&note["happened_at"])
            })
            .filter_map(|row| row.get("measured_value").map(String::as_str))
            .collect();
        values.len() == 2
    });
    assert!(noted.len() >= 10, "{}", noted.len());
    assert!(twice.count() * 10 >= noted.len() * 8);
}
