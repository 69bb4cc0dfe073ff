//! Every value a user gave, held against its option: is there such a key, is it of the right kind,
//! does it lie within its bound. All that is wrong is told at once, each with its line.

use std::fmt;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::declare::{Bound, Opt, Shape};
use super::options::OPTIONS;

/// One thing that is wrong in a configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    pub line: usize,
    pub what: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

/// A value that a user gave: its key, with names where the option has one value a name, and its line.
pub type GivenAt = (String, usize);

/// What is wrong in this text, or where each value in it stands.
pub fn check(text: &str, table: &DeTable<'_>) -> Result<Vec<GivenAt>, Vec<Problem>> {
    let mut check = Check {
        text,
        given: Vec::new(),
        problems: Vec::new(),
    };
    for (section, entries) in table {
        check.section(section, entries);
    }
    match check.problems.is_empty() {
        true => Ok(check.given),
        false => {
            check.problems.sort_by_key(|problem| problem.line);
            Err(check.problems)
        }
    }
}

struct Check<'a> {
    text: &'a str,
    given: Vec<GivenAt>,
    problems: Vec<Problem>,
}

type Key<'a> = Spanned<std::borrow::Cow<'a, str>>;

impl Check<'_> {
    fn section(&mut self, section: &Key<'_>, entries: &Spanned<DeValue<'_>>) {
        let name = section.get_ref().as_ref();
        let known = || OPTIONS.iter().filter(|option| option.section == name);
        if known().next().is_none() {
            let sections = OPTIONS.iter().map(|option| option.section);
            return self.unknown(section.span(), name, "a section", sections);
        }
        let DeValue::Table(entries) = entries.get_ref() else {
            return self.wrong(
                section.span(),
                format!("{name} is a section: write [{name}]"),
            );
        };
        for (key, value) in entries {
            let found = known().find(|option| option.name == key.get_ref().as_ref());
            match found {
                Some(option) => self.option(option, key, value),
                None => {
                    let full = format!("{name}.{}", key.get_ref());
                    let names = known().map(|option| option.name);
                    self.unknown(key.span(), &full, "a setting", names);
                }
            }
        }
    }

    fn option(&mut self, option: &Opt, key: &Key<'_>, value: &Spanned<DeValue<'_>>) {
        if option.shape == Shape::One {
            return self.value(&option.key(), option, value);
        }
        let DeValue::Table(named) = value.get_ref() else {
            let what = format!("{} has a value a name: write [{0}]", option.key());
            return self.wrong(key.span(), what);
        };
        for (name, value) in named {
            let full = format!("{}.{}", option.key(), name.get_ref());
            match (option.bound, value.get_ref()) {
                (Bound::DepotLimits, DeValue::Table(limits)) => {
                    for (key, value) in limits {
                        self.depot_limit(&full, key, value);
                    }
                }
                (Bound::DepotLimits, _) => {
                    self.wrong(name.span(), format!("{full} has limits: write [{full}]"));
                }
                _ => self.value(&full, option, value),
            }
        }
    }

    fn depot_limit(&mut self, depot: &str, key: &Key<'_>, value: &Spanned<DeValue<'_>>) {
        let limits = || {
            let week =
                |option: &&Opt| option.section == "plan" && option.name.ends_with("_per_week");
            OPTIONS.iter().filter(week)
        };
        let full = format!("{depot}.{}", key.get_ref());
        match limits().find(|option| option.name == key.get_ref().as_ref()) {
            Some(option) => self.value(&full, option, value),
            None => {
                let names = limits().map(|option| option.name);
                self.unknown(key.span(), &full, "a limit of a depot", names);
            }
        }
    }

    fn value(&mut self, key: &str, option: &Opt, value: &Spanned<DeValue<'_>>) {
        let written = self.text.get(value.span()).unwrap_or_default();
        match fits(option.bound, value.get_ref()) {
            true => self.given.push((key.to_owned(), self.line(&value.span()))),
            false => {
                let must = must_be(option);
                self.wrong(
                    value.span(),
                    format!("{key} is {written}: it must be {must}"),
                );
            }
        }
    }

    fn unknown<'n>(
        &mut self,
        span: Range<usize>,
        found: &str,
        what: &str,
        known: impl Iterator<Item = &'n str>,
    ) {
        let last = found.rsplit('.').next().unwrap_or(found);
        let nearest = known
            .map(|name| (strsim::jaro_winkler(last, name), name))
            .filter(|(likeness, _)| *likeness > 0.8)
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let hint = match nearest {
            Some((_, name)) => format!("did you mean {name}?"),
            None => "`voltwane settings` lists them all".to_owned(),
        };
        self.wrong(span, format!("{found} is not {what}: {hint}"));
    }

    fn wrong(&mut self, span: Range<usize>, what: String) {
        let line = self.line(&span);
        self.problems.push(Problem { line, what });
    }

    fn line(&self, span: &Range<usize>) -> usize {
        let before = self.text.as_bytes().iter().take(span.start);
        1 + before.filter(|byte| **byte == b'\n').count()
    }
}

fn fits(bound: Bound, value: &DeValue<'_>) -> bool {
    let number = || match value {
        DeValue::Integer(whole) => whole_number(whole).map(|whole| whole as f64),
        DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
        _ => None,
    };
    match bound {
        Bound::Whole(least, most) => match value {
            DeValue::Integer(whole) => {
                whole_number(whole).is_some_and(|whole| (least..=most).contains(&whole))
            }
            _ => false,
        },
        Bound::Number(least, most) => {
            number().is_some_and(|number| (least..=most).contains(&number))
        }
        Bound::Above(least, most) => {
            number().is_some_and(|number| number > least && number <= most)
        }
        Bound::YesNo => matches!(value, DeValue::Boolean(_)),
        Bound::Day => match value {
            DeValue::String(text) => text.parse::<chrono::NaiveDate>().is_ok(),
            DeValue::Datetime(day) => day.date.is_some() && day.time.is_none(),
            _ => false,
        },
        Bound::Text => matches!(value, DeValue::String(_)),
        Bound::DepotLimits => matches!(value, DeValue::Table(_)),
    }
}

fn whole_number(written: &toml::de::DeInteger<'_>) -> Option<i64> {
    i64::from_str_radix(written.as_str(), written.radix()).ok()
}

/// What a value of the option must be, with its unit: "a number from 0.05 to 1, share of the rating".
pub fn must_be(option: &Opt) -> String {
    let range = match option.bound {
        Bound::Whole(least, most) => format!("a whole number from {least} to {most}"),
        Bound::Number(least, f64::INFINITY) => format!("a number from {least}, or inf"),
        Bound::Number(least, most) => format!("a number from {least} to {most}"),
        Bound::Above(least, most) => format!("a number above {least}, at most {most}"),
        Bound::YesNo => "true or false".to_owned(),
        Bound::Day => "a day such as 2025-03-31".to_owned(),
        Bound::Text => "a text".to_owned(),
        Bound::DepotLimits => "a depot's limits".to_owned(),
    };
    match option.unit {
        "" => range,
        unit => format!("{range} ({unit})"),
    }
}
