//! Text to day or instant, in the formats and the time zone a mapping names.
//!
//! The ISO 8601 form is always read, and without a format only that (`2026-02-09`, `2026-02-09 14:05`,
//! `2026-02-09T14:05:00Z`): whether `03/04/26` is in March or April is never guessed. A local time
//! that the clocks passed twice is the earlier instant; one they skipped is an error.

use chrono::format::{Item, Parsed, StrftimeItems, parse};
use chrono::{DateTime, Datelike, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

use crate::fault::quoted;

/// How a column's dates are written: strftime patterns, tried in turn. Empty: ISO 8601.
#[derive(Debug, Clone, Default)]
pub struct Formats(Vec<Format>);

#[derive(Debug, Clone)]
struct Format {
    pattern: String,
    items: Vec<Item<'static>>,
}

impl Formats {
    /// The patterns, or the one that is no strftime pattern.
    pub fn new(patterns: &[String]) -> Result<Formats, String> {
        let mut formats = Vec::new();
        for pattern in patterns {
            let items = StrftimeItems::new(pattern)
                .parse_to_owned()
                .map_err(|_| pattern.clone())?;
            formats.push(Format {
                pattern: pattern.clone(),
                items,
            });
        }
        Ok(Formats(formats))
    }

    /// The formats of several columns whose cells are joined with a space: every combination, then
    /// each that gives a day by itself, for rows without the time.
    pub fn joined(columns: &[&Formats]) -> Formats {
        const MOST: usize = 200;
        let mut patterns = vec![String::new()];
        let mut days = Vec::new();
        for formats in columns {
            let own: Vec<&str> = match formats.0.as_slice() {
                [] => vec!["%Y-%m-%d", "%H:%M:%S", "%H:%M"],
                some => some.iter().map(|format| format.pattern.as_str()).collect(),
            };
            let gives_day = |pattern: &&&str| {
                ["%d", "%e", "%j", "%F", "%D", "%-d"]
                    .iter()
                    .any(|part| pattern.contains(part))
            };
            days.extend(
                own.iter()
                    .filter(gives_day)
                    .map(|pattern| (*pattern).to_owned()),
            );
            patterns = patterns
                .iter()
                .flat_map(|start| {
                    own.iter()
                        .map(move |end| format!("{start} {end}").trim_start().to_owned())
                })
                .take(MOST)
                .collect();
        }
        patterns.append(&mut days);
        Formats::new(&patterns).unwrap_or_default()
    }

    pub fn is_iso(&self) -> bool {
        self.0.is_empty()
    }

    /// The patterns, as a person wrote them.
    pub fn shown(&self) -> String {
        if self.is_iso() {
            return "2026-02-09 14:05".to_owned();
        }
        let patterns: Vec<&str> = self
            .0
            .iter()
            .map(|format| format.pattern.as_str())
            .collect();
        patterns.join(" or ")
    }

    /// The day in the text; a time after it is left out.
    pub fn day(&self, text: &str) -> Result<NaiveDate, String> {
        Ok(self.read(text)?.local.date())
    }

    /// The instant in the text, in UTC microseconds.
    pub fn instant(&self, text: &str, zone: Tz) -> Result<i64, String> {
        let moment = self.read(text)?;
        if let Some(seconds) = moment.offset_seconds {
            let instant = moment.local.and_utc().timestamp_micros();
            return Ok(instant - i64::from(seconds) * 1_000_000);
        }
        match zone.from_local_datetime(&moment.local) {
            LocalResult::Single(at) | LocalResult::Ambiguous(at, _) => Ok(at.timestamp_micros()),
            LocalResult::None => Err(format!(
                "{} does not exist in {zone}, the clocks skipped it",
                moment.local.format("%Y-%m-%d %H:%M")
            )),
        }
    }

    /// The calendar day of the instant in the text, by the clocks of where it happened: the zone's
    /// where a mapping names one, else as written.
    pub fn local_day(&self, text: &str, zone: Tz) -> Option<NaiveDate> {
        let moment = self.read(text).ok()?;
        match moment.offset_seconds {
            Some(seconds) if zone != Tz::UTC => {
                let instant = moment.local - chrono::TimeDelta::seconds(i64::from(seconds));
                Some(zone.from_utc_datetime(&instant).date_naive())
            }
            _ => Some(moment.local.date()),
        }
    }

    fn read(&self, text: &str) -> Result<Moment, String> {
        let text = text.trim();
        // Years outside these are slips; microseconds hold all of them.
        let likely = |moment: &Moment| (1900..=2200).contains(&moment.local.year());
        let found = if self.is_iso() {
            Moment::iso(text)
        } else {
            let by_format = |format: &Format| Moment::by_format(text, &format.items);
            let mut found = self.0.iter().filter_map(by_format).peekable();
            let first = found.peek().copied();
            // What is plainly ISO needs no format: date cells of workbooks come so.
            found.find(likely).or_else(|| Moment::iso(text)).or(first)
        };
        match found {
            Some(moment) if likely(&moment) => Ok(moment),
            Some(moment) => Err(format!(
                "{} is in the year {}",
                quoted(text),
                moment.local.year()
            )),
            None if self.is_iso() => Err(format!(
                "{} is not written like {}; name its format in the mapping",
                quoted(text),
                self.shown()
            )),
            None => Err(format!(
                "{} is not written like {}",
                quoted(text),
                self.shown()
            )),
        }
    }
}

/// A local date and time, with its own distance from UTC where it was written.
#[derive(Clone, Copy)]
struct Moment {
    local: NaiveDateTime,
    offset_seconds: Option<i32>,
}

impl Moment {
    fn by_format(text: &str, items: &[Item<'static>]) -> Option<Moment> {
        let mut parsed = Parsed::new();
        parse(&mut parsed, text, items.iter()).ok()?;
        if parsed.timestamp().is_some() {
            let local = parsed.to_naive_datetime_with_offset(0).ok()?;
            return Some(Moment {
                local,
                offset_seconds: Some(0),
            });
        }
        let date = parsed.to_naive_date().ok()?;
        let time = if parsed.hour_mod_12().is_none() {
            NaiveTime::MIN
        } else {
            if parsed.minute().is_none() {
                parsed.set_minute(0).ok()?;
            }
            parsed.to_naive_time().ok()?
        };
        Some(Moment {
            local: date.and_time(time),
            offset_seconds: parsed.offset(),
        })
    }

    /// ISO 8601 extended form: date, optional time after `T` or a blank, optional fraction and offset.
    fn iso(text: &str) -> Option<Moment> {
        let date = NaiveDate::from_ymd_opt(
            i32::try_from(digits(text, 0, 4)?).ok()?,
            digits_after(text, 4, b'-')?,
            digits_after(text, 7, b'-')?,
        )?;
        let rest = text.get(10..)?;
        let mut moment = Moment {
            local: date.and_time(NaiveTime::MIN),
            offset_seconds: None,
        };
        if rest.is_empty() {
            return Some(moment);
        }
        let clock = rest.strip_prefix(['T', 't', ' '])?.trim_start();
        let (hour, minute) = (digits(clock, 0, 2)?, digits_after(clock, 2, b':')?);
        let mut tail = clock.get(5..)?;
        let (mut second, mut microsecond) = (0, 0);
        if tail.starts_with(':') {
            second = digits_after(tail, 0, b':')?;
            tail = tail.get(3..)?;
            if let Some(fraction) = tail.strip_prefix(['.', ',']) {
                let length = fraction.bytes().take_while(u8::is_ascii_digit).count();
                let kept = &fraction[..length.min(6)];
                microsecond =
                    kept.parse::<u32>().ok()? * 10u32.pow(6 - u32::try_from(kept.len()).ok()?);
                tail = &fraction[length..];
            }
        }
        moment.local = date.and_hms_micro_opt(hour, minute, second, microsecond)?;
        moment.offset_seconds = match tail.trim_start() {
            "" => None,
            "Z" | "z" | "UTC" => Some(0),
            offset => Some(iso_offset(offset)?),
        };
        Some(moment)
    }
}

/// `+hh:mm`, `+hhmm` or `+hh`, in seconds.
fn iso_offset(text: &str) -> Option<i32> {
    let sign = match text.as_bytes().first()? {
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let hours = digits(text, 1, 2)?;
    let minutes = match text.len() {
        3 => 0,
        5 => digits(text, 3, 2)?,
        6 => digits_after(text, 3, b':')?,
        _ => return None,
    };
    let minutes = i32::try_from(hours * 60 + minutes).ok()?;
    (minutes <= 18 * 60).then_some(sign * minutes * 60)
}

/// The number that `length` digits at `at` make.
fn digits(text: &str, at: usize, length: usize) -> Option<u32> {
    let digits = text.as_bytes().get(at..at + length)?;
    digits.iter().try_fold(0, |value, byte| {
        byte.is_ascii_digit()
            .then(|| value * 10 + u32::from(byte - b'0'))
    })
}

/// The number that two digits after the mark at `at` make.
fn digits_after(text: &str, at: usize, mark: u8) -> Option<u32> {
    (*text.as_bytes().get(at)? == mark).then(|| digits(text, at + 1, 2))?
}

/// Days since 1970-01-01, as the lake stores a day.
pub fn epoch_days(day: NaiveDate) -> i32 {
    day.num_days_from_ce() - 719_163
}

/// The day of that number, for messages.
pub fn shown_day(days: i32) -> String {
    NaiveDate::from_num_days_from_ce_opt(days + 719_163)
        .map_or_else(|| days.to_string(), |day| day.to_string())
}

/// The instant of that number of UTC microseconds, for messages.
pub fn shown_instant(microseconds: i64) -> String {
    DateTime::<Utc>::from_timestamp_micros(microseconds).map_or_else(
        || microseconds.to_string(),
        |at| at.format("%Y-%m-%d %H:%M UTC").to_string(),
    )
}
