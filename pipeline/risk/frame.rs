//! The rows of vehicle_week as plain columns, which are known by name to the compiler.
//!
//! Numbers are `f64`, NaN where nothing is known; days are days since 1970.

use std::collections::HashMap;
use std::sync::Arc;

/// A closed list of columns, each with its name in the query.
macro_rules! columns {
    ($(#[$about:meta])* $list:ident { $($column:ident $name:literal,)+ }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $list {
            $($column,)+
        }

        impl $list {
            pub const ALL: &[$list] = &[$($list::$column,)+];

            /// The column's name in the query.
            pub const fn name(self) -> &'static str {
                match self {
                    $($list::$column => $name,)+
                }
            }
        }
    };
}

columns! {
    /// A column of numbers.
    Number {
        PeriodsBack "periods_back",
        AgeDays "age_days",
        UncertaintyDays "uncertainty_days",
        FailedBefore "failed_before",
        RestVoltageV "rest_voltage_v",
        Health "health",
        HealthTests "health_tests",
        FoundDischarged "found_discharged",
        DischargedRead "discharged_read",
        Calls "calls",
        Charges "charges",
        SupplySessions28 "supply_sessions_28",
        SupplySessions91 "supply_sessions_91",
        SupplySessions364 "supply_sessions_364",
        LostSessions91 "lost_sessions_91",
        SupplyFloods91 "supply_floods_91",
        SupplyFloods364 "supply_floods_364",
        Sessions364 "sessions_364",
        LeastSupplyV91 "least_supply_v_91",
        KmPerDay "km_per_day",
        Heat "heat",
        ColdAhead "cold_ahead",
        ColdAheadVariance "cold_ahead_variance",
        YearsAhead "years_ahead",
        Coldest28 "coldest_28",
        Coldest91 "coldest_91",
        Coldest182 "coldest_182",
        Coldest364 "coldest_364",
        Coldest728 "coldest_728",
        ColdestCame "coldest_came",
        HeatAhead "heat_ahead",
        HeatBehind "heat_behind",
        KnownDay "known_day",
        DaysSinceHealth "days_since_health",
        DaysSinceTest "days_since_test",
        DaysSinceDischarged "days_since_discharged",
        WatchedDays "watched_days",
        Weight "weight",
        NextHealth "next_health",
        BatteryNo "battery_no",
    }
}

columns! {
    /// A column of words.
    Word {
        Vin "vin",
        Position "position",
        Chemistry "chemistry",
        BatteryGroup "battery_group",
        Powertrain "powertrain",
        Verdict "verdict",
    }
}

/// The words of a column, each kept once: of hundreds of thousands of rows few differ.
#[derive(Debug, Default)]
pub struct Words {
    /// Of each row the place of its word.
    rows: Vec<Option<u32>>,
    words: Vec<String>,
    places: HashMap<String, u32>,
}

impl Words {
    /// Adds a row.
    pub fn push(&mut self, word: Option<&str>) {
        let place = word.map(|word| match self.places.get(word) {
            Some(place) => *place,
            None => {
                let place = self.words.len() as u32;
                self.words.push(word.to_owned());
                self.places.insert(word.to_owned(), place);
                place
            }
        });
        self.rows.push(place);
    }

    fn of(&self, row: usize) -> Option<&str> {
        let place = self.rows.get(row).copied().flatten()?;
        self.words.get(place as usize).map(String::as_str)
    }
}

/// A test that read a battery's health: its age then, and the share of its rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HealthTest {
    pub age_years: f64,
    pub health: f64,
}

/// Columns of vehicle_week in the order of battery and day.
pub struct Frame {
    pub rows: usize,
    pub failed_then: Vec<bool>,
    /// In the order of [`Number::ALL`].
    numbers: Arc<Vec<Vec<f64>>>,
    /// In the order of [`Word::ALL`].
    words: Arc<Vec<Words>>,
    tests: Arc<Vec<HealthTest>>,
    /// Of each row the place of its battery's first test.
    first_tests: Arc<Vec<usize>>,
}

impl Frame {
    /// A frame of these columns, each with a value a row; where one is too short, its last are unknown.
    pub fn new(
        failed_then: Vec<bool>,
        mut number: impl FnMut(Number) -> Vec<f64>,
        word: impl FnMut(Word) -> Words,
    ) -> Self {
        let rows = failed_then.len();
        let numbers = Number::ALL.iter().map(|column| {
            let mut values = number(*column);
            values.resize(rows, f64::NAN);
            values
        });
        Self {
            rows,
            failed_then,
            numbers: Arc::new(numbers.collect()),
            words: Arc::new(Word::ALL.iter().copied().map(word).collect()),
            tests: Arc::default(),
            first_tests: Arc::default(),
        }
    }

    /// The same with the tests of all batteries, each battery's one after the other as they were made, and of each
    /// row the place of its battery's first.
    pub fn with_tests(mut self, tests: Vec<HealthTest>, first_tests: Vec<usize>) -> Self {
        self.tests = Arc::new(tests);
        self.first_tests = Arc::new(first_tests);
        self
    }

    /// The same rows, of which only these failed.
    pub fn with_failures(&self, failed_then: Vec<bool>) -> Self {
        Self {
            rows: self.rows,
            failed_then,
            numbers: Arc::clone(&self.numbers),
            words: Arc::clone(&self.words),
            tests: Arc::clone(&self.tests),
            first_tests: Arc::clone(&self.first_tests),
        }
    }

    /// The tests of a row's battery up to its day, as they were made.
    pub fn tests(&self, row: usize) -> &[HealthTest] {
        let first = self.first_tests.get(row).copied().unwrap_or(0);
        let so_many = self.number(Number::HealthTests, row).max(0.0) as usize;
        let end = first.saturating_add(so_many).min(self.tests.len());
        self.tests.get(first..end).unwrap_or_default()
    }

    /// A number of a row; NaN where it is not known.
    pub fn number(&self, column: Number, row: usize) -> f64 {
        self.numbers[column as usize][row]
    }

    /// A word of a row.
    pub fn word(&self, column: Word, row: usize) -> Option<&str> {
        self.words[column as usize].of(row)
    }

    /// A new column, row by row.
    pub fn map(&self, value: impl Fn(usize) -> f64) -> Vec<f64> {
        (0..self.rows).map(value).collect()
    }

    /// The distinct words of a column, sorted.
    pub fn levels(&self, column: Word) -> Vec<String> {
        let mut levels = self.words[column as usize].words.clone();
        levels.sort_unstable();
        levels
    }

    /// Rows that are to be foretold.
    pub fn current(&self) -> Vec<usize> {
        (0..self.rows)
            .filter(|row| self.number(Number::PeriodsBack, *row) == 0.0)
            .collect()
    }

    /// Rows whose outcome was watched.
    pub fn watched(&self) -> Vec<usize> {
        (0..self.rows)
            .filter(|row| self.number(Number::Weight, *row) > 0.0)
            .collect()
    }
}
