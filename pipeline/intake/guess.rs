//! What each column of an unknown file most likely is, by its name and by what stands in it.
//!
//! A name is believed only where the cells can be what it says: a column whose values are all different is
//! no list of words. What no name tells is guessed from the cells alone: vehicle numbers and trouble
//! codes, dates in their order, volts around twelve, words the trade knows, numbers of orders. What
//! neither tells is left open, to be decided by whoever knows the file.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::date_forms::{dates, is_time};
use super::fields::dump::DumpKind;
use super::fields::meaning::{Meaning, WordList, meaning};
use super::fields::moment::Formats;
use super::fields::number::{Marks, leading_number};
use super::mapping::names::likely_field;
use super::mapping::recognise::likely_kind;
use trade::heavy_code::Code;
use trade::vin::Vin;

/// A column's name with its first cells, none of them blank.
pub struct Sample {
    pub name: String,
    pub cells: Vec<String>,
}

/// A field and the unit its column has it in, where it is not the lake's.
pub type Guess = Option<(&'static str, Option<&'static str>)>;

/// With so many cells, all different, a column holds no words of a list.
const FEW_CELLS: usize = 8;
/// A list that a shop picks from is not longer.
const MOST_WORDS: usize = 40;

impl Sample {
    fn distinct(&self) -> usize {
        let mut cells: Vec<&String> = self.cells.iter().collect();
        cells.sort_unstable();
        cells.dedup();
        cells.len()
    }

    fn all_differ(&self) -> bool {
        self.cells.len() >= FEW_CELLS && self.distinct() == self.cells.len()
    }

    /// Whether the same few texts stand in it again and again.
    pub fn is_list_of_words(&self) -> bool {
        self.cells.len() >= FEW_CELLS
            && self.distinct() <= MOST_WORDS
            && self.distinct() * 2 <= self.cells.len()
            && self.numbers().is_none()
            && self.days().is_none()
    }

    /// Whether at least four cells of five are such.
    fn mostly(&self, is: impl Fn(&String) -> bool) -> bool {
        let fitting = self.cells.iter().filter(|cell| is(cell)).count();
        fitting > 0 && fitting * 5 >= self.cells.len() * 4
    }

    /// The numbers of a column of numbers, by a decimal point or comma.
    fn numbers(&self) -> Option<Vec<f64>> {
        [',', '.'].into_iter().find_map(|decimal| {
            let marks = Marks {
                decimal,
                thousands: None,
            };
            let read: Vec<f64> = self
                .cells
                .iter()
                .filter_map(|cell| leading_number(cell, marks).ok())
                // A unit may follow, but no further number: that is a date or a list.
                .filter(|(_, rest)| !rest.chars().any(|letter| letter.is_ascii_digit()))
                .map(|(number, _)| number)
                .collect();
            (!read.is_empty() && read.len() * 5 >= self.cells.len() * 4).then_some(read)
        })
    }

    /// Whether its numbers lie where those of a 12 V battery or supply do; a whole number is more likely a
    /// count.
    fn is_volts(&self) -> bool {
        let Some(mut numbers) = self.numbers() else {
            return false;
        };
        numbers.sort_by(f64::total_cmp);
        (11.0..=14.8).contains(&numbers[numbers.len() / 2])
            && self.mostly(|cell| cell.contains(['.', ',']))
    }

    /// Its days, in the first format that fits them.
    fn days(&self) -> Option<Vec<NaiveDate>> {
        let iso = Formats::default();
        let of = |formats: &Formats| -> Vec<NaiveDate> {
            self.cells
                .iter()
                .filter_map(|cell| formats.day(cell).ok())
                .collect()
        };
        let plain = of(&iso);
        if !self.cells.is_empty() && plain.len() * 20 >= self.cells.len() * 19 {
            return Some(plain);
        }
        let pattern = dates(&self.cells).into_iter().next()?;
        let formats = Formats::new(&[pattern]).ok()?;
        Some(of(&formats))
    }
}

/// What kind of dump the columns are of: the one their names speak for, unless more of them can be
/// understood as another.
pub fn kind_of(samples: &[Sample]) -> DumpKind {
    let names: Vec<String> = samples.iter().map(|sample| sample.name.clone()).collect();
    let (by_names, _) = likely_kind(&names);
    let understood = |kind: DumpKind| {
        let guesses = guess(kind, samples);
        let fields: BTreeSet<&str> = guesses.iter().flatten().map(|(field, _)| *field).collect();
        let lacking = kind
            .fields()
            .into_iter()
            .filter(|field| kind.must_have(field) && !fields.contains(field.name))
            .count();
        fields.len() as i64 - lacking as i64
    };
    DumpKind::ALL.iter().copied().fold(by_names, |best, kind| {
        match understood(kind) > understood(best) {
            true => kind,
            false => best,
        }
    })
}

/// The field of each column, in the order of the columns.
pub fn guess(kind: DumpKind, samples: &[Sample]) -> Vec<Guess> {
    let mut guesses: Vec<Guess> = samples
        .iter()
        .map(|sample| by_form(kind, sample).or_else(|| by_name(kind, sample)))
        .collect();
    by_dates(kind, samples, &mut guesses);
    for (at, sample) in samples.iter().enumerate() {
        if guesses[at].is_none() {
            guesses[at] = by_values(kind, sample)
                .filter(|field| !is_given(&guesses, field))
                .map(|field| (field, None));
        }
    }
    guesses
}

fn is_given(guesses: &[Guess], field: &str) -> bool {
    guesses.iter().flatten().any(|(given, _)| *given == field)
}

/// Cells that can be nothing else, whatever the column is called.
fn by_form(kind: DumpKind, sample: &Sample) -> Guess {
    let told = if sample.mostly(|cell| Vin::parse(cell).is_ok()) {
        "vin"
    } else if sample.mostly(|cell| Code::parse(cell).is_ok()) {
        "code"
    } else {
        return None;
    };
    kind.has_field(told).then_some((told, None))
}

/// What the name says, where the cells can be that.
fn by_name(kind: DumpKind, sample: &Sample) -> Guess {
    let (field, unit) = likely_field(kind, &sample.name)?;
    let fits = sample.cells.is_empty()
        || match meaning(field) {
            Meaning::Word(_) => !sample.all_differ() && sample.distinct() <= MOST_WORDS,
            Meaning::Number(_) | Meaning::Reading => sample.numbers().is_some(),
            Meaning::Day(_) => sample.days().is_some(),
            Meaning::Instant(_) => {
                sample.days().is_some() || (is_time(&sample.cells) && !sample.is_volts())
            }
            _ => true,
        };
    fits.then_some((field, unit))
}

/// Columns of dates that no name tells: what happened first is the opening, what happened after it the
/// closing; a lone one is the day the dump is about.
fn by_dates(kind: DumpKind, samples: &[Sample], guesses: &mut [Guess]) {
    let mut open: Vec<(usize, i64)> = samples
        .iter()
        .enumerate()
        .filter(|(at, _)| guesses[*at].is_none())
        .filter_map(|(at, sample)| {
            let days = sample.days()?;
            let sum: i64 = days
                .iter()
                .map(|day| i64::from(chrono::Datelike::num_days_from_ce(day)))
                .sum();
            Some((at, sum * 1000 / days.len().max(1) as i64))
        })
        .collect();
    open.sort_by_key(|(at, mean)| (*mean, *at));
    let order: &[&'static str] = match kind {
        DumpKind::WorkOrder => &["opened_at", "closed_at"],
        DumpKind::BatteryTest => &["tested_at"],
        DumpKind::CodeScan | DumpKind::TroubleCode => &["scanned_at"],
        _ => &[],
    };
    let free: Vec<&'static str> = order
        .iter()
        .copied()
        .filter(|field| kind.has_field(field) && !is_given(guesses, field))
        .collect();
    for ((at, _), field) in open.into_iter().zip(free) {
        guesses[at] = Some((field, None));
    }
}

/// What the cells alone tell.
fn by_values(kind: DumpKind, sample: &Sample) -> Option<&'static str> {
    let has = |field: &'static str| kind.has_field(field).then_some(field);
    if sample.numbers().is_some() {
        return match sample.is_volts() {
            true => has("rest_voltage_v").or_else(|| has("supply_voltage_v")),
            false => None,
        };
    }
    // A standard's name alone is also short for a reading by it; it is the standard that it says.
    let mut fields = kind.fields();
    fields.sort_by_key(|field| field.name == "measured_kind");
    let known = fields
        .into_iter()
        .filter_map(|field| match meaning(field.name) {
            Meaning::Word(list) => Some((field.name, list)),
            _ => None,
        })
        .find(|(_, list)| {
            sample.mostly(|cell| (list.find)(cell).is_some() || hint(list, cell).is_some())
        });
    if let Some((field, _)) = known {
        return Some(field);
    }
    match sample.all_differ() {
        true => has("order_no").filter(|_| sample.mostly(is_number_of_an_order)),
        false => None,
    }
}

/// Short, and with a digit in it.
fn is_number_of_an_order(cell: &String) -> bool {
    cell.len() <= 20 && cell.chars().any(|letter| letter.is_ascii_digit())
}

/// What a shop's word most likely means, where the trade's own lists do not have it.
pub fn hint(list: &WordList, cell: &str) -> Option<&'static str> {
    const HINTS: [(&str, &str); 4] = [
        ("mat", "AGM"),
        ("glass mat", "AGM"),
        ("liquid", "flooded"),
        ("open", "flooded"),
    ];
    let word = HINTS
        .iter()
        .find(|(shops, _)| cell.trim().eq_ignore_ascii_case(shops))
        .map(|(_, word)| *word)?;
    (list.find)(word)
}
