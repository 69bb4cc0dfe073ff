//! What a vehicle, a battery, a day and a failure are, in records as they really are: small lakes
//! written by hand, each with its known answer.

mod compensated;
mod days;
mod failures;
mod gone;
mod installs;
mod labels;
mod programme;
mod watch;

use std::fmt::Write;

use crate::workplace::Workplace;

/// A VIN that passes the check digit; the prefix belongs to no maker we know of.
fn vin(number: usize) -> String {
    let mut vin = format!("0VD0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

/// What the dumps of one lake say, in the lake's own columns.
struct Dumps {
    register: String,
    orders: String,
    tests: String,
}

/// A row of the register; what is not named stands empty.
#[derive(Clone, Copy)]
struct Shown<'a> {
    depot: &'a str,
    model: &'a str,
    in_service: &'a str,
    group: &'a str,
    chemistry: &'a str,
    rating: &'a str,
    battery_since: &'a str,
    left: &'a str,
}

impl Default for Shown<'_> {
    fn default() -> Self {
        Self {
            depot: "Midvale",
            model: "One",
            in_service: "2021-01-01",
            group: "H6",
            chemistry: "flooded",
            rating: "600",
            battery_since: "",
            left: "",
        }
    }
}

/// A line of a work order; what is not named stands empty.
#[derive(Clone, Copy, Default)]
struct Line<'a> {
    opened: &'a str,
    closed: &'a str,
    cause: &'a str,
    operation: &'a str,
    position: &'a str,
    complaint: &'a str,
}

impl Dumps {
    fn new() -> Self {
        Self {
            register: "vin,seen_on,depot,make,model,powertrain,in_service_date,battery_group,chemistry,rating_value,rating_standard,battery_installed_on,left_fleet_date\n".to_owned(),
            orders: "order_no,vin,opened_at,closed_at,cause,operation,position,complaint\n".to_owned(),
            tests: "vin,position,tested_at,rest_voltage_v,measured_value,measured_kind,rated_value,rated_standard,chemistry,date_code\n".to_owned(),
        }
    }

    fn shown(&mut self, vin: &str, seen_on: &str, row: Shown<'_>) {
        let standard = if row.rating.is_empty() { "" } else { "EN" };
        writeln!(
            self.register,
            "{vin},{seen_on},{},Test,{},combustion,{},{},{},{},{standard},{},{}",
            row.depot,
            row.model,
            row.in_service,
            row.group,
            row.chemistry,
            row.rating,
            row.battery_since,
            row.left
        )
        .expect("a text takes a row");
    }

    fn line(&mut self, order_no: &str, vin: &str, line: Line<'_>) {
        let closed = if line.closed.is_empty() {
            line.opened
        } else {
            line.closed
        };
        let closed = if closed == "open" { "" } else { closed };
        writeln!(
            self.orders,
            "{order_no},{vin},{},{closed},{},{},{},\"{}\"",
            line.opened, line.cause, line.operation, line.position, line.complaint
        )
        .expect("a text takes a row");
    }

    /// A test of a charged battery that reads so many amperes (EN); `label` is rating, standard and chemistry.
    fn test(&mut self, vin: &str, position: &str, at: &str, amperes: u32, label: &str) {
        let label = if label.is_empty() { ",," } else { label };
        writeln!(
            self.tests,
            "{vin},{position},{at},12.7,{amperes},CCA EN,{label},"
        )
        .expect("a text takes a row");
    }

    fn load(&self) -> Workplace {
        let place = Workplace::new();
        place.write("dumps/register.csv", &self.register);
        place.write("dumps/orders.csv", &self.orders);
        place.write("dumps/tests.csv", &self.tests);
        place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
        place
    }
}

/// The column `answer` of the rows of a query.
#[track_caller]
fn answers(place: &Workplace, as_of: &str, query: &str) -> Vec<String> {
    place
        .sql(&["--as-of", as_of], query)
        .iter()
        .map(|row| row["answer"].as_str().unwrap_or("null").to_owned())
        .collect()
}
