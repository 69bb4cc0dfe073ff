//! Many tests at once: adjusted p that bound the share of false alarms among those raised.
//!
//! Fails for p outside 0 to 1. An empty list gives an empty list.

use crate::input::{InputError, all_within};

/// Benjamini and Hochberg (J. Roy. Statist. Soc. B 57:289, 1995): in rising order
/// `adjusted_i = min over j >= i of p_j m / j`. Raising those at or below q bounds the expected
/// share of false ones by q, for independent or positively dependent tests. Results keep the order
/// of the input.
pub fn adjusted_p(p: &[f64]) -> Result<Vec<f64>, InputError> {
    all_within("p", p, "between 0 and 1", |p| (0.0..=1.0).contains(&p))?;
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_unstable_by(|&left, &right| p[left].total_cmp(&p[right]));
    let mut adjusted = vec![0.0; p.len()];
    let mut least = 1.0_f64;
    for (rank, &index) in order.iter().enumerate().rev() {
        least = least.min(p[index] * p.len() as f64 / (rank + 1) as f64);
        adjusted[index] = least;
    }
    Ok(adjusted)
}
