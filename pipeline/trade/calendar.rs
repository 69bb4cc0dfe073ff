//! ISO 8601 weeks, and how old a battery is by the best evidence there is.
//!
//! A week text that is no week is refused. An age never fails: without evidence there is none, with
//! evidence that cannot be about this battery (fitted before it was made, seen in the future) that
//! evidence is left out. Which dump the evidence came from is left to the caller.

use std::fmt;

use chrono::{Datelike, NaiveDate, Weekday};
use thiserror::Error;

use super::date_code::MadeBetween;

pub const DAYS_A_WEEK: f64 = 7.0;
/// Of a year of the calendar in the long run, leap years included (Julian year).
pub const DAYS_A_YEAR: f64 = 365.25;
pub const DAYS_A_MONTH: f64 = DAYS_A_YEAR / 12.0;

/// A text that names no ISO week.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("'{found}' is not an ISO week: write year and week, such as 2026-W07")]
pub struct WeekError {
    pub found: String,
}

/// A week from Monday to Sunday, ISO 8601. Ordered by time.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Week {
    monday: NaiveDate,
}

impl Week {
    /// The week this day lies in; at the very ends of the calendar the day itself begins it.
    pub fn of(day: NaiveDate) -> Self {
        let week = day.iso_week();
        Week {
            monday: NaiveDate::from_isoywd_opt(week.year(), week.week(), Weekday::Mon)
                .unwrap_or(day),
        }
    }

    /// Reads `2026-W07`; the hyphen may be missing and the W be small.
    pub fn parse(text: &str) -> Result<Self, WeekError> {
        let refuse = || WeekError {
            found: text.trim().chars().take(40).collect(),
        };
        let (year, week) = text.trim().split_once(['W', 'w']).ok_or_else(refuse)?;
        let year = year.strip_suffix('-').unwrap_or(year);
        let all_digits =
            |part: &str, length| part.len() == length && part.bytes().all(|b| b.is_ascii_digit());
        if !all_digits(year, 4) || !all_digits(week, 2) {
            return Err(refuse());
        }
        let (Ok(year), Ok(week)) = (year.parse(), week.parse()) else {
            return Err(refuse());
        };
        NaiveDate::from_isoywd_opt(year, week, Weekday::Mon)
            .map(|monday| Week { monday })
            .ok_or_else(refuse)
    }

    /// The year the week is counted in, which at New Year may differ from the day's own.
    pub fn year(self) -> i32 {
        self.monday.iso_week().year()
    }

    /// 1 to 53.
    pub fn number(self) -> u32 {
        self.monday.iso_week().week()
    }

    /// The first day.
    pub fn monday(self) -> NaiveDate {
        self.monday
    }

    /// The last day.
    pub fn sunday(self) -> NaiveDate {
        self.monday
            .checked_add_days(chrono::Days::new(6))
            .unwrap_or(self.monday)
    }

    /// The week so many weeks later, or earlier if negative; `None` beyond the calendar.
    pub fn later(self, weeks: i64) -> Option<Self> {
        let days = chrono::TimeDelta::try_weeks(weeks)?;
        Some(Week {
            monday: self.monday.checked_add_signed(days)?,
        })
    }
}

impl fmt::Display for Week {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-W{:02}", self.year(), self.number())
    }
}

impl fmt::Debug for Week {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Week({self})")
    }
}

/// Something that tells how old the battery is that was in the vehicle on some day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AgeEvidence {
    /// It was fitted on this day, by a work order or the register.
    Fitted(NaiveDate),
    /// The date code on its case.
    Made(MadeBetween),
    /// The vehicle's first day on the road, if nothing says that the battery is not the first.
    VehicleInService(NaiveDate),
    /// It was in the vehicle on this day already.
    Seen(NaiveDate),
}

/// Age of a battery since it was fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatteryAge {
    pub age_days: f64,
    /// One sigma of `age_days`.
    pub sigma_days: f64,
    /// What the age rests on.
    pub evidence: AgeEvidence,
}

impl BatteryAge {
    /// Whether it may be any age above this one: nothing but a sighting is known.
    pub const fn is_least(&self) -> bool {
        matches!(self.evidence, AgeEvidence::Seen(_))
    }
}

/// A fitting date is the day the order was written (common practice, no source).
const FITTED_SIGMA_DAYS: f64 = 2.0;
/// Days a battery stands between the factory and the vehicle, and their spread (common practice, no
/// source).
const SHELF_DAYS: f64 = 75.0;
const SHELF_SIGMA_DAYS: f64 = 45.0;
/// The first day on the road dates the battery only if it is the first one, which grows less likely
/// with age (common practice, no source).
const FIRST_BATTERY_SIGMA_DAYS: f64 = 60.0;
const FIRST_BATTERY_SIGMA_PER_DAY: f64 = 0.25;
/// A sighting says no more than a least age.
const SEEN_SIGMA_DAYS: f64 = 730.0;

/// The age on a day by the evidence of the smallest uncertainty.
///
/// Evidence later than `on` is not used, nor a fitting or first day on the road before the battery
/// was made. A battery is no younger than its earliest sighting and no older than its date code.
pub fn battery_age(evidence: &[AgeEvidence], on: NaiveDate) -> Option<BatteryAge> {
    let made = evidence.iter().filter_map(|e| {
        if let AgeEvidence::Made(made) = e {
            Some(*made)
        } else {
            None
        }
    });
    let made_from = made
        .map(|made| made.earliest)
        .filter(|day| *day <= on)
        .max();
    let known = |day: NaiveDate| day <= on && made_from.is_none_or(|made| day >= made);
    let days_since = |day: NaiveDate| (on - day).num_days() as f64;

    let ages = evidence.iter().filter_map(|e| {
        let (age_days, sigma_days) = match *e {
            AgeEvidence::Fitted(day) if known(day) => (days_since(day), FITTED_SIGMA_DAYS),
            AgeEvidence::Made(made) if made.earliest <= on => {
                let span_days = made.span_days() as f64;
                let since_middle = days_since(made.earliest) - span_days / 2.0;
                // A day anywhere in the span is uniform: its sigma is the span over the root of 12.
                (
                    (since_middle - SHELF_DAYS).max(0.0),
                    SHELF_SIGMA_DAYS.hypot(span_days / 12f64.sqrt()),
                )
            }
            AgeEvidence::VehicleInService(day) if known(day) => {
                let age_days = days_since(day);
                (
                    age_days,
                    FIRST_BATTERY_SIGMA_DAYS + FIRST_BATTERY_SIGMA_PER_DAY * age_days,
                )
            }
            AgeEvidence::Seen(day) if known(day) => (days_since(day), SEEN_SIGMA_DAYS),
            _ => return None,
        };
        Some(BatteryAge {
            age_days,
            sigma_days,
            evidence: *e,
        })
    });
    let mut best = ages.min_by(|a, b| {
        a.sigma_days
            .total_cmp(&b.sigma_days)
            .then(b.age_days.total_cmp(&a.age_days))
    })?;

    let sightings = evidence.iter().filter_map(|e| {
        if let AgeEvidence::Seen(day) = e {
            Some(*day)
        } else {
            None
        }
    });
    let least_days = sightings
        .filter(|day| known(*day))
        .map(days_since)
        .fold(0.0, f64::max);
    let most_days = made_from.map_or(f64::INFINITY, days_since);
    best.age_days = best.age_days.max(least_days).min(most_days);
    Some(best)
}
