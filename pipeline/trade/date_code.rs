//! Date codes on battery cases: when a battery was made.
//!
//! The common form is a letter for the month (A January to M December, no I) and the last digit of
//! the year, B9 for February 1999 or 2009: printed in public training pages. The decade is the latest
//! in which the battery was made no later than the day it was seen. Other forms are read only when
//! asked for, because A1 to L9 would be read differently by them. A code that cannot be is refused.

use chrono::{Datelike, Months, NaiveDate, Weekday};
use regex::Regex;
use thiserror::Error;

/// Why a date code says no date.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum DateCodeError {
    #[error("date code '{code}' has not the form {form}")]
    Form { code: String, form: &'static str },
    #[error("date code '{code}' has '{letter}' for the month: months are A to M without I")]
    Month { code: String, letter: char },
    #[error("date code '{code}' does not match the pattern {pattern}")]
    NoMatch { code: String, pattern: String },
    #[error("date code '{code}' has {part} '{found}', which is none")]
    Part {
        code: String,
        part: &'static str,
        found: String,
    },
    #[error(
        "date code '{code}' says made on or after {made}, later than {seen_on}, when the battery was seen"
    )]
    Future {
        code: String,
        made: NaiveDate,
        seen_on: NaiveDate,
    },
    #[error("pattern '{pattern}' cannot be used: {reason}")]
    Pattern { pattern: String, reason: String },
}

/// How a maker writes its codes.
#[derive(Debug, Clone, Default)]
pub enum DateCodeForm {
    /// `B9`: month letter without I, last digit of the year.
    #[default]
    LetterDigit,
    /// `B9` with the letters A to L, I being September.
    LetterDigitWithI,
    /// `9B`: last digit of the year, month letter without I.
    DigitLetter,
    /// `B19`: month letter without I, last two digits of the year.
    LetterTwoDigits,
    /// Whatever a [`DatePattern`] reads.
    Pattern(DatePattern),
}

/// A user's regular expression with named groups: `year` (one, two or four digits) and one of
/// `month_letter`, `month` (1 to 12), `week` (1 to 53) or `day_of_year` (1 to 366); the year alone
/// will do. `day` may go with a month.
#[derive(Debug, Clone)]
pub struct DatePattern(Regex);

const GROUPS: [&str; 6] = [
    "year",
    "month_letter",
    "month",
    "week",
    "day_of_year",
    "day",
];

impl DatePattern {
    /// Reads the expression; it is matched without regard to case against the trimmed code.
    pub fn new(pattern: &str) -> Result<Self, DateCodeError> {
        let refuse = |reason: String| DateCodeError::Pattern {
            pattern: pattern.to_owned(),
            reason,
        };
        let regex = regex::RegexBuilder::new(pattern)
            .case_insensitive(true)
            .size_limit(1 << 20)
            .build()
            .map_err(|error| refuse(error.to_string()))?;
        let names: Vec<&str> = regex.capture_names().flatten().collect();
        if !names.contains(&"year") {
            return Err(refuse(
                "it has no group named year, such as (?<year>[0-9]{2})".to_owned(),
            ));
        }
        if let Some(unknown) = names.iter().find(|name| !GROUPS.contains(name)) {
            return Err(refuse(format!(
                "group '{unknown}' is none of {}",
                GROUPS.join(", ")
            )));
        }
        Ok(DatePattern(regex))
    }
}

/// When a battery was made: on one of these days, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct MadeBetween {
    pub earliest: NaiveDate,
    pub latest: NaiveDate,
}

impl MadeBetween {
    /// Days from the first to the last possible day.
    pub fn span_days(&self) -> i64 {
        (self.latest - self.earliest).num_days()
    }
}

/// When the battery with this code was made, given a day on which it was seen.
pub fn read_date_code(
    code: &str,
    form: &DateCodeForm,
    seen_on: NaiveDate,
) -> Result<MadeBetween, DateCodeError> {
    let parts = match form {
        DateCodeForm::LetterDigit => {
            letter_and_digits(code, LETTERS, 1, "letter and digit, such as B9")?
        }
        DateCodeForm::LetterDigitWithI => {
            letter_and_digits(code, LETTERS_WITH_I, 1, "letter and digit, such as B9")?
        }
        DateCodeForm::LetterTwoDigits => {
            letter_and_digits(code, LETTERS, 2, "letter and two digits, such as B19")?
        }
        DateCodeForm::DigitLetter => {
            // The digit first is the other form written backwards.
            let backwards: String = code.trim().chars().rev().take(40).collect();
            letter_and_digits(&backwards, LETTERS, 1, "digit and letter, such as 9B")
                .map_err(|e| e.about(code))?
        }
        DateCodeForm::Pattern(pattern) => pattern_parts(code, pattern)?,
    };
    settle_year(code, parts, seen_on)
}

const LETTERS: &str = "ABCDEFGHJKLM";
const LETTERS_WITH_I: &str = "ABCDEFGHIJKL";

/// The part of a year a code names.
#[derive(Clone, Copy)]
enum Part {
    Year,
    Month(u32),
    Day(u32, u32),
    Week(u32),
    DayOfYear(u32),
}

/// A year as written, its digits telling how much of it is known, and the part of it.
struct Parts {
    year: i32,
    year_digits: usize,
    part: Part,
}

fn letter_and_digits(
    code: &str,
    letters: &str,
    digits: usize,
    form: &'static str,
) -> Result<Parts, DateCodeError> {
    let wrong_form = || DateCodeError::Form {
        code: shown(code),
        form,
    };
    let mut characters = code.chars().filter(|c| !c.is_whitespace() && *c != '-');
    let letter = characters
        .next()
        .filter(char::is_ascii_alphabetic)
        .ok_or_else(wrong_form)?;
    let mut year = 0;
    for _ in 0..digits {
        let digit = characters
            .next()
            .and_then(|c| c.to_digit(10))
            .ok_or_else(wrong_form)?;
        year = year * 10 + digit as i32;
    }
    if characters.next().is_some() {
        return Err(wrong_form());
    }
    let month = month_of(letter, letters).ok_or_else(|| DateCodeError::Month {
        code: shown(code),
        letter,
    })?;
    Ok(Parts {
        year,
        year_digits: digits,
        part: Part::Month(month),
    })
}

fn month_of(letter: char, letters: &str) -> Option<u32> {
    letters
        .chars()
        .zip(1..)
        .find(|(l, _)| *l == letter.to_ascii_uppercase())
        .map(|(_, month)| month)
}

fn pattern_parts(code: &str, DatePattern(regex): &DatePattern) -> Result<Parts, DateCodeError> {
    let no_match = || DateCodeError::NoMatch {
        code: shown(code),
        pattern: regex.as_str().to_owned(),
    };
    let found = regex.captures(code.trim()).ok_or_else(no_match)?;
    let wrong = |part, found: &str| DateCodeError::Part {
        code: shown(code),
        part,
        found: shown(found),
    };
    let number = |part: &'static str| match found.name(part) {
        Some(text) => text
            .as_str()
            .parse::<u32>()
            .map(Some)
            .map_err(|_| wrong(part, text.as_str())),
        None => Ok(None),
    };
    let year_text = found.name("year").ok_or_else(no_match)?.as_str();
    let year = number("year")?
        .and_then(|year| i32::try_from(year).ok())
        .ok_or_else(|| wrong("year", year_text))?;
    if !matches!(year_text.len(), 1 | 2 | 4) {
        return Err(wrong("year", year_text));
    }
    let month = match found.name("month_letter") {
        Some(letter) => {
            let character = letter.as_str().chars().next().unwrap_or(' ');
            Some(
                month_of(character, LETTERS)
                    .ok_or_else(|| wrong("month_letter", letter.as_str()))?,
            )
        }
        None => number("month")?,
    };
    let part = match (
        month,
        number("day")?,
        number("week")?,
        number("day_of_year")?,
    ) {
        (Some(month), Some(day), ..) => Part::Day(month, day),
        (Some(month), None, ..) => Part::Month(month),
        (None, _, Some(week), _) => Part::Week(week),
        (None, _, None, Some(day)) => Part::DayOfYear(day),
        (None, _, None, None) => Part::Year,
    };
    Ok(Parts {
        year,
        year_digits: year_text.len(),
        part,
    })
}

/// Fills in the decade or century: the latest in which the code's first day is not after `seen_on`.
fn settle_year(code: &str, parts: Parts, seen_on: NaiveDate) -> Result<MadeBetween, DateCodeError> {
    let cycle = match parts.year_digits {
        1 => 10,
        2 => 100,
        _ => 0,
    };
    let candidates = if cycle == 0 {
        [parts.year, parts.year]
    } else {
        let this_cycle = seen_on.year().div_euclid(cycle) * cycle + parts.year;
        [this_cycle, this_cycle - cycle]
    };
    // 29 February or a 53rd week may exist in one candidate year only.
    let days: Vec<MadeBetween> = candidates
        .iter()
        .filter_map(|year| days_of(*year, parts.part))
        .collect();
    match days.iter().find(|made| made.earliest <= seen_on) {
        Some(made) => Ok(*made),
        None => Err(match days.last() {
            Some(made) => DateCodeError::Future {
                code: shown(code),
                made: made.earliest,
                seen_on,
            },
            None => DateCodeError::Part {
                code: shown(code),
                part: "day",
                found: parts.part.to_string(),
            },
        }),
    }
}

fn days_of(year: i32, part: Part) -> Option<MadeBetween> {
    let (earliest, latest) = match part {
        Part::Year => (
            NaiveDate::from_ymd_opt(year, 1, 1)?,
            NaiveDate::from_ymd_opt(year, 12, 31)?,
        ),
        Part::Month(month) => {
            let first = NaiveDate::from_ymd_opt(year, month, 1)?;
            (first, first.checked_add_months(Months::new(1))?.pred_opt()?)
        }
        Part::Week(week) => (
            NaiveDate::from_isoywd_opt(year, week, Weekday::Mon)?,
            NaiveDate::from_isoywd_opt(year, week, Weekday::Sun)?,
        ),
        Part::Day(month, day) => {
            let date = NaiveDate::from_ymd_opt(year, month, day)?;
            (date, date)
        }
        Part::DayOfYear(day) => {
            let date = NaiveDate::from_yo_opt(year, day)?;
            (date, date)
        }
    };
    Some(MadeBetween { earliest, latest })
}

impl std::fmt::Display for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Part::Year => f.write_str("year"),
            Part::Month(month) => write!(f, "month {month}"),
            Part::Day(month, day) => write!(f, "month {month} day {day}"),
            Part::Week(week) => write!(f, "week {week}"),
            Part::DayOfYear(day) => write!(f, "day {day} of the year"),
        }
    }
}

impl DateCodeError {
    /// The same fault, told of the code as it was written.
    fn about(self, written: &str) -> Self {
        match self {
            DateCodeError::Form { form, .. } => DateCodeError::Form {
                code: shown(written),
                form,
            },
            DateCodeError::Month { letter, .. } => DateCodeError::Month {
                code: shown(written),
                letter,
            },
            other => other,
        }
    }
}

fn shown(code: &str) -> String {
    code.trim().chars().take(40).collect()
}
