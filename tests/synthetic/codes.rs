//! Floods by cause, latched codes and companion codes, in the dumps as intake reads them.

use std::collections::{BTreeMap, BTreeSet};

use super::{DEMO, Fleet, LARGE, LOADED_LARGE, Row, instant};
use voltwane::synthetic::Scenario;

/// Pairs of module and code, by scan.
fn codes_by_scan() -> BTreeMap<&'static str, BTreeSet<(&'static str, &'static str)>> {
    let mut scans: BTreeMap<&str, BTreeSet<(&str, &str)>> = BTreeMap::new();
    for row in &LOADED_LARGE.tables["trouble_code"] {
        scans
            .entry(&row["scan_id"])
            .or_default()
            .insert((&row["module_address"], &row["code"]));
    }
    scans
}

#[test]
fn every_cause_of_floods_occurs_even_in_the_demo() {
    for fleet in [&DEMO, &LARGE] {
        let causes: BTreeSet<String> = fleet
            .truth("flood")
            .iter()
            .map(|row| row["what"].clone())
            .collect();
        let all = [
            "network",
            "reprogramming",
            "scan artefact",
            "supply",
            "unexplained",
        ];
        assert!(causes.iter().eq(&all), "{causes:?}");
    }
}

/// A scan that the truth lists shows at least six codes in three modules; few others show as many.
#[test]
fn floods_stand_out_of_the_scans() {
    let scans = codes_by_scan();
    let large = |id: &str| {
        scans.get(id).is_some_and(|codes| {
            let modules: BTreeSet<_> = codes.iter().map(|(module, _)| module).collect();
            codes.len() >= 6 && modules.len() >= 3
        })
    };
    let floods = LARGE.truth("flood");
    let listed: BTreeSet<&str> = floods
        .iter()
        .filter_map(|row| row.get("ids"))
        .flat_map(|ids| ids.split(' '))
        .collect();
    assert!(listed.len() > 1000, "{} scans", listed.len());
    assert!(listed.iter().all(|id| large(id)));
    let others = scans
        .keys()
        .filter(|id| !listed.contains(*id) && large(id))
        .count();
    assert!(
        others * 300 < LOADED_LARGE.tables["code_scan"].len(),
        "{others} scans of many codes without a flood"
    );
}

#[test]
fn the_supply_is_low_in_most_supply_floods_and_in_no_other() {
    let voltage: BTreeMap<&str, f64> = LOADED_LARGE.tables["code_scan"]
        .iter()
        .filter_map(|row| {
            Some((
                row["scan_id"].as_str(),
                row.get("supply_voltage_v")?.parse().ok()?,
            ))
        })
        .collect();
    let mut low: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for row in LARGE.truth("flood") {
        let first = row.get("ids").and_then(|ids| ids.split(' ').next());
        if let Some(volts) = first.and_then(|id| voltage.get(id)) {
            let count = low.entry(row["what"].clone()).or_default();
            count.0 += usize::from(*volts < 11.9);
            count.1 += 1;
        }
    }
    let share = |cause: &str| low[cause].0 as f64 / low[cause].1 as f64;
    assert!((0.55..0.95).contains(&share("supply")), "{low:?}");
    for cause in ["network", "reprogramming", "scan artefact", "unexplained"] {
        assert!(share(cause) < 0.1, "{low:?}");
    }
}

#[test]
fn the_flood_factor_halves_floods() {
    let mean_size = |factor: f64| {
        let mut scenario = Scenario::new(500, 104, 9);
        scenario.flood_size_factor = factor;
        let fleet = Fleet::write(&scenario);
        let floods = fleet.truth("flood").len() as f64;
        fleet.summary.rows["code_scan"] as f64 / floods
    };
    let (half, whole) = (mean_size(0.5), mean_size(1.0));
    assert!(half < 0.85 * whole, "{half} lines a flood against {whole}");
}

/// A clear or a scan, in the order of time.
enum Step<'a> {
    Clear { protected: bool },
    Scan(&'a str),
}

/// What a vehicle's scans and clears say, by time. A clear happens between the scans of its order:
/// the first is before it, the rest after.
fn steps(
    orders: &[&'static Row],
    scans: &[&'static Row],
) -> Vec<(chrono::NaiveDateTime, Step<'static>)> {
    let mut steps = Vec::new();
    for scan in scans {
        steps.push((instant(&scan["scanned_at"]), Step::Scan(&scan["scan_id"])));
    }
    for order in orders {
        let (opened, closed) = (instant(&order["opened_at"]), instant(&order["closed_at"]));
        let inside = scans
            .iter()
            .map(|scan| instant(&scan["scanned_at"]))
            .filter(|at| (opened..=closed).contains(at));
        let protected = order["operation"] == "protected clear";
        if let Some(first) = inside.min() {
            steps.push((
                first + chrono::Duration::seconds(1),
                Step::Clear { protected },
            ));
        }
    }
    steps.sort_by_key(|(at, _)| *at);
    steps
}

/// A protected code that was there before a clear is there in the scan after a plain one, and gone
/// after the protected one.
#[test]
fn protected_codes_stay_until_the_protected_clear() {
    let scans = codes_by_scan();
    let mut models: BTreeMap<&str, (&str, &str)> = BTreeMap::new();
    for row in &LOADED_LARGE.tables["vehicle"] {
        models.insert(&row["vin"], (&row["make"], &row["model"]));
    }
    let mut orders: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in &LOADED_LARGE.tables["work_order"] {
        if ["codes cleared", "protected clear"].contains(&row["operation"].as_str()) {
            orders.entry(&row["vin"]).or_default().push(row);
        }
    }
    let mut readings: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in &LOADED_LARGE.tables["code_scan"] {
        readings.entry(&row["vin"]).or_default().push(row);
    }
    let latched = LARGE.truth("latched");
    let protected: Vec<&Row> = latched
        .iter()
        .filter(|row| row["what"] == "protected")
        .collect();
    assert!(protected.len() >= 6, "{} protected codes", protected.len());

    // Kept and all, after the plain clear and after the protected one.
    let (mut plain, mut special) = ((0, 0), (0, 0));
    for (vin, orders) in &orders {
        let Some((make, model)) = models.get(vin) else {
            continue;
        };
        let Some(code) = protected
            .iter()
            .find(|row| row["make"] == *make && row["model"] == *model)
        else {
            continue;
        };
        let code = (code["module"].as_str(), code["code"].as_str());
        let shows = |id: &str| scans.get(id).is_some_and(|codes| codes.contains(&code));
        let steps = steps(orders, readings.get(vin).map_or(&[][..], Vec::as_slice));
        for three in steps.windows(3) {
            if let [
                (_, Step::Scan(before)),
                (at, Step::Clear { protected }),
                (later, Step::Scan(after)),
            ] = three
            {
                let same_visit = (*later - *at).num_hours() < 3;
                if same_visit && shows(before) {
                    let count = if *protected { &mut special } else { &mut plain };
                    count.0 += usize::from(shows(after));
                    count.1 += 1;
                }
            }
        }
    }
    assert!(plain.1 > 50 && special.1 > 20, "{plain:?} {special:?}");
    assert!(
        plain.0 as f64 >= 0.9 * plain.1 as f64,
        "{plain:?} stayed after a plain clear"
    );
    assert_eq!(special.0, 0, "{special:?} stayed after the protected clear");
}

#[test]
fn a_companion_code_hardly_ever_comes_alone() {
    let companions = LARGE.truth("companion");
    let known: BTreeSet<(&str, &str)> = companions
        .iter()
        .map(|row| (row["module"].as_str(), row["code"].as_str()))
        .collect();
    let (mut alone, mut all) = (0, 0);
    for codes in codes_by_scan().values() {
        if codes.iter().any(|code| known.contains(code)) {
            all += 1;
            alone += usize::from(codes.len() == 1);
        }
    }
    assert!(all > 500, "{all}");
    assert!(alone * 10 < all, "{alone} of {all} alone");
}
