//! Planned replacements and the law of life: what each stretch of a life stands for.
//!
//! A battery that is replaced because its test was bad would have failed before long. Where such
//! replacements end the watch as if by chance, a programme that works hides the failures it prevents: the
//! batteries left are the sound ones, and the law of life comes out too long, or, where the sound are
//! replaced, too short. So each stretch of a life counts by the inverse of the chance that its battery was
//! left in service until then, given its tests and age, over the same given its age alone (Robins and
//! Finkelstein, Biometrics 56:779, 2000). Both chances are hazards of planned replacement. The weights
//! are cut off (Cole and Hernan, Am. J. Epidemiol. 168:656, 2008), at their first and last thousandth: cut at
//! a hundredth they left half of the bend where a programme replaces most.
//!
//! A battery that was in before the watch began has been left in too: its ability then is taken to have
//! fallen in a straight line from new to its first test, under the programme as it is known since.
//!
//! With too few planned replacements nothing can be said of why they were made, and every life counts
//! for itself. Fitting the law is left to `life_law`. Nothing here fails.

use statistics::lives::life::Life;
use statistics::lives::weibull_robust::Piece;
use statistics::regression::design::Design;
use statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use statistics::regression::hazard_regression::{HazardFit, fit_hazard};
use statistics::sample::stable_hash;

use trade::calendar::DAYS_A_YEAR;

/// A battery's time under watch, in days of its age.
#[derive(Debug, Clone)]
pub struct Served {
    /// Whether it failed is the life's event.
    pub life: Life,
    /// Its end was a planned replacement.
    pub planned: bool,
    /// Age and share of its rated ability at each test of the charged battery, in order.
    pub tests: Vec<(f64, f64)>,
}

/// Lives in pieces that stand for those not left in service.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// `subject` is the place of the life they are of.
    pub pieces: Vec<Piece>,
    /// Planned replacements the weights make up for; 0 where every life counts for itself.
    pub planned: usize,
}

/// Fewer planned replacements than this say nothing of why they were made.
const LEAST_PLANNED: usize = 10;
/// What is known of a battery changes in a stretch only by its age.
const STRETCH_DAYS: f64 = 56.0;
/// A bad test is acted on soon or hardly at all.
const FRESH_DAYS: f64 = 35.0;
/// Tests stand in whole days: one on the day of the end came before it.
const HALF_A_DAY: f64 = 0.5;
const RIDGE: f64 = 1.0;
const CUT: f64 = 0.001;
/// A battery speaks for itself and so many like it at the most: in a small fleet the last thousandth is one stretch,
/// and a fleet's law must not hang on it. Common practice, no source.
const MOST_LIVES: f64 = 50.0;
/// Exposure that the intercept is the logarithm of the hazard of, in days.
const UNIT_DAYS: f64 = 28.0;

/// Stretches that a programme is fitted to; what more there are would say the same again.
const FITTED_STRETCHES: usize = 300_000;

const BY_AGE: usize = 3;
const BY_TEST: usize = 8;

/// A time in which the last test stays the same.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    from: f64,
    to: f64,
    /// Where it would have ended had the battery stayed.
    meant_to: f64,
    share: Option<f64>,
    fresh: bool,
}

impl Stretch {
    fn by_age(&self) -> [f64; BY_AGE] {
        let years = 0.5 * (self.from + self.to) / DAYS_A_YEAR;
        [
            (years + 0.05).ln(),
            (years - 3.0).max(0.0),
            (years - 5.0).max(0.0),
        ]
    }

    /// How far below what is usual its last test was, in tenths of the rating.
    fn by_test(&self) -> [f64; BY_TEST] {
        let Some(share) = self.share else {
            let mut untested = [0.0; BY_TEST];
            untested[0] = 1.0;
            return untested;
        };
        let below = [0.9, 0.75, 0.6].map(|level: f64| (level - share).max(0.0) * 10.0);
        let fresh = f64::from(u8::from(self.fresh));
        let [a, b, c] = below;
        [0.0, fresh, a, b, c, fresh * a, fresh * b, fresh * c]
    }

    fn offset(&self) -> f64 {
        ((self.to - self.from) / UNIT_DAYS).ln()
    }
}

fn stretches(served: &Served) -> Vec<Stretch> {
    let Life { entry, exit, .. } = served.life;
    let known: Vec<(f64, f64)> = served
        .tests
        .iter()
        .map(|(age, share)| (age - HALF_A_DAY, *share))
        .collect();
    // The last regular cut lies past the end.
    let regular = ((exit - entry) / STRETCH_DAYS) as usize + 1;
    let mut cuts = vec![entry];
    cuts.extend((1..=regular).map(|step| entry + STRETCH_DAYS * step as f64));
    cuts.extend(known.iter().flat_map(|(age, _)| [*age, age + FRESH_DAYS]));
    cuts.retain(|cut| *cut >= entry);
    cuts.sort_unstable_by(f64::total_cmp);
    cuts.dedup();
    cuts.windows(2)
        .take_while(|pair| pair[0] < exit)
        .map(|pair| {
            let last = known.iter().rfind(|(age, _)| *age <= pair[0]);
            Stretch {
                from: pair[0],
                to: pair[1].min(exit),
                meant_to: pair[1],
                share: last.map(|test| test.1),
                fresh: last.is_some_and(|test| pair[0] - test.0 < FRESH_DAYS),
            }
        })
        .collect()
}

/// The hazard of planned replacement, given tests and age, and given age alone.
struct Programme {
    by_test: HazardFit,
    by_age: HazardFit,
    /// Share of the time since the first test that follows a test closely.
    fresh_share: f64,
}

impl Programme {
    fn fit(rows: &[(usize, Stretch)], served: &[Served]) -> Option<Programme> {
        let ends: Vec<bool> = rows
            .iter()
            .map(|(subject, stretch)| {
                let own = &served[*subject];
                own.planned && stretch.to == own.life.exit
            })
            .collect();
        // One that ended in a planned replacement had the chance of it for as long as it was meant to last.
        let offset = |((_, stretch), ended): (&(usize, Stretch), &bool)| match ended {
            true => ((stretch.meant_to - stretch.from) / UNIT_DAYS).ln(),
            false => stretch.offset(),
        };
        // All planned ends, and of the other stretches so many that each stands for as many as are left out.
        let one_in = rows.len().div_ceil(FITTED_STRETCHES).max(1);
        let kept: Vec<usize> = (0..rows.len())
            .filter(|at| ends[*at] || stable_hash(&at.to_le_bytes()).is_multiple_of(one_in as u64))
            .collect();
        let events: Vec<bool> = kept.iter().map(|at| ends[*at]).collect();
        let stands_for = |ended: &bool| if *ended { 1.0 } else { one_in as f64 };
        let weights: Vec<f64> = events.iter().map(stands_for).collect();
        let offsets: Vec<f64> = kept
            .iter()
            .map(|at| offset((&rows[*at], &ends[*at])))
            .collect();
        let fitted = |columns: usize, values: &[f64]| {
            let periods = PersonPeriods {
                design: Design { columns, values },
                events: &events,
                weights: Some(&weights),
                offsets: Some(&offsets),
            };
            fit_hazard(&periods, &Ridge::new(RIDGE)).ok()
        };
        let stretches = || kept.iter().map(|at| &rows[*at].1);
        let ages: Vec<f64> = stretches().flat_map(Stretch::by_age).collect();
        let all: Vec<f64> = stretches()
            .flat_map(|one| one.by_age().into_iter().chain(one.by_test()))
            .collect();
        let days = |keep: &dyn Fn(&Stretch) -> bool| -> f64 {
            let kept = rows.iter().filter(|(_, one)| keep(one));
            kept.map(|(_, one)| one.to - one.from).sum()
        };
        Some(Programme {
            by_test: fitted(BY_AGE + BY_TEST, &all)?,
            by_age: fitted(BY_AGE, &ages)?,
            fresh_share: days(&|one| one.fresh) / days(&|one| one.share.is_some()).max(1.0),
        })
    }

    /// By how much more, in the logarithm, the stretch takes from the chance of being left in service than
    /// it does from others of that age.
    fn excess(&self, stretch: &Stretch) -> f64 {
        let mut row = [0.0; BY_AGE + BY_TEST];
        row[..BY_AGE].copy_from_slice(&stretch.by_age());
        row[BY_AGE..].copy_from_slice(&stretch.by_test());
        let taken = |fit: &HazardFit, row: &[f64]| {
            let predictor = fit.linear_predictor(row).unwrap_or(f64::NEG_INFINITY);
            (predictor + stretch.offset()).min(5.0).exp()
        };
        taken(&self.by_test, &row) - taken(&self.by_age, &row[..BY_AGE])
    }

    /// The same of the time before the watch began.
    fn excess_before(&self, served: &Served) -> f64 {
        let entry = served.life.entry;
        let Some((tested, share)) = served.tests.first().copied().filter(|test| test.0 > 0.0)
        else {
            return 0.0;
        };
        let steps = (entry / STRETCH_DAYS).ceil() as usize;
        let excess = |step: usize| {
            let from = STRETCH_DAYS * step as f64;
            let to = (from + STRETCH_DAYS).min(entry);
            let gone = (0.5 * (from + to) / tested).min(1.0);
            let at = |fresh: bool| Stretch {
                from,
                to,
                meant_to: to,
                share: Some(1.0 + (share - 1.0) * gone),
                fresh,
            };
            self.fresh_share * self.excess(&at(true))
                + (1.0 - self.fresh_share) * self.excess(&at(false))
        };
        (0..steps).map(excess).sum()
    }
}

/// Every life in pieces, each with its weight. Lives without time under watch are left out.
pub fn weigh(served: &[Served]) -> Weighed {
    let rows: Vec<(usize, Stretch)> = served
        .iter()
        .enumerate()
        .filter(|(_, one)| one.life.exit > one.life.entry)
        .flat_map(|(subject, one)| stretches(one).into_iter().map(move |own| (subject, own)))
        .collect();
    let planned = served.iter().filter(|one| one.planned).count();
    let programme = match planned >= LEAST_PLANNED {
        true => Programme::fit(&rows, served),
        false => None,
    };
    let Some(programme) = programme else {
        return each_for_itself(served);
    };
    let mut pieces = Vec::with_capacity(rows.len());
    for own in rows.chunk_by(|left, right| left.0 == right.0) {
        let subject = own[0].0;
        let whole = &served[subject];
        let mut gathered = programme.excess_before(whole);
        for (_, stretch) in own {
            pieces.push(Piece {
                subject,
                life: Life {
                    entry: stretch.from,
                    exit: stretch.to,
                    event: whole.life.event && stretch.to == whole.life.exit,
                },
                weight: gathered.min(MOST_LIVES.ln()).exp(),
            });
            gathered += programme.excess(stretch);
        }
    }
    let mut weights: Vec<f64> = pieces.iter().map(|piece| piece.weight).collect();
    weights.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| weights[((weights.len() - 1) as f64 * share).round() as usize];
    let (least, most) = (at(CUT), at(1.0 - CUT));
    for piece in &mut pieces {
        piece.weight = piece.weight.clamp(least, most);
    }
    Weighed { pieces, planned }
}

/// Every life whole, each for itself.
pub fn each_for_itself(served: &[Served]) -> Weighed {
    let pieces = served
        .iter()
        .enumerate()
        .filter(|(_, one)| one.life.exit > one.life.entry)
        .map(|(subject, one)| Piece {
            subject,
            life: one.life,
            weight: 1.0,
        })
        .collect();
    Weighed { pieces, planned: 0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life_law::{LifeLaw, WatchedLife, fleet_law};

    /// Splitmix64 (Steele, Lea and Flood 2014): the same numbers on every machine.
    struct Draws(u64);

    impl Draws {
        fn share(&mut self) -> f64 {
            self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut z = self.0;
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        }

        fn normal(&mut self) -> f64 {
            (0..12).map(|_| self.share()).sum::<f64>() - 6.0
        }
    }

    /// Batteries whose ability falls each at its own pace and whose hazard rises as the fourth power of what
    /// is lost, watched for three years from an age up to six; tested twice a year, and of those that read
    /// below `replaced_below` seven in ten are replaced a fortnight later, before the watch as in it.
    fn fleet(seed: u64, replaced_below: f64) -> Vec<Served> {
        let mut draws = Draws(seed);
        let mut served = Vec::new();
        while served.len() < 6_000 {
            let pace = 0.09 * (0.25 * draws.normal()).exp();
            let watch = 6.0 * DAYS_A_YEAR * draws.share() - DAYS_A_YEAR;
            let (entry, last) = (watch.max(0.0), watch + 3.0 * DAYS_A_YEAR);
            let mut tests = Vec::new();
            let mut next_test = 182.0 * draws.share();
            let mut replaced_on = f64::INFINITY;
            let mut age = 0.0;
            let end = loop {
                if age >= last {
                    break (last, false, false);
                }
                if age >= replaced_on {
                    break (replaced_on, false, true);
                }
                let lost = pace * age / DAYS_A_YEAR;
                if age >= next_test {
                    let share = 1.0 - lost + 0.03 * draws.normal();
                    if age > entry {
                        tests.push((age, share));
                    }
                    if share < replaced_below && draws.share() < 0.7 {
                        replaced_on = replaced_on.min(age + 14.0);
                    }
                    next_test = age + 182.0;
                }
                let hazard = 0.0002 + 0.02 * (lost / 0.45).powi(4);
                if draws.share() < 1.0 - f64::exp(-hazard) {
                    break (age + 3.5, true, false);
                }
                age += 7.0;
            };
            let (exit, event, planned) = end;
            if exit > entry {
                let life = Life { entry, exit, event };
                served.push(Served {
                    life,
                    planned,
                    tests,
                });
            }
        }
        served
    }

    fn law(weighed: &Weighed) -> LifeLaw {
        let lives = weighed.pieces.iter().map(|piece| WatchedLife {
            chemistry: None,
            climate: None,
            piece: *piece,
        });
        fleet_law(&lives.collect::<Vec<_>>(), 1_826.0).unwrap()
    }

    /// The same batteries, in one fleet replaced early by their tests: as they are seen they live longer
    /// there by a fifth and more; made up for, half-life and limits agree.
    #[test]
    fn a_programme_that_works_does_not_bend_the_law() {
        let (left, early) = (fleet(1, 0.0), fleet(2, 0.72));
        let (planned, free) = (weigh(&early), weigh(&left));
        assert!(planned.planned > 300, "{}", planned.planned);
        assert_eq!(free.planned, 0);
        let true_half = law(&free).half_life();
        let as_seen = law(&each_for_itself(&early)).half_life();
        let made_up = law(&planned);
        let off = |half: f64| (half / true_half).ln();
        assert!(off(as_seen) > 0.15, "{true_half} {as_seen}");
        assert!(
            off(made_up.half_life()).abs() < 0.08,
            "{true_half} {as_seen} {made_up:?}"
        );
        let limits = made_up.half_life_limits(None).unwrap();
        assert!(limits.contains(true_half), "{limits:?} {true_half}");
    }

    /// Batteries replaced by lot leave a fair sample: weights are all about one and move nothing.
    #[test]
    fn replacements_by_lot_need_no_making_up() {
        let mut draws = Draws(9);
        let mut served = fleet(3, 0.0);
        for one in &mut served {
            let cut = one.life.entry + (one.life.exit - one.life.entry) * draws.share();
            if draws.share() < 0.2 && cut > one.life.entry {
                one.life = Life::censored(one.life.entry, cut);
                one.planned = true;
                one.tests.retain(|test| test.0 < cut);
            }
        }
        let weighed = weigh(&served);
        assert!(weighed.planned > 1_000);
        let (most, least) = weighed.pieces.iter().fold((0.0, f64::MAX), |ends, piece| {
            (
                f64::max(ends.0, piece.weight),
                f64::min(ends.1, piece.weight),
            )
        });
        assert!(most < 1.25 && least > 0.8, "{least} {most}");
        let (one, other) = (law(&weighed), law(&each_for_itself(&served)));
        assert!((one.half_life() / other.half_life()).ln().abs() < 0.02);
    }

    #[test]
    fn too_few_planned_ends_say_nothing() {
        let mut served = fleet(4, 0.0);
        served.truncate(400);
        served[0].planned = true;
        let weighed = weigh(&served);
        assert_eq!((weighed.planned, weighed.pieces.len()), (0, served.len()));
        assert!(weighed.pieces.iter().all(|piece| piece.weight == 1.0));
    }

    /// A life cut at its tests is whole: from entry to exit without a gap, its failure at its end alone.
    #[test]
    fn stretches_cover_the_life() {
        let one = Served {
            life: Life::failed(100.0, 300.0),
            planned: false,
            tests: vec![(100.0, 0.9), (180.0, 0.8), (300.0, 0.5)],
        };
        let own = stretches(&one);
        assert_eq!((own[0].from, own[own.len() - 1].to), (100.0, 300.0));
        assert!(own.windows(2).all(|pair| pair[0].to == pair[1].from));
        assert_eq!(own[0].share, Some(0.9));
        let last = own[own.len() - 1];
        assert_eq!((last.share, last.fresh), (Some(0.5), true));
    }

    /// In a small fleet all but one of the worn are replaced, and that one goes on for years: it would stand for
    /// thousands.
    #[test]
    fn nobody_stands_for_more_than_fifty() {
        let served: Vec<Served> = (0..60)
            .map(|at| {
                let left = at == 0;
                let worn = at < 25;
                let exit = match (left, worn) {
                    (true, _) => 3_000.0,
                    (_, true) => 820.0 + f64::from(at),
                    _ => 1_500.0,
                };
                let tested = (0..40).map(|nth| 300.0 + 56.0 * f64::from(nth));
                let health = |age: f64| if worn && age > 700.0 { 0.4 } else { 0.95 };
                Served {
                    life: Life {
                        entry: 200.0,
                        exit,
                        event: left,
                    },
                    planned: worn && !left,
                    tests: tested
                        .filter(|age| *age < exit)
                        .map(|age| (age, health(age)))
                        .collect(),
                }
            })
            .collect();
        let weighed = weigh(&served);
        assert_eq!(weighed.planned, 24);
        let most = weighed.pieces.iter().map(|piece| piece.weight);
        let most = most.fold(0.0, f64::max);
        assert!((20.0..=MOST_LIVES + 1e-9).contains(&most), "{most}");
    }
}
