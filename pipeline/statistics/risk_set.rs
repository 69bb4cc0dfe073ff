//! Who was at risk at each age at which something happened, with late entry.
//!
//! Works on sorted ages in one pass and never fails; lives are checked by the estimators that use
//! it. What is computed from the counts is left to them.

/// The lives with `entry < age <= exit`, and how many of them ended in an event at that age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RiskSet {
    pub age: f64,
    pub at_risk: usize,
    pub events: usize,
    /// The events empty the set although lives that enter later follow.
    pub emptied_early: bool,
}

/// Walks the distinct event ages. All three slices are sorted; events are also exits.
pub(crate) fn risk_sets<'a>(
    entries: &'a [f64],
    exits: &'a [f64],
    events: &'a [f64],
) -> impl Iterator<Item = RiskSet> + 'a {
    let (mut entered, mut left, mut done) = (0, 0, 0);
    std::iter::from_fn(move || {
        let age = *events.get(done)?;
        let count = advance(events, &mut done, |other| other == age);
        advance(entries, &mut entered, |entry| entry < age);
        advance(exits, &mut left, |exit| exit < age);
        let at_risk = entered - left;
        let emptied_early = count == at_risk && entered < entries.len();
        Some(RiskSet {
            age,
            at_risk,
            events: count,
            emptied_early,
        })
    })
}

/// Moves `position` past the values that `passes` takes and returns how many there were.
pub(crate) fn advance(sorted: &[f64], position: &mut usize, passes: impl Fn(f64) -> bool) -> usize {
    let count = sorted[*position..]
        .iter()
        .take_while(|&&value| passes(value))
        .count();
    *position += count;
    count
}
