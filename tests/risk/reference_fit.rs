//! The hazard fit against statsmodels, on person-weeks exported from an invented fleet.
//! tests/reference/risk/fit_hazard.py makes the expected numbers.

use voltwane::statistics::regression::design::Design;
use voltwane::statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use voltwane::statistics::regression::hazard_regression::fit_hazard;

const PERSON_WEEKS: &str = include_str!("../reference/risk/person_weeks.csv");
const EXPECTED: &str = include_str!("../reference/risk/expected.csv");

fn table(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let mut lines = text
        .lines()
        .map(|line| line.split(',').map(str::to_owned).collect::<Vec<String>>());
    (lines.next().expect("a header"), lines.collect())
}

#[test]
fn coefficients_agree_with_statsmodels() {
    let (header, rows) = table(PERSON_WEEKS);
    let number = |row: &Vec<String>, at: usize| row[at].parse::<f64>().expect("a number");
    assert_eq!(header[..3], ["failed", "weight", "log_share"]);
    let events: Vec<bool> = rows.iter().map(|row| row[0] == "1").collect();
    let weights: Vec<f64> = rows.iter().map(|row| number(row, 1)).collect();
    let offsets: Vec<f64> = rows.iter().map(|row| number(row, 2)).collect();
    let columns = header.len() - 3;
    let values: Vec<f64> = rows
        .iter()
        .flat_map(|row| {
            (3..header.len())
                .map(|at| number(row, at))
                .collect::<Vec<_>>()
        })
        .collect();
    assert!(events.iter().filter(|event| **event).count() > 100);
    let fit = fit_hazard(
        &PersonPeriods {
            design: Design {
                columns,
                values: &values,
            },
            events: &events,
            weights: Some(&weights),
            offsets: Some(&offsets),
        },
        &Ridge::new(0.0),
    )
    .expect("a fit");

    let (_, expected) = table(EXPECTED);
    assert_eq!(expected.len(), columns + 1);
    let found = std::iter::once(fit.intercept).chain(fit.coefficients.iter().copied());
    for ((found, error), row) in found.zip(fit.standard_errors()).zip(&expected) {
        let (coefficient, standard_error) = (number(row, 1), number(row, 2));
        assert!(
            (found - coefficient).abs() < 1e-5,
            "{}: {found}, statsmodels {coefficient}",
            row[0]
        );
        assert!(
            (error - standard_error).abs() < 1e-5,
            "standard error of {}: {error}, statsmodels {standard_error}",
            row[0]
        );
    }
}
