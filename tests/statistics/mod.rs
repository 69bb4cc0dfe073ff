//! Estimators against published values and reference libraries.
//!
//! The source stands beside each value. Closed forms agree to 1e-8 of the value, iterative fits to
//! 1e-6, or to as many digits as the source prints.

mod hazard;
mod published_lives;

/// Fails unless `got` is within `tolerance` of `expected`, as a share of `expected`.
#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    let off = (got - expected).abs();
    assert!(
        off <= tolerance * expected.abs().max(1e-300),
        "{got} against {expected}"
    );
}
