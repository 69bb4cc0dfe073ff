//! Estimators against published values and reference libraries.
//!
//! The source stands beside each value. Closed forms agree to 1e-8 of the value, iterative fits to
//! 1e-6, or to as many digits as the source prints. Inputs too long for a test, and the script that
//! computed values for made-up ones, are in `tests/reference/statistics`.

mod coverage;
mod degenerate;
mod hazard;
mod published_lives;
mod published_small;
mod reference_programs;

/// Fails unless `got` is within `tolerance` of `expected`, as a share of `expected`.
#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    let off = (got - expected).abs();
    assert!(
        off <= tolerance * expected.abs().max(1e-300),
        "{got} against {expected}"
    );
}

/// Fails unless `got` is within `distance` of `expected`, for values printed to so many decimals.
#[track_caller]
fn near(got: f64, expected: f64, distance: f64) {
    assert!(
        (got - expected).abs() <= distance,
        "{got} against {expected}"
    );
}

/// The rows of a reference file, header left out.
fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines()
        .skip(1)
        .map(|line| line.split(',').collect())
        .collect()
}

#[track_caller]
fn number(cell: &str) -> f64 {
    cell.parse()
        .unwrap_or_else(|_| panic!("not a number: {cell:?}"))
}
