//! Habits of real records, each a switch: the world stays as it is, its records are kept worse.
//!
//! Most habits change how an order, a test or a row of the register is told ([`tell`]); a few change
//! what is done (a fit test before a planned change) or how a file is made (days alone, a cut line).
//! Each telling is noted with what is true. What a habit does to a record is drawn from a stream of
//! that record, so habits do not disturb each other. Nothing here fails.

mod corrected_dates;
mod corrected_tests;
mod cut_files;
mod migrated_orders;
mod mistyped;
mod order_words;
mod twice_told;
mod vanished;

use std::collections::BTreeSet;

use super::desk::{Record, day_known};
use super::events::What;
use super::facts::{Fact, Minute, Test, Work};
use super::life::Life;
use super::streams::{Domain, Stream, chance, stream};
use trade::words::Operation;

pub use cut_files::cut_last_line;
pub use migrated_orders::migrated;
pub use vanished::{leaves_silently, register_days};

/// The habits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Habit {
    SilentLeavers,
    // Before the next, which would leave nothing to hide.
    NoStartWithoutPosition,
    UnnamedAuxiliaries,
    OpenOrders,
    TwoSystems,
    MigratedOrders,
    CorrectedBatteryDates,
    DateOnlyOrders,
    MistypedYear,
    PlannedAsSupply,
    ChargingAlternator,
    FitTestSameMorning,
    ChargedNotFailed,
    ComplaintOnAnotherLine,
    CompensatedTesters,
    MistypedRatings,
    CutFiles,
    LateJoiners,
    CorrectedTests,
}

impl Habit {
    /// Every habit, with its name and what it means.
    pub const ALL: [(Habit, &'static str, &'static str); 19] = [
        (
            Habit::SilentLeavers,
            "silent-leavers",
            "half of those that leave just vanish from the register",
        ),
        (
            Habit::NoStartWithoutPosition,
            "no-start-without-position",
            "calls for an auxiliary battery that do not say which",
        ),
        (
            Habit::UnnamedAuxiliaries,
            "unnamed-auxiliaries",
            "second batteries of their own kind that no register or order names",
        ),
        (
            Habit::OpenOrders,
            "open-orders",
            "orders exported while open, and again when closed",
        ),
        (
            Habit::TwoSystems,
            "two-systems",
            "the same job in two systems, a day apart, under other numbers",
        ),
        (
            Habit::MigratedOrders,
            "migrated-orders",
            "a year of orders exported again under new numbers",
        ),
        (
            Habit::CorrectedBatteryDates,
            "corrected-battery-dates",
            "the register's day of the battery is wrong at first",
        ),
        (
            Habit::DateOnlyOrders,
            "date-only-orders",
            "two shops' orders carry days alone",
        ),
        (
            Habit::MistypedYear,
            "mistyped-year",
            "one order in some hundred vehicles lies twenty years back",
        ),
        (
            Habit::PlannedAsSupply,
            "planned-as-supply",
            "planned changes on \"annual service\", put down to the supply",
        ),
        (
            Habit::ChargingAlternator,
            "charging-alternator",
            "batteries changed along with an alternator, cause \"charging\"",
        ),
        (
            Habit::FitTestSameMorning,
            "fit-test-same-morning",
            "batteries tested fit on the morning of their planned change",
        ),
        (
            Habit::ChargedNotFailed,
            "charged-not-failed",
            "no-starts put down to the supply, then charged and tested fit",
        ),
        (
            Habit::ComplaintOnAnotherLine,
            "complaint-on-another-line",
            "complaint and cause on another line than the replacement",
        ),
        (
            Habit::CompensatedTesters,
            "compensated-testers",
            "two shops' testers allow for temperature themselves",
        ),
        (
            Habit::MistypedRatings,
            "mistyped-ratings",
            "ratings typed at half or with a stray digit",
        ),
        (
            Habit::CutFiles,
            "cut-files",
            "the last line of some files is cut",
        ),
        (
            Habit::LateJoiners,
            "late-joiners",
            "vehicles that joined since the last export of the register",
        ),
        (
            Habit::CorrectedTests,
            "corrected-tests",
            "a test's value corrected later, at the same instant",
        ),
    ];

    /// The habit of that name.
    pub fn named(name: &str) -> Option<Habit> {
        let found = Habit::ALL.iter().find(|(_, known, _)| *known == name);
        found.map(|(habit, _, _)| *habit)
    }

    /// Every habit at once.
    pub fn all() -> BTreeSet<Habit> {
        Habit::ALL.iter().map(|(habit, _, _)| *habit).collect()
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        let found = Habit::ALL.iter().find(|(habit, _, _)| *habit == self);
        found.map_or("", |(_, name, _)| *name)
    }
}

/// Shops whose orders carry days alone.
pub const DAYS_ALONE: [usize; 2] = [1, 3];
/// Shops whose testers allow for temperature themselves, though those of their kind mostly do not.
pub const COMPENSATED: [usize; 2] = [0, 2];

/// What a habit did to a record, and what is true.
#[derive(Debug, Clone)]
pub struct Note {
    pub habit: Habit,
    pub position: Option<&'static str>,
    /// When it truly was.
    pub at: Minute,
    /// The order, the file, or empty.
    pub id: String,
    pub told: String,
    pub truly: String,
}

/// The records of one order, one test, one scan or one row of the register, about to be told.
pub struct Telling<'a> {
    pub life: &'a Life,
    pub records: Vec<Record>,
    pub notes: &'a mut Vec<Note>,
}

impl Telling<'_> {
    /// The stream of this record and habit.
    fn stream(&self, habit: Habit, key: u64) -> Stream {
        let mut index = 0xcbf2_9ce4_8422_2325u64;
        for part in [habit as u64, self.life.vehicle.index, key] {
            index = (index ^ part)
                .wrapping_mul(0x0100_0000_01b3)
                .rotate_left(23);
        }
        stream(self.life.world.scenario.seed, Domain::Habit, index)
    }

    fn note(
        &mut self,
        habit: Habit,
        position: Option<&'static str>,
        at: Minute,
        id: &str,
        told: String,
        truly: String,
    ) {
        self.notes.push(Note {
            habit,
            position,
            at,
            id: id.to_owned(),
            told,
            truly,
        });
    }

    /// The first line of the order that is being told.
    fn order(&self) -> Option<&Work> {
        self.records.first().and_then(|record| work(&record.fact))
    }

    /// The battery replacement of the order that is being told.
    fn replacement(&self) -> Option<&Work> {
        let mut lines = self.records.iter().filter_map(|record| work(&record.fact));
        lines.find(|line| line.operation == Operation::BatteryReplaced)
    }

    /// Why the order's battery was truly replaced.
    fn why(&self) -> Option<What> {
        let order_no = &self.replacement()?.order_no;
        let events = self.life.events.iter().rev();
        let mut of_order = events.filter(|event| event.order_no == *order_no);
        of_order.next().map(|event| event.what)
    }

    fn test(&self) -> Option<&Test> {
        match self.records.first().map(|record| &record.fact) {
            Some(Fact::Test(test)) => Some(test),
            _ => None,
        }
    }

    /// Lets a habit change every line of the order.
    fn each_line(&mut self, mut change: impl FnMut(&mut Work)) {
        for record in &mut self.records {
            if let Fact::Work(line) = &mut record.fact {
                change(line);
            }
        }
    }
}

fn work(fact: &Fact) -> Option<&Work> {
    match fact {
        Fact::Work(work) => Some(work),
        _ => None,
    }
}

/// Tells facts of one vehicle with the habits of the scenario.
pub fn tell(life: &Life, facts: &[Fact], notes: &mut Vec<Note>) -> Vec<Record> {
    let habits = &life.world.scenario.habits;
    let mut told = Vec::with_capacity(facts.len());
    let same_order = |one: &Fact, other: &Fact| match (work(one), work(other)) {
        (Some(one), Some(other)) => one.order_no == other.order_no,
        _ => false,
    };
    for group in facts.chunk_by(same_order) {
        let records = group.iter().map(|fact| Record {
            export_day: day_known(fact),
            fact: fact.clone(),
        });
        let mut telling = Telling {
            life,
            records: records.collect(),
            notes,
        };
        for habit in habits {
            tell_one(*habit, &mut telling);
        }
        told.append(&mut telling.records);
    }
    told
}

fn tell_one(habit: Habit, telling: &mut Telling<'_>) {
    match habit {
        Habit::SilentLeavers => vanished::leaver(telling),
        Habit::UnnamedAuxiliaries => order_words::auxiliary_unnamed(telling),
        Habit::OpenOrders => twice_told::open_order(telling),
        Habit::TwoSystems => twice_told::other_system(telling),
        Habit::CorrectedBatteryDates => corrected_dates::battery_date(telling),
        Habit::MistypedYear => mistyped::year(telling),
        Habit::PlannedAsSupply => order_words::planned_as_supply(telling),
        Habit::ChargingAlternator => order_words::charging_alternator(telling),
        Habit::ComplaintOnAnotherLine => order_words::complaint_elsewhere(telling),
        Habit::NoStartWithoutPosition => order_words::no_start_unplaced(telling),
        Habit::MistypedRatings => mistyped::rating(telling),
        Habit::CorrectedTests => corrected_tests::value(telling),
        // These are not about one record: see `migrated`, `Dumps`, `Surroundings` and `Life`.
        Habit::MigratedOrders
        | Habit::DateOnlyOrders
        | Habit::FitTestSameMorning
        | Habit::ChargedNotFailed
        | Habit::CompensatedTesters
        | Habit::CutFiles
        | Habit::LateJoiners => {}
    }
}

/// Whether a habit of that likelihood shows in this record.
fn shows(telling: &Telling<'_>, habit: Habit, key: u64, likelihood: f64) -> Option<Stream> {
    let mut rng = telling.stream(habit, key);
    chance(&mut rng, likelihood).then_some(rng)
}
