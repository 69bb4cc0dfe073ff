//! What a line says without a cell for it: the battery meant, a scan's number, a code's parts.
//!
//! Only what follows from the line itself is filled in; nothing is taken from other lines.

use std::borrow::Cow;

use chrono::{DateTime, Datelike};

use crate::fault::Fault;
use crate::fields::cell::Value;
use crate::fields::dump::DumpKind;
use crate::fields::moment::shown_instant;
use crate::mapping::header_layout::HeaderLayout;
use trade::date_code::{DateCodeError, DateCodeForm, read_date_code};
use trade::heavy_code::{Code, HeavyCode};
use trade::trouble_code::{Status, TypedCode};

/// The main battery, which a test that names none is of.
const MAIN: &str = "main";

/// The letters of the months in a date code: no I.
const MONTH_LETTERS: &str = "ABCDEFGHJKLM";

/// Fills in the rows under one header.
pub struct CompleteRow {
    kind: DumpKind,
    position: Option<usize>,
    measured_value: Option<usize>,
    measured_kind: Option<usize>,
    tested_at: Option<usize>,
    date_code: Option<usize>,
    date_code_form: Option<DateCodeForm>,
    code: Option<CodePlaces>,
}

/// Where the parts of a code stand.
#[derive(Clone, Copy)]
struct CodePlaces {
    scan_id: usize,
    vin: usize,
    scanned_at: usize,
    module_address: usize,
    code: usize,
    failure_type: usize,
    status_byte: usize,
    pending: usize,
    confirmed: usize,
    spn: usize,
    fmi: usize,
}

impl CodePlaces {
    fn new(layout: &HeaderLayout) -> Option<CodePlaces> {
        Some(CodePlaces {
            scan_id: layout.place("scan_id")?,
            vin: layout.place("vin")?,
            scanned_at: layout.place("scanned_at")?,
            module_address: layout.place("module_address")?,
            code: layout.place("code")?,
            failure_type: layout.place("failure_type")?,
            status_byte: layout.place("status_byte")?,
            pending: layout.place("pending")?,
            confirmed: layout.place("confirmed")?,
            spn: layout.place("spn")?,
            fmi: layout.place("fmi")?,
        })
    }
}

impl CompleteRow {
    pub fn new(layout: &HeaderLayout) -> CompleteRow {
        CompleteRow {
            kind: layout.kind(),
            position: layout.place("position"),
            measured_value: layout.place("measured_value"),
            measured_kind: layout.place("measured_kind"),
            tested_at: layout.place("tested_at"),
            date_code: layout.place("date_code"),
            date_code_form: layout.mapping.date_code.clone().map(DateCodeForm::Pattern),
            code: CodePlaces::new(layout),
        }
    }

    /// Fills in one row whose cells have all been read.
    pub fn row(&self, values: &mut [Value<'_>], faults: &mut Vec<Fault>) {
        match self.kind {
            DumpKind::BatteryTest => {
                self.battery_test(values);
                faults.extend(self.date_code(values).err());
            }
            DumpKind::CodeScan | DumpKind::TroubleCode => {
                if let Some(places) = self.code {
                    let settled = complete_code(places, values)
                        .and_then(|()| complete_scan(self.kind, places, values));
                    faults.extend(settled.err());
                }
            }
            DumpKind::Vehicle | DumpKind::DepotWeather | DumpKind::WorkOrder => {}
        }
    }

    fn battery_test(&self, values: &mut [Value<'_>]) {
        if let Some(position) = self.position.filter(|place| values[*place].is_missing()) {
            values[position] = Value::Text(Cow::Borrowed(MAIN));
        }
        if let (Some(value), Some(kind)) = (self.measured_value, self.measured_kind)
            && values[value].is_missing()
        {
            values[kind] = Value::Missing;
        }
    }

    /// A code in the shop's own writing becomes month letter and year digit, the form that every
    /// reader of the lake knows. One that cannot be read stays as it is.
    fn date_code(&self, values: &mut [Value<'_>]) -> Result<(), Fault> {
        let (Some(place), Some(tested_at), Some(form)) =
            (self.date_code, self.tested_at, &self.date_code_form)
        else {
            return Ok(());
        };
        let (Some(code), Value::Instant(at)) = (values[place].text(), &values[tested_at]) else {
            return Ok(());
        };
        let Some(tested_on) = DateTime::from_timestamp_micros(*at).map(|at| at.date_naive()) else {
            return Ok(());
        };
        match read_date_code(code, form, tested_on) {
            // The code names at most a month; a bare year has no such form.
            Ok(made) if made.span_days() <= 31 => {
                let month = made.earliest.month0() as usize;
                let letter = MONTH_LETTERS.chars().nth(month).unwrap_or('A');
                let year_digit = made.earliest.year().rem_euclid(10);
                values[place] = Value::Text(Cow::Owned(format!("{letter}{year_digit}")));
                Ok(())
            }
            Err(error @ DateCodeError::Future { .. }) => Err(Fault::field(
                "date_code",
                "tested before it was made",
                error.to_string(),
            )),
            _ => Ok(()),
        }
    }
}

/// Code text, failure type, SPN and FMI agree and fill each other in; the status byte fills in the
/// flags it holds.
fn complete_code(places: CodePlaces, values: &mut [Value<'_>]) -> Result<(), Fault> {
    let parts = match (&values[places.spn], &values[places.fmi]) {
        (Value::Whole(spn), Value::Whole(fmi)) => {
            let (spn, fmi) = (u32::try_from(*spn).ok(), u8::try_from(*fmi).ok());
            spn.zip(fmi).and_then(|(spn, fmi)| HeavyCode::new(spn, fmi))
        }
        (Value::Missing, Value::Missing) => None,
        (Value::Missing, _) => {
            return Err(Fault::field(
                "spn",
                "an FMI without its SPN",
                "a code needs both",
            ));
        }
        _ => {
            return Err(Fault::field(
                "fmi",
                "an SPN without its FMI",
                "a code needs both",
            ));
        }
    };
    let Some(text) = values[places.code].text().map(str::to_owned) else {
        if let Some(code) = parts {
            values[places.code] = Value::Text(Cow::Owned(code.to_string()));
        }
        return complete_status(places, values);
    };
    if let Ok(typed) = TypedCode::parse(&text) {
        agree(
            places.failure_type,
            "failure_type",
            i64::from(typed.failure_type),
            &text,
            values,
        )?;
        values[places.code] = Value::Text(Cow::Owned(typed.code.to_string()));
    } else if let Ok(Code::Heavy(code)) = Code::parse(&text) {
        agree(places.spn, "spn", i64::from(code.spn()), &text, values)?;
        agree(places.fmi, "fmi", i64::from(code.fmi()), &text, values)?;
    } else if let Some(code) = parts {
        let detail = format!("{text} beside {code}");
        return Err(Fault::field(
            "code",
            "two different codes on one line",
            detail,
        ));
    }
    complete_status(places, values)
}

fn complete_status(places: CodePlaces, values: &mut [Value<'_>]) -> Result<(), Fault> {
    if let Value::Whole(byte) = values[places.status_byte] {
        let status = Status(u8::try_from(byte).unwrap_or_default());
        for (place, flag) in [
            (places.pending, status.pending()),
            (places.confirmed, status.confirmed()),
        ] {
            if values[place].is_missing() {
                values[place] = Value::Flag(flag);
            }
        }
    }
    Ok(())
}

/// Puts `told`, which the code's text says, in its own place, unless something else stands there.
fn agree(
    place: usize,
    field: &'static str,
    told: i64,
    text: &str,
    values: &mut [Value<'_>],
) -> Result<(), Fault> {
    match values[place] {
        Value::Whole(found) if found != told => Err(Fault::field(
            field,
            "the code's text says otherwise",
            format!("{found} beside {text}"),
        )),
        _ => {
            values[place] = Value::Whole(told);
            Ok(())
        }
    }
}

/// A scan without a number is known by its vehicle and time; a code stands in a module.
fn complete_scan(
    kind: DumpKind,
    places: CodePlaces,
    values: &mut [Value<'_>],
) -> Result<(), Fault> {
    if values[places.scan_id].is_missing()
        && let (Some(vin), Value::Instant(at)) =
            (values[places.vin].text(), &values[places.scanned_at])
    {
        values[places.scan_id] = Value::Text(Cow::Owned(format!("{vin} {}", shown_instant(*at))));
    }
    match (
        values[places.code].is_missing(),
        values[places.module_address].is_missing(),
    ) {
        (true, _) if kind == DumpKind::TroubleCode => Err(Fault::field(
            "code",
            "code is missing",
            "a line of this kind is one code",
        )),
        (false, true) => Err(Fault::field(
            "module_address",
            "module_address is missing",
            "a code stands in a module",
        )),
        _ => Ok(()),
    }
}
