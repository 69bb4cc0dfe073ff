//! A user's values over the defaults, key by key: a map given in part keeps the defaults of the rest.

use toml::{Table, Value};

/// `over` laid over `under`, table by table.
pub fn merge(under: &mut Table, over: Table) {
    for (key, value) in over {
        match (under.get_mut(&key), value) {
            (Some(Value::Table(under)), Value::Table(over)) => merge(under, over),
            // Days are kept as the text they are written as.
            (_, Value::Datetime(day)) => {
                under.insert(key, Value::String(day.to_string()));
            }
            (_, value) => {
                under.insert(key, value);
            }
        }
    }
}
