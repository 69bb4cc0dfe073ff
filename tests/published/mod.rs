//! The main job held against the outside world: published lives are written as the dumps of a fleet,
//! loaded, and what the queries and the report say is compared with the published data's fit.

mod generator_fans;
mod late_entry;

use chrono::{Days, NaiveDate};

use crate::workplace::Workplace;

/// The first day of every test fleet. One unit of published time is one day.
fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(1990, 1, 1).expect("a day")
}

fn day(after: u64) -> NaiveDate {
    first_day() + Days::new(after)
}

/// One published life as a vehicle with one battery.
struct PublishedLife {
    /// Age at which it came under observation.
    entry: u64,
    exit: u64,
    failed: bool,
}

/// A VIN that passes the check digit; the prefix belongs to no maker we know of.
fn vin(number: usize) -> String {
    let mut vin = format!("0VW0000000000{number:04}");
    let digit = voltwane::trade::vin::make_check_digit(&vin).expect("the form is right");
    vin.replace_range(8..9, &digit.to_string());
    vin
}

/// Writes the lives as register and work orders under the lake's own column names. A vehicle enters
/// the fleet with an inspection on the day its life comes under observation; a failed battery is
/// replaced on the day of its no-start, and the vehicle then leaves; the others just leave.
fn write_dumps(place: &Workplace, lives: &[PublishedLife]) {
    let mut register = String::from(
        "vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,joined_fleet_date,chemistry,left_fleet_date\n",
    );
    let mut orders = String::from("order_no,vin,opened_at,closed_at,cause,operation,complaint\n");
    // The day observation starts for those that enter latest is each one's own joining day.
    for (number, life) in lives.iter().enumerate() {
        let vin = vin(number);
        let joined = day(life.entry);
        let left = day(life.exit);
        register.push_str(&format!(
            "{vin},2024-06-30,U{number},Yard,Test,One,combustion,{},{joined},flooded,{left}\n",
            first_day(),
        ));
        orders.push_str(&format!(
            "{number}-0,{vin},{joined} 08:00:00,{joined} 09:00:00,,other,\n"
        ));
        if life.failed {
            for operation in ["no-start call", "battery replaced"] {
                orders.push_str(&format!(
                    "{number}-1,{vin},{left} 10:00:00,{left} 12:00:00,supply,{operation},does not start\n"
                ));
            }
        }
    }
    // Work orders were kept from the first day on.
    orders.push_str(&format!(
        "open,{},{first} 07:00:00,{first} 07:30:00,,other,\n",
        vin(0),
        first = first_day()
    ));
    place.write("dumps/register.csv", register);
    place.write("dumps/orders.csv", orders);
    place.run_expecting(0, &["load", "--lake", "lake", "dumps"]);
}
