//! In which forms a column's dates and times are written, by its cells.

use chrono::NaiveTime;

use super::fields::moment::Formats;

const DAYS: &[&str] = &[
    "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d-%b-%Y", "%d %b %Y", "%b %d %Y",
    "%Y/%m/%d", "%Y%m%d", "%d.%m.%y", "%m/%d/%y", "%d/%m/%y", "%d-%b-%y",
];
const TIMES: &[&str] = &[
    "%H:%M",
    "%H:%M:%S",
    "%I:%M %p",
    "%I:%M:%S %p",
    "%H.%M",
    "%H%M",
];

/// Whether all cells are times of a day.
pub fn is_time(cells: &[String]) -> bool {
    !cells.is_empty() && !times(cells).is_empty()
}

/// Time formats that fit all cells.
pub fn times(cells: &[String]) -> Vec<String> {
    let fits = |pattern: &&&str| {
        cells
            .iter()
            .all(|cell| NaiveTime::parse_from_str(cell, pattern).is_ok())
    };
    TIMES
        .iter()
        .filter(fits)
        .map(|pattern| (*pattern).to_owned())
        .collect()
}

/// Date formats that fit nearly all cells; a dump's few slips shall not hide its format.
pub fn dates(cells: &[String]) -> Vec<String> {
    let mut fitting = Vec::new();
    for day in DAYS {
        let joined = TIMES.iter().map(|time| format!("{day} {time}"));
        for pattern in std::iter::once((*day).to_owned()).chain(joined) {
            let Ok(formats) = Formats::new(std::slice::from_ref(&pattern)) else {
                continue;
            };
            let read = cells
                .iter()
                .filter(|cell| formats.day(cell).is_ok())
                .count();
            if read > 0 && read * 20 >= cells.len() * 19 {
                fitting.push(pattern);
            }
        }
    }
    fitting
}
