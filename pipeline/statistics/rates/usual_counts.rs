//! What counts usually are, told from all of them although some hold an upset.
//!
//! The law of the usual is a negative binomial, with a share of zeros of its own where the counts ask
//! for one. Upsets are a second part, from a least count upwards and spread widely (geometric). All
//! counts take part: a fit to those below some limit alone makes every count above it look unusual.
//! Which of the parts there are is chosen by the Schwarz criterion, so counts without upsets get a law
//! without that part; where upsets are known to happen among counts like these, they are believed as
//! soon as they explain a group's counts better. Fitted by expectation and maximisation (Dempster, Laird and Rubin, J. Roy.
//! Statist. Soc. B 39:1, 1977; the criterion: Schwarz, Ann. Statist. 6:461, 1978).
//!
//! Fails for no counts.

use super::negative_binomial::NegativeBinomial;
use crate::distributions::ln_gamma;
use crate::input::{InputError, at_least};

/// The law of usual counts, and what else was found among those it was fitted to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualCounts {
    /// Share of usual counts that are zero for a reason of their own.
    pub zero_share: f64,
    /// The law of the other usual counts.
    pub law: NegativeBinomial,
    /// Share of all counts that are upsets.
    pub upset_share: f64,
}

/// More than this share is no upset but how things are.
pub const MOST_UPSET_SHARE: f64 = 0.25;
/// Upsets are taken for there only if they raise the log likelihood by this many times what the
/// criterion asks of two more parameters: what is not sure is usual.
const UPSET_STRICTNESS: f64 = 2.0;
const ROUNDS: usize = 200;
const LN_SIZES: (f64, f64) = (-7.0, 12.0);
/// A product of at most so many factors is made factor by factor.
const SHORT_PRODUCT: u64 = 30;
const GOLDEN: f64 = 0.381_966_011_250_105_1;

impl UsualCounts {
    /// The chance of `count` or more where nothing but the usual is going on.
    pub fn at_least(&self, count: u64) -> f64 {
        if count == 0 {
            1.0
        } else {
            (1.0 - self.zero_share) * self.law.at_least(count)
        }
    }
}

/// Fits to counts told as (count, how often it came); upsets are of `upset_from` and more. Where
/// `upsets_known`, that there are upsets at all need not be shown by these counts.
pub fn fit_usual(
    tally: &[(u64, u64)],
    upset_from: u64,
    upsets_known: bool,
) -> Result<UsualCounts, InputError> {
    let counts: f64 = tally.iter().map(|(_, times)| *times as f64).sum();
    at_least("counts", counts as usize, 1)?;
    let mut tally: Vec<(u64, f64)> = tally.iter().map(|&(c, times)| (c, times as f64)).collect();
    tally.sort_unstable_by_key(|(count, _)| *count);
    let step = 0.5 * counts.ln();
    let plain = Parts::start(&tally, counts, upset_from, false, false).fit(&tally, counts);
    let zeros = Parts::start(&tally, counts, upset_from, true, false).fit(&tally, counts);
    let mut usual = plain;
    if zeros.1 - plain.1 > step {
        usual = zeros;
    }
    let mut best: Option<(Parts, f64)> = None;
    for with_zeros in [false, true] {
        let upset = Parts::start(&tally, counts, upset_from, with_zeros, true).fit(&tally, counts);
        let height = upset.1 - if with_zeros { step } else { 0.0 };
        if best.is_none_or(|(_, found)| height > found) {
            best = Some((upset.0, height));
        }
    }
    let usual_height = usual.1 - if usual.0.zero > 0.0 { step } else { 0.0 };
    let asked = if upsets_known {
        0.0
    } else {
        UPSET_STRICTNESS * 2.0 * step
    };
    if let Some((parts, height)) = best
        && height - usual_height > asked
    {
        usual.0 = parts;
    }
    let parts = usual.0;
    let usual_share = (parts.zero + parts.counted).max(f64::MIN_POSITIVE);
    Ok(UsualCounts {
        zero_share: parts.zero / usual_share,
        law: NegativeBinomial::new(parts.mean, parts.size)?,
        upset_share: parts.upset,
    })
}

/// Shares of the three parts, and their laws.
#[derive(Debug, Clone, Copy)]
struct Parts {
    zero: f64,
    counted: f64,
    upset: f64,
    mean: f64,
    size: f64,
    upset_from: u64,
    /// Mean of an upset above its least count.
    upset_above: f64,
}

impl Parts {
    fn start(
        tally: &[(u64, f64)],
        counts: f64,
        upset_from: u64,
        zeros: bool,
        upsets: bool,
    ) -> Self {
        let share = |keep: &dyn Fn(u64) -> bool| {
            let kept = tally.iter().filter(|(count, _)| keep(*count));
            kept.map(|(_, times)| times).sum::<f64>() / counts
        };
        let mean_of = |keep: &dyn Fn(u64) -> bool, otherwise: f64| {
            let (sum, times) = tally
                .iter()
                .filter(|(count, _)| keep(*count))
                .fold((0.0, 0.0), |(sum, all), (count, times)| {
                    (sum + *count as f64 * times, all + times)
                });
            if times > 0.0 { sum / times } else { otherwise }
        };
        let high = |count: u64| count >= upset_from;
        let upset = if upsets {
            share(&high).min(MOST_UPSET_SHARE)
        } else {
            0.0
        };
        let zero = if zeros {
            0.5 * share(&|count| count == 0)
        } else {
            0.0
        };
        let mean = if upsets {
            mean_of(&|count| !high(count), 0.5)
        } else {
            mean_of(&|_| true, 0.5)
        };
        Parts {
            zero,
            counted: (1.0 - zero - upset).max(0.0),
            upset,
            mean,
            size: 1.0,
            upset_from,
            upset_above: (mean_of(&high, upset_from as f64 + 1.0) - upset_from as f64).max(0.5),
        }
    }

    /// The shares of a count's chance that come from zeros, the counted and upsets.
    fn of(&self, count: u64) -> [f64; 3] {
        let zero = if count == 0 { self.zero } else { 0.0 };
        let counted = self.counted * ln_mass(count, self.mean, self.size).exp();
        let upset = match count.checked_sub(self.upset_from) {
            Some(above) if self.upset > 0.0 => {
                let again = self.upset_above / (1.0 + self.upset_above);
                self.upset * (1.0 - again) * again.powf(above as f64)
            }
            _ => 0.0,
        };
        [zero, counted, upset]
    }

    fn height(&self, tally: &[(u64, f64)]) -> f64 {
        let chance = |count: u64| self.of(count).iter().sum::<f64>().max(f64::MIN_POSITIVE);
        tally.iter().map(|&(c, times)| times * chance(c).ln()).sum()
    }

    fn fit(mut self, tally: &[(u64, f64)], counts: f64) -> (Self, f64) {
        let mut height = f64::NEG_INFINITY;
        for round in 0..ROUNDS {
            self.improve(tally, counts, round == 0);
            let now = self.height(tally);
            if now - height < 1e-7 * counts {
                return (self, now.max(height));
            }
            height = now;
        }
        (self, height)
    }

    fn improve(&mut self, tally: &[(u64, f64)], counts: f64, first: bool) {
        let (mut zero, mut upset, mut above) = (0.0, 0.0, 0.0);
        let mut counted: Vec<(u64, f64)> = Vec::with_capacity(tally.len());
        for &(count, times) in tally {
            let parts = self.of(count);
            let whole = parts.iter().sum::<f64>();
            if whole <= 0.0 {
                counted.push((count, times));
                continue;
            }
            zero += times * parts[0] / whole;
            counted.push((count, times * parts[1] / whole));
            upset += times * parts[2] / whole;
            above += times * parts[2] / whole * count.saturating_sub(self.upset_from) as f64;
        }
        if upset > 0.0 {
            self.upset_above = (above / upset).max(0.5);
        }
        self.upset = (upset / counts).min(MOST_UPSET_SHARE);
        self.zero = zero / counts;
        self.counted = (1.0 - self.zero - self.upset).max(0.0);
        let total: f64 = counted.iter().map(|(_, times)| times).sum();
        let sum: f64 = counted.iter().map(|(c, times)| *c as f64 * times).sum();
        if total > 0.0 {
            self.mean = sum / total;
            self.size = best_size(&counted, self.mean, (!first).then_some(self.size));
        }
    }
}

/// The size of greatest likelihood for weighed counts of this mean, near the one before if there is one.
fn best_size(counts: &[(u64, f64)], mean: f64, before: Option<f64>) -> f64 {
    if mean <= 0.0 {
        return f64::INFINITY;
    }
    let at = |ln_size: f64| likelihood_of_size(counts, mean, ln_size.exp());
    let (mut low, mut high) = match before {
        Some(size) if size.is_finite() => (size.ln() - 1.0, size.ln() + 1.0),
        Some(_) => (LN_SIZES.1 - 2.0, LN_SIZES.1),
        None => {
            let points = 24;
            let width = (LN_SIZES.1 - LN_SIZES.0) / points as f64;
            let best = (0..=points)
                .map(|point| LN_SIZES.0 + width * point as f64)
                .map(|ln_size| (ln_size, at(ln_size)))
                .fold((0.0, f64::NEG_INFINITY), |best, next| {
                    if next.1 > best.1 { next } else { best }
                });
            (best.0 - width, best.0 + width)
        }
    };
    (low, high) = (low.max(LN_SIZES.0), high.min(LN_SIZES.1));
    // Golden section: one of the two points within is one of the next two.
    let lower = |low: f64, high: f64| low + GOLDEN * (high - low);
    let upper = |low: f64, high: f64| high - GOLDEN * (high - low);
    let mut inner = (lower(low, high), upper(low, high));
    let mut heights = (at(inner.0), at(inner.1));
    while high - low > 1e-4 {
        if heights.0 > heights.1 {
            high = inner.1;
            inner = (lower(low, high), inner.0);
            heights = (at(inner.0), heights.0);
        } else {
            low = inner.0;
            inner = (inner.1, upper(low, high));
            heights = (heights.1, at(inner.1));
        }
    }
    let ln_size = 0.5 * (low + high);
    if ln_size > LN_SIZES.1 - 0.01 {
        f64::INFINITY
    } else {
        ln_size.exp()
    }
}

/// Log-likelihood of weighed counts of this mean, in ascending order, as far as it depends on the size.
fn likelihood_of_size(counts: &[(u64, f64)], mean: f64, size: f64) -> f64 {
    let none = size * (mean / size).ln_1p();
    let each = mean.ln() - (size + mean).ln();
    let (mut risen_to, mut rising, mut sum) = (0, 0.0, 0.0);
    for &(count, times) in counts {
        rising = if count.saturating_sub(risen_to) <= SHORT_PRODUCT {
            rising + ln_rising(size, risen_to..count)
        } else {
            ln_gamma(size + count as f64) - ln_gamma(size)
        };
        risen_to = count;
        sum += times * (rising - none + count as f64 * each);
    }
    sum
}

/// Logarithm of the product of `size + k` over these k.
fn ln_rising(size: f64, over: std::ops::Range<u64>) -> f64 {
    over.map(|k| (size + k as f64).ln()).sum()
}

/// Logarithm of the negative binomial's chance of exactly `count`.
fn ln_mass(count: u64, mean: f64, size: f64) -> f64 {
    if mean <= 0.0 {
        return if count == 0 { 0.0 } else { f64::NEG_INFINITY };
    }
    let c = count as f64;
    if size.is_infinite() {
        return c * mean.ln() - mean - ln_gamma(c + 1.0);
    }
    let rising = if count <= SHORT_PRODUCT {
        ln_rising(size, 0..count)
    } else {
        ln_gamma(size + c) - ln_gamma(size)
    };
    rising - ln_gamma(c + 1.0) - size * (mean / size).ln_1p() + c * (mean.ln() - (size + mean).ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counts as a law gives them, `of` a thousand, without the tail that rounds to none.
    fn of_law(of: u64, law: NegativeBinomial) -> Vec<(u64, u64)> {
        (0..200)
            .map(|count| (count, (of as f64 * law.exactly(count)).round() as u64))
            .filter(|(_, times)| *times > 0)
            .collect()
    }

    #[test]
    fn counts_without_upsets_get_their_own_law() {
        for (mean, size) in [(3.0, 1.0), (3.0, f64::INFINITY), (0.4, 0.6), (10.0, 4.0)] {
            let law = NegativeBinomial::new(mean, size).unwrap();
            let found = fit_usual(&of_law(1200, law), 6, false).unwrap();
            assert_eq!(found.upset_share, 0.0, "{mean} {size}: {found:?}");
            let tail = 10;
            let (told, true_tail) = (found.at_least(tail), law.at_least(tail));
            assert!(
                (told - true_tail).abs() < 0.3 * true_tail + 1e-3,
                "{mean} {size}: {told} for {true_tail}"
            );
        }
    }

    #[test]
    fn upsets_do_not_make_upsets_look_usual() {
        let mut tally = of_law(900, NegativeBinomial::new(0.8, 1.5).unwrap());
        tally.retain(|(count, _)| *count < 8);
        for count in 8..40 {
            tally.push((count, 3));
        }
        let found = fit_usual(&tally, 6, false).unwrap();
        assert!((found.upset_share - 0.1).abs() < 0.03, "{found:?}");
        assert!(found.at_least(12) < 1e-3, "{found:?}");
    }

    #[test]
    fn half_of_the_counts_are_no_upset() {
        let found = fit_usual(&[(0, 500), (10, 200), (11, 200), (12, 100)], 6, false).unwrap();
        assert!(found.at_least(11) > 0.05, "{found:?}");
    }

    #[test]
    fn odd_counts_have_a_law() {
        assert!(fit_usual(&[], 6, false).is_err());
        let none = fit_usual(&[(0, 7)], 6, false).unwrap();
        assert_eq!((none.law.mean, none.at_least(1)), (0.0, 0.0));
        let same = fit_usual(&[(10, 300)], 6, false).unwrap();
        assert!(same.at_least(10) > 0.4, "{same:?}");
        let one = fit_usual(&[(40, 1)], 6, false).unwrap();
        assert!(one.at_least(40) > 0.05, "{one:?}");
    }

    /// Numbers that look drawn at random and are the same each time (splitmix64).
    struct Draws(u64);

    impl Draws {
        fn unit(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut mixed = self.0;
            mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1u64 << 53) as f64
        }

        /// A count whose chance of lying beyond each count is `beyond`.
        fn count(&mut self, zero_share: f64, beyond: &[f64]) -> u64 {
            if self.unit() < zero_share {
                return 0;
            }
            let drawn = self.unit();
            beyond.partition_point(|beyond| *beyond > drawn) as u64
        }
    }

    /// Weeks in which anything is raised among counts that hold no upset: at most the share asked
    /// for, whatever the noise. Sixty weeks of twenty counts, and only 120 counts as well.
    #[test]
    fn noise_alone_is_seldom_raised() {
        let laws = [
            ("negative binomial", 0.0, 3.0, 1.0),
            ("wide negative binomial", 0.0, 1.0, 0.3),
            ("Poisson", 0.0, 4.0, f64::INFINITY),
            ("zero-inflated Poisson", 0.7, 8.0, f64::INFINITY),
            ("mostly zero", 0.9, 8.0, f64::INFINITY),
            ("zero-inflated negative binomial", 0.5, 6.0, 2.0),
        ];
        let asked = 0.05;
        for weeks in [60, 6] {
            for (name, zero_share, mean, size) in laws {
                let law = NegativeBinomial::new(mean, size).unwrap();
                let beyond: Vec<f64> = (1..400).map(|count| law.at_least(count)).collect();
                let mut draws = Draws(weeks);
                let (mut looked, mut raised) = (0, 0);
                for _ in 0..600 / weeks {
                    let counts: Vec<u64> = (0..20 * weeks)
                        .map(|_| draws.count(zero_share, &beyond))
                        .collect();
                    let mut tally = std::collections::BTreeMap::new();
                    for count in &counts {
                        *tally.entry(*count).or_insert(0) += 1;
                    }
                    let usual =
                        fit_usual(&tally.into_iter().collect::<Vec<_>>(), 6, false).unwrap();
                    for week in counts.chunks(20) {
                        let p: Vec<f64> = week.iter().map(|&c| usual.at_least(c)).collect();
                        let adjusted = crate::rates::false_discovery::adjusted_p(&p).unwrap();
                        looked += 1;
                        let flood = |(count, p): (&u64, &f64)| *count >= 6 && *p <= asked;
                        raised += usize::from(week.iter().zip(&adjusted).any(flood));
                    }
                }
                // Two sigma above the share asked for.
                let most = asked + 2.0 * (asked * (1.0 - asked) / f64::from(looked)).sqrt();
                assert!(
                    raised as f64 <= most * f64::from(looked),
                    "{name}, {weeks} weeks: {raised} of {looked} weeks"
                );
            }
        }
    }
}
