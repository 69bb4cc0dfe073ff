//! The settings as a user reads them: each value with its default, unit, bound, meaning and source.

use toml::{Table, Value};

use super::check::must_be;
use super::declare::{Bound, Shape};
use super::options::{OPTIONS, Settings};
use super::{Given, Place};

/// One value in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// `cost.planned_by_chemistry.AGM`
    pub key: String,
    pub value: String,
    /// Missing where there is no default of that name.
    pub default: Option<String>,
    pub unit: &'static str,
    pub must_be: String,
    pub meaning: &'static str,
    /// Where it was given; missing where it is the default.
    pub given: Option<Place>,
}

impl Settings {
    /// Every value in force, in the order of the options.
    pub fn list(&self) -> Vec<Listed> {
        let (now, usual) = (as_table(self), as_table(&Settings::default()));
        let mut listed = Vec::new();
        for option in OPTIONS {
            let one = |key: String, value: Option<&Value>, default: Option<&Value>| Listed {
                value: value.map_or_else(|| "not given".to_owned(), shown),
                default: default.map(shown),
                unit: option.unit,
                must_be: must_be(option),
                meaning: option.meaning(),
                given: self.given.of(&key).cloned(),
                key,
            };
            let value = value_of(&now, option.section, option.name);
            let default = value_of(&usual, option.section, option.name);
            match (option.shape, value.and_then(Value::as_table)) {
                (Shape::One, _) | (_, None) => listed.push(one(option.key(), value, default)),
                (Shape::ByName, Some(named)) if named.is_empty() => {
                    listed.push(one(option.key(), None, None));
                }
                (Shape::ByName, Some(named)) => {
                    for (name, value) in named {
                        let key = format!("{}.{name}", option.key());
                        if let (Bound::DepotLimits, Some(limits)) = (option.bound, value.as_table())
                        {
                            for (limit, value) in limits {
                                let limited = OPTIONS
                                    .iter()
                                    .find(|o| o.section == "plan" && o.name == limit)
                                    .unwrap_or(option);
                                listed.push(Listed {
                                    unit: limited.unit,
                                    must_be: must_be(limited),
                                    meaning: limited.meaning(),
                                    ..one(format!("{key}.{limit}"), Some(value), None)
                                });
                            }
                            continue;
                        }
                        let default = default.and_then(|table| table.get(name));
                        listed.push(one(key, Some(value), default));
                    }
                }
            }
        }
        listed
    }

    /// The prices the plan rests on that nobody has set: they are round figures, not this fleet's.
    pub fn unedited_prices(&self) -> Vec<String> {
        self.list()
            .into_iter()
            .filter(|value| value.key.starts_with("cost.") && value.unit == "money")
            .filter(|value| value.given.is_none())
            .map(|value| value.key)
            .collect()
    }

    /// The value of an option that is one value, as TOML has it; `None` where it is left out.
    pub fn value(&self, section: &str, name: &str) -> Option<Value> {
        value_of(&as_table(self), section, name).cloned()
    }

    /// What is allowed but cannot do what one may expect of it.
    pub fn warnings(&self) -> Vec<String> {
        let failure = self.cost.unplanned_failure;
        let mut planned = vec![(
            "cost.planned_replacement".to_owned(),
            self.cost.planned_replacement,
        )];
        for (chemistry, cost) in &self.cost.planned_by_chemistry {
            planned.push((format!("cost.planned_by_chemistry.{chemistry}"), *cost));
        }
        planned
            .into_iter()
            .filter(|(_, cost)| *cost >= failure)
            .map(|(key, cost)| {
                let which = |given: Option<&Place>| match given {
                    Some(place) => format!("given in {place}"),
                    None => "the default".to_owned(),
                };
                format!(
                    "{key} is {cost} ({}), not less than cost.unplanned_failure, {failure} ({}): such batteries are never replaced before they fail",
                    which(self.given.of(&key)),
                    which(self.given.of("cost.unplanned_failure")),
                )
            })
            .collect()
    }
}

impl Given {
    /// Where that value was given.
    pub fn of(&self, key: &str) -> Option<&Place> {
        self.0.get(key)
    }
}

/// The settings as a table of tables. What is `None` is left out.
pub(super) fn as_table(settings: &Settings) -> Table {
    Table::try_from(settings).unwrap_or_default()
}

fn value_of<'t>(table: &'t Table, section: &str, name: &str) -> Option<&'t Value> {
    table.get(section)?.get(name)
}

fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Float(number) => number.to_string(),
        other => other.to_string(),
    }
}
