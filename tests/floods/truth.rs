//! What is found in invented fleets, and what the fleets' truth says.
//!
//! Truth and findings meet in sessions: a flood of the truth is found when a reported session holds
//! one of the scans that showed it, and a reported session is right when it holds a scan of some true
//! flood. Floods that no scan showed cannot be found and do not count.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use serde_json::Value;
use voltwane::synthetic::{Scenario, write_dumps};

use crate::workplace::{Workplace, number};

const CAUSES: [&str; 5] = [
    "supply",
    "network",
    "reprogramming",
    "scan artefact",
    "unexplained",
];

type Row = BTreeMap<String, String>;
/// A vehicle and the number of one of its sessions.
type Session = (String, i64);

/// A fleet that is loaded, and its truth.
struct Fleet {
    place: Workplace,
    truth: Vec<Row>,
}

impl Fleet {
    fn new(scenario: &Scenario) -> Self {
        let place = Workplace::new();
        let dumps = place.path().join("dumps");
        write_dumps(scenario, &dumps, true, &mut |_, _| {}).expect("a fleet is written");
        let truth = csv::Reader::from_path(dumps.join("truth.csv"))
            .expect("a truth")
            .deserialize()
            .collect::<Result<_, _>>()
            .expect("rows of the truth");
        // Proof as the truth has it; some rows are spoilt, which the exit code says.
        place.write(
            "lake/voltwane.toml",
            "[recovery]\nproven_days = 14\nproven_km = 500.0\n",
        );
        place.run(&["load", "--lake", "lake", "dumps"]);
        Self { place, truth }
    }

    fn sql(&self, query: &str) -> Vec<Value> {
        self.place.sql(&[], query)
    }

    fn truth(&self, record: &str) -> impl Iterator<Item = &Row> {
        self.truth.iter().filter(move |row| row["record"] == record)
    }

    /// Which session each scan fell into.
    fn sessions(&self) -> BTreeMap<String, Session> {
        self.sql("SELECT scan_id, vin, session_no FROM scan_session")
            .iter()
            .map(|row| (text(row, "scan_id"), session(row)))
            .collect()
    }
}

/// How findings and truth agree.
struct Agreement {
    floods: usize,
    found: usize,
    reported: usize,
    right: usize,
    /// By true and by told cause.
    causes: BTreeMap<(&'static str, String), usize>,
}

impl Agreement {
    fn of(fleet: &Fleet) -> Self {
        let sessions = fleet.sessions();
        let told: BTreeMap<Session, String> = fleet
            .sql("SELECT vin, session_no, cause FROM code_flood")
            .iter()
            .map(|row| (session(row), text(row, "cause")))
            .collect();
        let mut truly: BTreeMap<&Session, BTreeSet<&'static str>> = BTreeMap::new();
        let (mut floods, mut found) = (0, 0);
        for flood in fleet.truth("flood") {
            let cause = CAUSES
                .into_iter()
                .find(|cause| *cause == flood["what"])
                .expect("a known cause");
            let shown: Vec<&Session> = flood["ids"]
                .split_whitespace()
                .filter_map(|scan| sessions.get(scan))
                .collect();
            floods += usize::from(!shown.is_empty());
            found += usize::from(shown.iter().any(|session| told.contains_key(session)));
            for session in shown {
                truly.entry(session).or_default().insert(cause);
            }
        }
        let mut causes = BTreeMap::new();
        let mut right = 0;
        for (session, cause) in &told {
            let Some(true_causes) = truly.get(session) else {
                continue;
            };
            right += 1;
            let truth = true_causes
                .iter()
                .find(|truth| **truth == cause)
                .or(true_causes.first())
                .expect("a cause");
            *causes.entry((*truth, cause.clone())).or_default() += 1;
        }
        Self {
            floods,
            found,
            reported: told.len(),
            right,
            causes,
        }
    }

    fn recall(&self) -> f64 {
        self.found as f64 / self.floods as f64
    }

    fn precision(&self) -> f64 {
        self.right as f64 / self.reported as f64
    }

    fn macro_f1(&self) -> f64 {
        let sum = |keep: &dyn Fn(&str, &str) -> bool| {
            self.causes
                .iter()
                .filter(|((truth, told), _)| keep(truth, told))
                .map(|(_, times)| *times)
                .sum::<usize>() as f64
        };
        // A cause that neither came nor was told says nothing.
        let f1: Vec<f64> = CAUSES
            .iter()
            .filter_map(|cause| {
                let came = sum(&|truth, told| truth == *cause || told == *cause);
                let hits = sum(&|truth, told| truth == *cause && told == *cause);
                (came > 0.0).then(|| 2.0 * hits / (came + hits))
            })
            .collect();
        f1.iter().sum::<f64>() / f1.len() as f64
    }
}

fn text(row: &Value, name: &str) -> String {
    row[name].as_str().unwrap_or_default().to_owned()
}

fn session(row: &Value) -> Session {
    let number = row["session_no"].as_i64().expect("a session number");
    (text(row, "vin"), number)
}

static FLEET: LazyLock<Fleet> = LazyLock::new(|| Fleet::new(&Scenario::new(350, 156, 5)));

#[test]
fn floods_are_found_and_nothing_else_is() {
    let agreement = Agreement::of(&FLEET);
    assert!(agreement.floods > 100, "{} floods", agreement.floods);
    assert!(agreement.recall() >= 0.95, "recall {}", agreement.recall());
    assert!(
        agreement.precision() >= 0.95,
        "precision {}",
        agreement.precision()
    );
    assert!(
        agreement.macro_f1() >= 0.9,
        "macro F1 {}: {:?}",
        agreement.macro_f1(),
        agreement.causes
    );
}

#[test]
fn heavy_vehicles_take_part() {
    let heavy = FLEET.sql(
        "SELECT f.vin, f.session_no, f.supply_codes, f.lost_codes, f.cause FROM code_flood f
         JOIN session_code c ON c.vin = f.vin AND c.session_no = f.session_no AND c.code LIKE 'SPN%'
         GROUP BY f.vin, f.session_no, f.supply_codes, f.lost_codes, f.cause",
    );
    assert!(!heavy.is_empty(), "no flood of SPN and FMI codes");
    let of_supply: Vec<&Value> = heavy
        .iter()
        .filter(|row| row["cause"] == "supply")
        .collect();
    assert!(!of_supply.is_empty(), "none put down to the supply");
    for row in of_supply {
        assert!(row["supply_codes"].as_i64() > Some(0), "{row}");
    }
}

/// Half the codes, half the modules asked, half the habits: nothing of it is built into the finding.
#[test]
fn halved_floods_scans_and_habits_do_not_break_it() {
    let half = |change: fn(&mut Scenario)| {
        let mut scenario = Scenario::new(250, 104, 9);
        change(&mut scenario);
        Agreement::of(&Fleet::new(&scenario))
    };
    for (what, agreement) in [
        ("flood size", half(|s| s.flood_size_factor = 0.5)),
        ("scan breadth", half(|s| s.scan_breadth_factor = 0.5)),
        ("shop habits", half(|s| s.shop_habit_factor = 0.5)),
    ] {
        assert!(agreement.floods > 20, "{what}: {} floods", agreement.floods);
        assert!(
            agreement.recall() >= 0.95,
            "{what}: recall {}",
            agreement.recall()
        );
        assert!(
            agreement.precision() >= 0.95,
            "{what}: precision {}",
            agreement.precision()
        );
        assert!(
            agreement.macro_f1() >= 0.9,
            "{what}: macro F1 {}",
            agreement.macro_f1()
        );
    }
}

#[test]
fn every_flood_tells_its_evidence() {
    let silent = FLEET.sql(
        "SELECT vin FROM code_flood
         WHERE evidence IS NULL OR cause_weight <= 0 OR cause_lead < 0 OR p_value > adjusted",
    );
    assert!(silent.is_empty(), "{silent:?}");
    for flood in FLEET.sql("SELECT vin, cause, cause_weight, evidence FROM code_flood") {
        let weight: f64 = flood["evidence"]
            .as_array()
            .expect("a list")
            .iter()
            .filter(|piece| piece["cause"] == flood["cause"])
            .map(|piece| number(piece, "weight"))
            .sum();
        let all = number(&flood, "cause_weight");
        assert!((weight - all).abs() < 1e-9, "{weight} of {all}: {flood}");
    }
}

#[test]
fn latched_codes_are_the_planted_ones() {
    let planted: BTreeSet<String> = FLEET
        .truth("latched")
        .map(|row| {
            format!(
                "{} {} {} {}",
                row["make"], row["model"], row["module"], row["code"]
            )
        })
        .collect();
    let rows = FLEET.sql(
        "SELECT make || ' ' || model || ' ' || module_address || ' ' || code AS name, clears, survived, latched
         FROM latched_code WHERE clears >= 5",
    );
    let (mut found, mut looked) = (0, 0);
    for row in &rows {
        let name = text(row, "name");
        looked += 1;
        assert_eq!(
            row["latched"].as_bool(),
            Some(planted.contains(&name)),
            "{row}"
        );
        if planted.contains(&name) {
            found += 1;
            assert!(number(row, "survived") > 0.0, "{row}");
        }
    }
    assert!(found >= 5 && looked > 50, "{found} of {looked}");
}

#[test]
fn companions_are_the_planted_ones() {
    let planted: BTreeSet<String> = FLEET
        .truth("companion")
        .map(|row| {
            format!(
                "{} {} {} {}",
                row["make"], row["model"], row["module"], row["code"]
            )
        })
        .collect();
    let told = FLEET.sql(
        "SELECT make || ' ' || model || ' ' || module_address || ' ' || code AS name
         FROM companion_code WHERE companion",
    );
    assert!(told.len() >= 3, "{told:?}");
    for row in told {
        assert!(planted.contains(&text(&row, "name")), "{row}");
    }
}

#[test]
fn recovery_steps_have_their_days() {
    let mut truth: BTreeMap<(String, String), BTreeMap<&str, String>> = BTreeMap::new();
    for step in FLEET.truth("recovery") {
        truth
            .entry((step["vin"].clone(), step["case"].clone()))
            .or_default()
            .insert(step["what"].as_str(), step["happened_at"][..10].to_owned());
    }
    let told: BTreeMap<(String, String), Value> = FLEET
        .sql("SELECT * FROM recovery_case")
        .into_iter()
        .map(|row| ((text(&row, "vin"), text(&row, "opened_on")), row))
        .collect();
    let (mut steps, mut same) = (0, 0);
    for ((vin, _), case) in &truth {
        let Some(row) = told.get(&(vin.clone(), case["opened"].clone())) else {
            steps += case.len();
            continue;
        };
        for (what, column) in [
            ("opened", "opened_on"),
            ("supply tested", "supply_tested_on"),
            ("supply restored", "supply_restored_on"),
            ("codes saved", "codes_saved_on"),
            ("codes cleared", "codes_cleared_on"),
            ("latched codes cleared", "latched_cleared_on"),
            ("proven", "proven_on"),
        ] {
            let day = case.get(what).cloned().unwrap_or_default();
            steps += 1;
            same += usize::from(day == text(row, column));
        }
    }
    assert!(truth.len() > 80, "{} cases", truth.len());
    assert!(
        same * 100 >= steps * 98,
        "{same} of {steps} steps have the true day"
    );
}
