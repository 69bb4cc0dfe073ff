//! Does a higher score mean an earlier failure? Harrell's C and its censoring-weighted form.
//!
//! Fails for times not above 0 and scores that are not finite; without comparable pairs C is
//! `None`. Whether the chances are right is left to `calibration`.

use crate::input::{InputError, all_finite, positive, same_length};
use crate::lives::censoring_weight::{InSight, check_followed};

/// Pairs of which the one with the shorter time failed. In the weighted form these are sums of
/// weights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Concordance {
    /// The one that failed first had the higher score.
    pub concordant: f64,
    pub discordant: f64,
    /// The scores tie; such a pair counts half.
    pub tied: f64,
    /// `(concordant + tied/2) / all`; `None` without comparable pairs.
    pub c: Option<f64>,
}

/// Harrell's C (Harrell et al., J. Amer. Med. Assoc. 247:2543, 1982), for scores that rise with
/// risk. A failure is compared with all whose time is longer, and with those lost to sight at the
/// same time; two failures at one time are not compared. O(n log n).
pub fn harrell_c(
    scores: &[f64],
    times: &[f64],
    events: &[bool],
) -> Result<Concordance, InputError> {
    weighted(scores, times, events, |_| 1.0)
}

/// Uno's C (Uno et al., Statistics in Medicine 30:1105, 2011): each pair counts by
/// `1 / G(time-)^2` of its failure, where G is the chance to be in sight, and failures after
/// `until` are left out. Unlike Harrell's C it does not depend on how many were lost to sight.
pub fn uno_c(
    scores: &[f64],
    times: &[f64],
    events: &[bool],
    until: f64,
) -> Result<Concordance, InputError> {
    check_followed(times, events)?;
    positive("until", until)?;
    let in_sight = InSight::new(times, events)?;
    weighted(scores, times, events, |time| {
        if time <= until {
            in_sight.before(time).powi(-2)
        } else {
            0.0
        }
    })
}

fn weighted(
    scores: &[f64],
    times: &[f64],
    events: &[bool],
    weight: impl Fn(f64) -> f64,
) -> Result<Concordance, InputError> {
    check_followed(times, events)?;
    same_length("scores", scores.len(), "times", times.len())?;
    all_finite("score", scores)?;
    // Adding 0 makes the two zeros one, which their total order would tell apart.
    let mut distinct: Vec<f64> = scores.iter().map(|score| score + 0.0).collect();
    distinct.sort_unstable_by(f64::total_cmp);
    distinct.dedup();
    let rank = |subject: usize| distinct.partition_point(|&other| other < scores[subject]);
    let mut order: Vec<usize> = (0..times.len()).collect();
    order.sort_unstable_by(|&left, &right| times[right].total_cmp(&times[left]));

    let mut longer = Tally::new(distinct.len());
    let (mut concordant, mut discordant, mut tied) = (0.0, 0.0, 0.0);
    for at_time in order.chunk_by(|&left, &right| times[left] == times[right]) {
        let (failed, lost): (Vec<usize>, Vec<usize>) =
            at_time.iter().partition(|&&subject| events[subject]);
        lost.iter().for_each(|&subject| longer.add(rank(subject)));
        let weight = weight(times[at_time[0]]);
        for &subject in &failed {
            let (below, up_to) = (longer.below(rank(subject)), longer.below(rank(subject) + 1));
            concordant += weight * below as f64;
            tied += weight * (up_to - below) as f64;
            discordant += weight * (longer.total - up_to) as f64;
        }
        failed.iter().for_each(|&subject| longer.add(rank(subject)));
    }
    let all = concordant + discordant + tied;
    let c = (all > 0.0).then(|| (concordant + 0.5 * tied) / all);
    Ok(Concordance {
        concordant,
        discordant,
        tied,
        c,
    })
}

/// Counts by rank with fast partial sums (Fenwick, Software Practice and Experience 24:327, 1994).
struct Tally {
    counts: Vec<u64>,
    total: u64,
}

impl Tally {
    fn new(ranks: usize) -> Self {
        Self {
            counts: vec![0; ranks + 1],
            total: 0,
        }
    }

    fn add(&mut self, rank: usize) {
        self.total += 1;
        let mut place = rank + 1;
        while place < self.counts.len() {
            self.counts[place] += 1;
            place += place & place.wrapping_neg();
        }
    }

    /// How many have a rank below this one.
    fn below(&self, rank: usize) -> u64 {
        let (mut place, mut sum) = (rank, 0);
        while place > 0 {
            sum += self.counts[place];
            place -= place & place.wrapping_neg();
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_comparable_pairs_there_is_no_c() {
        let none = harrell_c(&[1.0, 2.0], &[3.0, 3.0], &[true, true]).unwrap();
        assert_eq!(none.c, None);
        assert!(harrell_c(&[1.0, f64::NAN], &[3.0, 4.0], &[true, true]).is_err());
        assert!(harrell_c(&[1.0], &[0.0], &[true]).is_err());
    }

    #[test]
    fn zeros_of_either_sign_tie() {
        let tie = harrell_c(&[0.0, -0.0], &[3.0, 4.0], &[true, false]).unwrap();
        assert_eq!((tie.tied, tie.c), (1.0, Some(0.5)));
    }

    #[test]
    fn many_subjects_take_a_moment() {
        let times: Vec<f64> = (0..200_000_u64)
            .map(|i| 1.0 + (i * 7919 % 1_000_003) as f64)
            .collect();
        let scores: Vec<f64> = times.iter().map(|time| -time).collect();
        let events: Vec<bool> = (0..200_000).map(|i| i % 3 == 0).collect();
        assert_eq!(harrell_c(&scores, &times, &events).unwrap().c, Some(1.0));
        assert_eq!(uno_c(&scores, &times, &events, 1e5).unwrap().c, Some(1.0));
    }
}
