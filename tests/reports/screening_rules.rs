//! The screening's own arithmetic: exact ranges of cost, likelihood ratios by hand.

use voltwane::report::screen::{
    Fault, Item, Trouble, chance_of_traction, likelihood_ratio, outlook, read_inventory,
};

use crate::workplace::{Workplace, assert_close};

fn item(chance: f64, cost: f64) -> Item {
    Item {
        words: String::new(),
        chance,
        cost,
        check: None,
    }
}

#[test]
fn the_cost_of_nothing_is_nothing() {
    let cost = outlook(&[]);
    assert_eq!((cost.expected, cost.lower, cost.upper), (0.0, 0.0, 0.0));
}

/// By hand: 0 with 0.9 x 0.5, 100 with 0.1 x 0.5, 40 with 0.9 x 0.5, 140 with 0.1 x 0.5.
#[test]
fn every_combination_is_weighed() {
    let cost = outlook(&[item(0.1, 100.0), item(0.5, 40.0)]);
    assert_close(cost.expected, 30.0, 1e-12, "mean");
    assert_eq!((cost.lower, cost.upper), (0.0, 140.0));
    let sure = outlook(&[item(1.0, 260.0), item(0.02, 900.0)]);
    assert_close(sure.expected, 278.0, 1e-12, "mean");
    // One chance in fifty lies inside the 2.5 % left above.
    assert_eq!((sure.lower, sure.upper), (260.0, 260.0));
}

fn trouble(number: usize, cause: &str, bad_test: Option<bool>) -> Trouble {
    Trouble {
        vin: format!("vehicle {number}"),
        opened_on: "2026-01-01".to_owned(),
        cause: cause.to_owned(),
        bad_test,
        low_supply: None,
        supply_codes: None,
        many_silent: None,
    }
}

/// Eight of nine supply cases and one of four traction cases had a bad battery; with half a case added
/// to each count the ratio is (8.5 / 10) / (1.5 / 5).
#[test]
fn a_sign_weighs_by_how_much_oftener_it_is_seen() {
    let mut cases: Vec<Trouble> = (0..9)
        .map(|number| trouble(number, "supply", Some(number > 0)))
        .collect();
    cases.extend((9..13).map(|number| trouble(number, "traction battery", Some(number == 9))));
    // A case nobody tested says nothing.
    cases.push(trouble(13, "supply", None));
    let case = trouble(99, "traction battery", Some(true));
    cases.push(case.clone());
    let ratio = likelihood_ratio(&case, &cases).expect("a sign");
    assert_close(ratio.ratio, (8.5 / 10.0) / (1.5 / 5.0), 1e-12, "ratio");
    let spread: f64 = 1.0 / 8.5 - 1.0 / 10.0 + 1.0 / 1.5 - 1.0 / 5.0;
    let reach = 1.96 * spread.sqrt();
    assert_close(ratio.upper, ratio.ratio * reach.exp(), 1e-12, "upper");
    assert_close(ratio.lower, ratio.ratio / reach.exp(), 1e-12, "lower");
    assert_eq!((ratio.supply_cases, ratio.traction_cases), (10, 4));
    assert_eq!(ratio.evidence.len(), 1);
    // Supply cases are the commoner and the sign speaks for them: the traction battery is unlikely.
    let chance = chance_of_traction(&ratio);
    assert!((0.05..0.35).contains(&chance), "{chance}");
}

#[test]
fn without_signs_there_is_no_ratio() {
    let case = trouble(0, "traction battery", None);
    assert!(likelihood_ratio(&case, &[trouble(1, "supply", Some(true))]).is_none());
}

#[test]
fn a_list_is_read_in_the_forms_people_send() {
    let place = Workplace::new();
    let vin = "9ZV4K2E76LM100001";
    for (name, text) in [
        ("bare.txt", format!("{vin}\n")),
        (
            "named.csv",
            format!("Lot;VIN;Price\n7;{};\"1,200\"\n", vin.to_lowercase()),
        ),
        (
            "marked.csv",
            format!("\u{feff}chassis_no,lot\n {vin} ,7\n{vin},8\n"),
        ),
    ] {
        let listed = read_inventory(&place.write(name, text)).expect(name).lines;
        assert_eq!(listed[0].vin.as_deref(), Ok(vin), "{name}");
        // A number that stands there again is not screened again, but its line is kept.
        let again = listed.get(1).map(|line| line.vin.clone());
        assert!(
            again.is_none() || again == Some(Err(Fault::Again(2))),
            "{name}"
        );
    }
    let mixed = read_inventory(&place.write("mixed.csv", format!("vin\n{vin}\nnone yet\n")))
        .expect("a list");
    assert_eq!(mixed.lines.len(), 2);
    assert!(matches!(mixed.lines[1].vin, Err(Fault::Malformed(_))));
    assert!(read_inventory(&place.write("none.csv", "a,b\n1,2\n")).is_err());
    assert!(read_inventory(&place.path().join("missing.csv")).is_err());
}

#[test]
fn the_buyers_own_columns_and_every_line_are_kept() {
    let place = Workplace::new();
    let vin = "9ZV4K2E76LM100001";
    let text = format!(
        "Lot,VIN,Price,Seller,Empty\n1,{vin},\"$1,200\",Yard A,\n2,,900,Yard B,\n3,{vin},1.200,50,\n4,ABC,,Yard D,\n"
    );
    let list = read_inventory(&place.write("list.csv", text)).expect("a list");
    // A column with nothing in it is none.
    assert_eq!(list.columns, ["Lot", "Price", "Seller"]);
    assert_eq!(list.lines.len(), 4);
    assert_eq!(list.lines[0].own, ["1", "$1,200", "Yard A"]);
    let prices: Vec<Option<f64>> = list.lines.iter().map(|line| line.price).collect();
    assert_eq!(prices, [Some(1200.0), Some(900.0), Some(1200.0), None]);
    assert_eq!(list.lines[1].vin, Err(Fault::Blank));
    assert_eq!(list.lines[2].vin, Err(Fault::Again(2)));
    assert!(matches!(&list.lines[3].vin, Err(Fault::Malformed(why)) if why.contains("ABC")));
}

/// A ratio that rounds to nothing is told the other way round, and one that no case weighs is not told.
#[test]
fn ratios_are_told_with_sense() {
    use voltwane::report::screen::times;
    let told = [0.0004, 0.004, 0.25, 3.24, 27.0, 5e6].map(times);
    assert_eq!(
        told,
        [
            "less than 0.001",
            "0.004",
            "0.2",
            "3.2",
            "27",
            "more than 1,000"
        ]
    );
}
