//! Why a battery's chance is what it is.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::super::style::Units;
use super::ago;
use risk::feature::Topic;
use trade::calendar::DAYS_A_YEAR;
use trade::derived_words::SinceCall;

/// A reason as the table of chances gives it.
#[derive(Debug, Clone, Deserialize)]
pub struct Reason {
    pub topic: String,
    pub numbers: BTreeMap<String, f64>,
}

impl Reason {
    fn number(&self, name: &str) -> Option<f64> {
        self.numbers.get(name).copied()
    }
}

/// A battery with its reasons, and what its row says beside them.
#[derive(Debug, Clone, Copy)]
pub struct Reasoned<'a> {
    /// None for a battery only just on record.
    pub reasons: Option<&'a [Reason]>,
    pub position: &'a str,
    pub chemistry: Option<&'a str>,
    pub battery_group: Option<&'a str>,
    pub powertrain: Option<&'a str>,
    /// The day of a call that counts as a failure, and until when it does.
    pub failed_on: Option<&'a str>,
    pub failed_until: Option<&'a str>,
    pub open_call: Option<&'a Call>,
}

/// A call that neither a new battery nor a fit test has answered, as a row of the plan has it.
#[derive(Debug, Clone, Deserialize)]
pub struct Call {
    called_on: Option<String>,
    /// What was done since.
    since_call: Option<String>,
    /// Calls that stood as long with the same done since, and how many of them proved a failure.
    calls_alike: Option<i64>,
    calls_proved: Option<i64>,
}

impl Call {
    /// What is said of it; nothing where none stands open.
    fn said(&self) -> Option<String> {
        let on = self.called_on.as_deref()?;
        let done = match self
            .since_call
            .as_deref()
            .and_then(|since| since.parse().ok())
        {
            Some(SinceCall::Charged) => "charged and neither replaced nor tested fit since",
            Some(SinceCall::FoundBad) => "found worn and not replaced since",
            Some(SinceCall::NotLookedAt) | None => "neither replaced nor tested fit since",
        };
        let record = match self.calls_alike.unwrap_or(0) {
            0 => "no such call is on record before".to_owned(),
            alike => {
                let proved = self.calls_proved.unwrap_or(0);
                format!("of {alike} such calls {proved} proved a failure")
            }
        };
        Some(format!(
            "a call on {on} was put down to the 12 V supply, {done}: {record}"
        ))
    }
}

impl Reasoned<'_> {
    /// All reasons as one line.
    pub fn said(&self, units: Units) -> String {
        let mut parts = Vec::new();
        if let Some(day) = self.failed_on {
            parts.push(format!(
                "a call on {day} was put down to the 12 V supply, it was found worn since and no new battery is on record: counts as failed until {}, after that as discharged only",
                self.failed_until.unwrap_or("its time is over")
            ));
        }
        parts.extend(self.open_call.and_then(Call::said));
        parts.extend(
            self.reasons
                .unwrap_or_default()
                .iter()
                .filter_map(|reason| self.reason(reason, units)),
        );
        match parts.is_empty() {
            true => "only just on record".to_owned(),
            false => parts.join("; "),
        }
    }

    fn reason(&self, reason: &Reason, units: Units) -> Option<String> {
        match Topic::named(&reason.topic)? {
            Topic::Age => age(reason),
            Topic::Tests => Some(tests(reason)),
            Topic::Voltage => voltage(reason),
            Topic::Codes => Some(codes(reason)),
            Topic::Mishaps => shop_events(reason),
            Topic::Weather => weather(reason, units),
            Topic::Kind => self.kind(),
            Topic::Usage => reason
                .number("km_per_day")
                .map(|km| format!("driven {} a day", units.distance(km))),
            Topic::PastFailures => Some(match reason.number("failed_before").unwrap_or(0.0) {
                1.0 => "one battery failed here before".to_owned(),
                times if times > 1.0 => format!("{times:.0} batteries failed here before"),
                _ => "no battery on record failed here before".to_owned(),
            }),
        }
    }

    fn kind(&self) -> Option<String> {
        let mut parts = Vec::new();
        if self.position != "main" {
            parts.push(format!("{} battery", self.position));
        }
        parts.extend(self.chemistry.map(str::to_owned));
        parts.extend(self.battery_group.map(|group| format!("group {group}")));
        parts.extend(
            self.powertrain
                .map(|powertrain| format!("in a {powertrain} vehicle")),
        );
        (!parts.is_empty()).then(|| format!("its kind: {}", parts.join(" ")))
    }
}

fn age(reason: &Reason) -> Option<String> {
    let years = reason.number("age_days")? / DAYS_A_YEAR;
    Some(match reason.number("uncertainty_days") {
        Some(days) if days > 60.0 => {
            format!("about {years:.0} years old (its install day is not on record)")
        }
        _ => format!("{years:.1} years old"),
    })
}

fn tests(reason: &Reason) -> String {
    let discharged = reason.number("last_found_discharged").is_some();
    let tested = reason.number("days_since_test");
    let Some(health) = reason.number("health") else {
        return match tested {
            None => "never tested".to_owned(),
            Some(days) if discharged => {
                format!("found discharged {}, never tested when charged", ago(days))
            }
            Some(days) => format!("no usable test of its health; looked at last {}", ago(days)),
        };
    };
    let days = reason.number("days_since_health").unwrap_or(f64::NAN);
    // A later test that found it discharged says nothing of its health, but is its last.
    let later = tested.filter(|tested| discharged && *tested < days);
    let which = match later {
        Some(_) => "when last tested charged,",
        None => "at its last test",
    };
    let mut text = format!(
        "{:.0} % of rated cranking {which} {}",
        health * 100.0,
        ago(days)
    );
    // A battery does not heal: a rise is the noise of a test.
    if let Some(slope) = reason
        .number("health_per_year")
        .filter(|slope| *slope <= -0.005)
    {
        text.push_str(&format!(", falling {:.0} points a year", -slope * 100.0));
    }
    if let Some(days) = later {
        text.push_str(&format!(", found discharged {}", ago(days)));
    }
    text
}

fn voltage(reason: &Reason) -> Option<String> {
    let mut parts = Vec::new();
    parts.extend(
        reason
            .number("rest_voltage_v")
            .map(|volts| format!("{volts:.2} V at rest at its last test")),
    );
    parts.extend(
        reason
            .number("least_supply_v_91")
            .map(|volts| format!("{volts:.1} V at a scan in the last 13 weeks")),
    );
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn times(count: f64, what: &str) -> String {
    match count {
        1.0 => format!("one {what}"),
        count => format!("{count:.0} {what}s"),
    }
}

fn codes(reason: &Reason) -> String {
    let count = |name: &str| reason.number(name).unwrap_or(0.0);
    let (floods, sessions) = (count("supply_floods_364"), count("supply_sessions_364"));
    if floods > 0.0 {
        return format!("{} of low-voltage codes in a year", times(floods, "flood"));
    }
    if sessions > 0.0 {
        return format!(
            "low-voltage codes at {} in a year, {:.0} of them in the last 13 weeks",
            times(sessions, "scan session"),
            count("supply_sessions_91"),
        );
    }
    match count("sessions_364") {
        0.0 => "not scanned in a year".to_owned(),
        scans => format!(
            "no low-voltage codes at {} in a year",
            times(scans, "scan session")
        ),
    }
}

fn shop_events(reason: &Reason) -> Option<String> {
    let counted = [
        (
            "found_discharged",
            "time found discharged",
            "times found discharged",
        ),
        (
            "charges",
            "time charged in the shop",
            "times charged in the shop",
        ),
        (
            "calls",
            "supply call it came through",
            "supply calls it came through",
        ),
    ];
    let parts: Vec<String> = counted
        .iter()
        .filter_map(|(column, once, often)| match reason.number(column)? {
            1.0 => Some(format!("one {once}")),
            count if count > 1.0 => Some(format!("{count:.0} {often}")),
            _ => None,
        })
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Cold ahead is the coldest morning; heat ahead mean degrees above 30 °C, so days on the other side count
/// as just there.
fn weather(reason: &Reason, units: Units) -> Option<String> {
    if let Some(cold) = reason.number("cold_ahead").filter(|cold| *cold < -0.5) {
        return Some(format!(
            "frost ahead: a coldest morning of about {} in these weeks of the years before",
            units.temperature(cold)
        ));
    }
    if let Some(hot) = reason.number("heat_ahead").filter(|hot| *hot > 0.5) {
        return Some(format!(
            "heat ahead: afternoons of about {} in these weeks of the years before",
            units.temperature(30.0 + hot)
        ));
    }
    // Twice as fast every 10 degrees: the mean temperature that ages as fast.
    let heat = reason.number("heat")?;
    Some(format!(
        "a depot whose year ages batteries like a steady {}",
        units.temperature(25.0 + 10.0 * heat.log2())
    ))
}
