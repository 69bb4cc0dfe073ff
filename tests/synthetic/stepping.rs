//! A world lived week by week is the world of the ordinary dumps, and takes decisions from outside.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use voltwane::synthetic::{Habit, Orders, Place, Scenario, Task, Week, What, World, WorldName};

use super::{Fleet, number};

fn lived(scenario: &Scenario) -> (World, Vec<Week>) {
    let mut world = World::new(scenario).expect("a world");
    let mut weeks = Vec::new();
    while let Some(week) = world.step_week(&Orders::default()).expect("a week") {
        weeks.push(week);
    }
    (world, weeks)
}

/// Lines by file, headers left out.
type Lines = BTreeMap<PathBuf, Vec<Vec<u8>>>;

fn add_lines(lines: &mut Lines, path: PathBuf, bytes: &[u8]) {
    let rows = bytes.split(|byte| *byte == b'\n').skip(1);
    let rows = rows.filter(|row| !row.is_empty()).map(<[u8]>::to_vec);
    lines.entry(path).or_default().extend(rows);
}

fn sorted(mut lines: Lines) -> Lines {
    lines.values_mut().for_each(|rows| rows.sort());
    lines
}

/// Every line of the ordinary dumps comes in exactly one week, and the truth is the same to the byte.
#[test]
fn the_weeks_add_up_to_the_ordinary_dumps() {
    let mut habits = Habit::all();
    // A cut ends a file, and weekly files end elsewhere.
    habits.remove(&Habit::CutFiles);
    let kinds = [
        (WorldName::Smooth, BTreeSet::new()),
        (WorldName::UseWears, habits),
    ];
    for (name, habits) in kinds {
        let scenario = Scenario {
            world: name,
            habits,
            truth_every_weeks: 8,
            futures: 20,
            ..Scenario::new(40, 90, 19)
        };
        let fleet = Fleet::write(&scenario);
        let (world, weeks) = lived(&scenario);
        assert_eq!(weeks.len(), 90);
        let mut stepped = Lines::new();
        for week in &weeks {
            for (path, bytes) in &week.dumps {
                add_lines(&mut stepped, path.clone(), bytes);
            }
        }
        let mut ordinary = Lines::new();
        let mut mappings = BTreeMap::new();
        for entry in walkdir::WalkDir::new(fleet.folder.path()) {
            let entry = entry.expect("an entry");
            let path = entry.path();
            let below = path.strip_prefix(fleet.folder.path()).expect("below");
            if !entry.file_type().is_file() || below.ends_with("truth.csv") {
                continue;
            }
            let bytes = std::fs::read(path).expect("a file");
            if below.starts_with("mappings") {
                mappings.insert(below.to_owned(), bytes);
            } else {
                add_lines(&mut ordinary, below.to_owned(), &bytes);
            }
        }
        assert!(ordinary.len() > 40, "{} files", ordinary.len());
        let (stepped, ordinary) = (sorted(stepped), sorted(ordinary));
        assert!(stepped.keys().eq(ordinary.keys()), "{name:?}: other files");
        for (path, rows) in &ordinary {
            assert!(
                stepped[path] == *rows,
                "{name:?}: {} differs",
                path.display()
            );
        }
        assert_eq!(world.mappings().expect("mappings"), mappings);

        let mut truth = Vec::new();
        world.write_truth(&mut truth).expect("a truth");
        let file = std::fs::read(fleet.folder.path().join("truth.csv")).expect("a truth");
        assert!(truth == file, "{name:?}: another truth");
    }
}

/// The chances told on the way are those of the truth's rows.
#[test]
fn chances_on_the_way_are_those_of_the_truth() {
    for name in [WorldName::Smooth, WorldName::HeatCorrodes] {
        let scenario = Scenario {
            world: name,
            futures: 20,
            ..Scenario::new(25, 40, 17)
        };
        let fleet = Fleet::write(&scenario);
        let mut world = World::new(&scenario).expect("a world");
        let mut compared = 0;
        while let Some(week) = world.step_week(&Orders::default()).expect("a week") {
            let sunday = week.last_day.to_string();
            let chances: BTreeMap<Place, f64> = world.chances().into_iter().collect();
            let rows = fleet.truth("hazard").iter();
            let told: BTreeMap<Place, f64> = rows
                .filter(|row| row["ended"] == sunday)
                .map(|row| (place(&row["vin"], &row["position"]), number(row, "chance")))
                .collect();
            for (place, chance) in &chances {
                assert!(
                    (told[place] - chance).abs() < 1e-5,
                    "{name:?} {place:?} {sunday}"
                );
                compared += 1;
            }
        }
        assert!(compared > 500, "{compared}");
    }
}

#[test]
fn a_world_ends_with_its_last_week() {
    let mut world = World::new(&Scenario::new(3, 4, 2)).expect("a world");
    let mut left = Vec::new();
    loop {
        left.push(world.weeks_left());
        let week = world.step_week(&Orders::default()).expect("a week");
        let Some(week) = week else {
            break;
        };
        assert_eq!((week.last_day - week.first_day).num_days(), 6);
    }
    assert_eq!(left, [4, 3, 2, 1, 0]);
}

fn place(vin: &str, position: &str) -> Place {
    Place {
        vin: vin.to_owned(),
        position: position.to_owned(),
    }
}

/// An order is carried out in its week and stands in the dumps; no other vehicle notices.
#[test]
fn orders_are_carried_out_and_disturb_nobody_else() {
    let scenario = Scenario {
        world: WorldName::ColdReveals,
        truth_weeks: 0,
        ..Scenario::new(30, 30, 23)
    };
    let (_, undisturbed) = lived(&scenario);
    let here: BTreeSet<&str> = undisturbed
        .iter()
        .flat_map(|week| &week.happened)
        .map(|event| event.vin.as_str())
        .collect();
    let vin = (*here.first().expect("a vehicle with a history")).to_owned();

    let mut world = World::new(&scenario).expect("a world");
    let mut replaced = 0;
    for (number, before) in undisturbed.iter().enumerate() {
        let mut orders = Orders::default();
        if number == 10 {
            orders.special = vec![
                (place(&vin, "main"), Task::Replace),
                (place("GNOBODY", "main"), Task::Replace),
                (place(&vin, "third"), Task::Test),
            ];
        }
        let week = world.step_week(&orders).expect("a week").expect("a week");
        if number == 10 {
            assert_eq!(
                week.refused,
                [place("GNOBODY", "main"), place(&vin, "third")]
            );
            let of_order = |event: &&voltwane::synthetic::BatteryEvent| {
                event.vin == vin && event.what == What::ReplacedPlanned
            };
            let event = week.happened.iter().find(of_order).expect("a replacement");
            assert!(week.first_day <= event.day && event.day <= week.last_day);
            assert!(event.parts_cost > 0.0);
            let in_dumps = week.dumps.iter().any(|(path, bytes)| {
                path.starts_with("orders")
                    && String::from_utf8_lossy(bytes).contains(&event.order_no)
            });
            assert!(in_dumps, "{} stands in no dump", event.order_no);
            replaced += 1;
        } else {
            assert!(week.refused.is_empty());
        }
        let others = |week: &Week| -> Vec<_> {
            let others = week.happened.iter().filter(|event| event.vin != vin);
            others.cloned().collect()
        };
        assert_eq!(others(&week), others(before), "week {number}");
    }
    assert_eq!(replaced, 1);
}

/// A battery's luck of a week is its own: a test more somewhere does not change who fails.
#[test]
fn a_test_does_not_change_a_batterys_luck() {
    let scenario = Scenario {
        world: WorldName::ColdReveals,
        truth_weeks: 0,
        ..Scenario::new(150, 60, 29)
    };
    let (_, quiet) = lived(&scenario);
    let vins: BTreeSet<String> = quiet
        .iter()
        .flat_map(|week| &week.happened)
        .map(|event| event.vin.clone())
        .collect();
    // The shops' own planning would act on the added tests.
    let orders = Orders {
        special: vins
            .iter()
            .map(|vin| (place(vin, "main"), Task::Test))
            .collect(),
        shops_plan: false,
        ..Orders::default()
    };
    let no_plans = Orders {
        shops_plan: false,
        ..Orders::default()
    };
    let failures = |orders: &Orders| {
        let mut world = World::new(&scenario).expect("a world");
        let (mut failed, mut tested) = (BTreeSet::new(), 0);
        while let Some(week) = world.step_week(orders).expect("a week") {
            for event in &week.happened {
                match event.what {
                    What::Failed => {
                        failed.insert((event.vin.clone(), event.day));
                    }
                    What::Tested => tested += 1,
                    _ => {}
                }
            }
        }
        (failed, tested)
    };
    let ((without, few), (with, many)) = (failures(&no_plans), failures(&orders));
    assert!(many > 5 * few, "{many} tests against {few}");
    assert!(without.len() >= 8, "{} failures", without.len());
    let same = without.intersection(&with).count();
    assert!(
        same * 10 >= without.len() * 8,
        "{same} of {} failures are the same",
        without.len()
    );
}

#[test]
fn shops_that_may_not_plan_replace_no_sound_battery() {
    let scenario = Scenario {
        truth_weeks: 0,
        ..Scenario::new(150, 60, 31)
    };
    let planned = |shops_plan: bool| {
        let mut world = World::new(&scenario).expect("a world");
        let orders = Orders {
            shops_plan,
            ..Orders::default()
        };
        let mut planned = Vec::new();
        while let Some(week) = world.step_week(&orders).expect("a week") {
            let events = week.happened.iter();
            let events = events.filter(|event| event.what == What::ReplacedPlanned);
            planned.extend(events.map(|event| event.day));
        }
        planned
    };
    let (with, without) = (planned(true), planned(false));
    // What was planned before the first week is still done within the month that plans reach.
    let late = |days: &[chrono::NaiveDate]| {
        let first = chrono::NaiveDate::from_ymd_opt(2025, 6, 9).expect("a date");
        days.iter().filter(|day| **day > first).count()
    };
    assert!(late(&with) >= 5, "{}", late(&with));
    assert_eq!(late(&without), 0, "{without:?}");
}
