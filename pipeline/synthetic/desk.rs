//! A vehicle's records on their way into the dumps: which fact is exported on which day, told with
//! the habits of the scenario.
//!
//! Facts leave in the order they came, each with the week of its day. Nothing here fails.

use super::facts::{Fact, Work, day_of};
use super::habits::{self, Habit, Note};
use super::life::Life;
use super::streams::{Domain, Stream, stream};

/// A fact as it will stand in a dump, and the day the dump is made.
#[derive(Debug, Clone)]
pub struct Record {
    pub export_day: i32,
    pub fact: Fact,
}

/// One vehicle's records that wait for their export.
#[derive(Clone)]
pub struct Desk {
    /// Facts of the life that were taken over.
    taken: usize,
    waiting: Vec<Record>,
    /// Order lines told so far, where they will be told again.
    orders: Vec<Work>,
    /// The last day exported.
    exported: i32,
    /// What habits did to records, and what is true.
    pub notes: Vec<Note>,
    /// What goes wrong on the way into the file.
    pub dirt: Stream,
}

impl Desk {
    pub fn new(life: &Life) -> Desk {
        let seed = life.world.scenario.seed;
        Desk {
            taken: 0,
            waiting: Vec::new(),
            orders: Vec::new(),
            exported: -1,
            notes: Vec::new(),
            dirt: stream(seed, Domain::Dirt, life.vehicle.index),
        }
    }

    /// What is exported up to and including that day, in the order it came.
    pub fn due(&mut self, life: &Life, until: i32) -> Vec<Fact> {
        let told = habits::tell(life, &life.facts[self.taken..], &mut self.notes);
        self.taken = life.facts.len();
        if life.shows_habit(Habit::MigratedOrders) {
            let lines = told.iter().filter_map(|record| match &record.fact {
                Fact::Work(line) => Some(line.clone()),
                _ => None,
            });
            self.orders.extend(lines);
        }
        self.waiting.extend(told);
        if life.shows_habit(Habit::MigratedOrders) {
            let days = self.exported + 1..=until;
            let again = habits::migrated(life, &self.orders, days, &mut self.notes);
            self.waiting.extend(again);
        }
        self.exported = self.exported.max(until);
        let due = self
            .waiting
            .extract_if(.., |record| record.export_day <= until);
        due.map(|record| record.fact).collect()
    }
}

/// The day a fact can first be exported.
pub fn day_known(fact: &Fact) -> i32 {
    match fact {
        Fact::Test(test) => day_of(test.at),
        Fact::Scan(scan) => day_of(scan.at),
        Fact::Work(work) => day_of(work.opened),
        Fact::Snapshot(snapshot) => snapshot.seen_day,
    }
}
