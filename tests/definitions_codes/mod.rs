//! Small lakes with known answers: what a tester says, what is a flood of codes and what is only noise,
//! when a recovery is over.

mod instruments;
mod noise;

use chrono::{DateTime, Days, Duration, NaiveDate};

use crate::workplace::Workplace;

/// A VIN that passes the check digit; the prefix belongs to no maker we know of.
fn vin(number: usize) -> String {
    let mut vin = format!("0VW0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).expect("a day")
}

/// The day so many days after the first, as dumps write it.
fn day(at: u64) -> String {
    (first_day() + Days::new(at)).to_string()
}

/// A moment so many minutes into that day.
fn moment(at: u64, minute: i64) -> String {
    let start: DateTime<chrono::Utc> = first_day()
        .and_hms_opt(8, 0, 0)
        .expect("a moment")
        .and_utc();
    (start + Duration::days(at as i64) + Duration::minutes(minute))
        .format("%Y-%m-%d %H:%M:%S")
        .to_string()
}

/// Dumps with the lake's own column names.
struct Dumps {
    register: String,
    tests: String,
    scans: String,
    codes: String,
    orders: String,
}

/// One scan: monitors ready of those there are, and the distance counted since the last clear.
#[derive(Clone, Copy)]
struct Scan {
    asked: u32,
    ready: u32,
    km_since_clear: f64,
}

const SCAN: Scan = Scan {
    asked: 14,
    ready: 8,
    km_since_clear: 5_000.0,
};

impl Dumps {
    fn new() -> Self {
        Self {
            register: String::from(
                "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,chemistry,rating_value,rating_standard\n",
            ),
            tests: String::from(
                "vin,position,tested_at,rest_voltage_v,temperature_c,measured_value,measured_kind,rated_value,shop\n",
            ),
            scans: String::from(
                "scan_id,vin,scanned_at,modules_asked,modules_answered,supply_voltage_v,monitors_ready,monitors_supported,km_since_clear,shop\n",
            ),
            codes: String::from("scan_id,vin,scanned_at,module_address,code\n"),
            orders: String::from("order_no,vin,opened_at,closed_at,operation,cause,complaint\n"),
        }
    }

    /// A vehicle of a model, in service from a day on.
    fn vehicle(&mut self, number: usize, model: &str, since: &str) -> String {
        let vin = vin(number);
        self.register.push_str(&format!(
            "{vin},2026-06-28,U{number},Midvale,Test,{model},combustion,{since},flooded,600,SAE\n"
        ));
        vin
    }

    fn scan(&mut self, vin: &str, at: &str, scan: Scan, codes: &[(String, String)]) {
        let Scan {
            asked,
            ready,
            km_since_clear,
        } = scan;
        let id = format!("S{}", self.scans.lines().count());
        self.scans.push_str(&format!(
            "{id},{vin},{at},{asked},{asked},13.6,{ready},8,{km_since_clear},Shop\n"
        ));
        for (module, code) in codes {
            self.codes
                .push_str(&format!("{id},{vin},{at},{module},{code}\n"));
        }
    }

    fn load(self) -> Workplace {
        let place = Workplace::new();
        for (name, text) in [
            ("register", self.register),
            ("tests", self.tests),
            ("scans", self.scans),
            ("codes", self.codes),
            ("orders", self.orders),
        ] {
            if text.lines().count() > 1 {
                place.write(&format!("dumps/{name}.csv"), text);
            }
        }
        place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
        place
    }
}

/// So many codes of neither supply nor network, the `from`-th and on, spread over modules.
fn other_codes(from: u64, count: u64) -> Vec<(String, String)> {
    (from..from + count)
        .map(|code| {
            (
                format!("{:02X}", 0x10 + code % 9),
                format!("B{:04}", 1000 + code % 2000),
            )
        })
        .collect()
}
