//! Column names: plain synonyms of the lake's own, and the likely match of an unknown one.

use crate::fields::dump::DumpKind;
use crate::fields::meaning::{Meaning, meaning};
use crate::fields::unit::Unit;
use strsim::levenshtein;

/// The column, before the others of a file with rows that were mended, that says where each first stood.
pub const ORIGIN_COLUMN: &str = "voltwane_origin";

/// Plain synonyms: name, field, unit where it is not the lake's.
const SYNONYMS: &[(&str, &str, Option<&str>)] = &[
    ("vehicle_identification_number", "vin", None),
    ("chassis_no", "vin", None),
    ("chassis_number", "vin", None),
    ("unit", "unit_no", None),
    ("unit_number", "unit_no", None),
    ("fleet_no", "unit_no", None),
    ("site", "depot", None),
    ("location", "depot", None),
    ("manufacturer", "make", None),
    ("year", "model_year", None),
    ("in_service", "in_service_date", None),
    ("in_service_on", "in_service_date", None),
    ("left_fleet_on", "left_fleet_date", None),
    ("joined_fleet_on", "joined_fleet_date", None),
    ("odometer_mi", "odometer_km", Some("mi")),
    ("odometer_miles", "odometer_km", Some("mi")),
    ("mileage_km", "odometer_km", None),
    ("battery_position", "position", None),
    ("test_time", "tested_at", None),
    ("test_date", "tested_at", None),
    ("rest_voltage", "rest_voltage_v", None),
    ("open_circuit_voltage", "rest_voltage_v", None),
    ("open_circuit_voltage_v", "rest_voltage_v", None),
    ("temperature_f", "temperature_c", Some("degF")),
    ("battery_temperature_c", "temperature_c", None),
    ("battery_temperature_f", "temperature_c", Some("degF")),
    ("verdict", "source_verdict", None),
    ("scan_no", "scan_id", None),
    ("scan_time", "scanned_at", None),
    ("scan_date", "scanned_at", None),
    ("supply_voltage", "supply_voltage_v", None),
    ("miles_since_clear", "km_since_clear", Some("mi")),
    ("module", "module_address", None),
    ("trouble_code", "code", None),
    ("dtc", "code", None),
    ("order_number", "order_no", None),
    ("work_order", "order_no", None),
    ("work_order_no", "order_no", None),
    ("opened", "opened_at", None),
    ("closed", "closed_at", None),
    ("labor_hours", "labour_hours", None),
    ("labour_minutes", "labour_hours", Some("min")),
    ("date", "day", None),
    ("mean_temperature", "mean_temperature_c", None),
    ("max_temperature", "max_temperature_c", None),
    ("min_temperature", "min_temperature_c", None),
    ("mean_temperature_f", "mean_temperature_c", Some("degF")),
    ("max_temperature_f", "max_temperature_c", Some("degF")),
    ("min_temperature_f", "min_temperature_c", Some("degF")),
    ("part_number", "part_no", None),
    ("lot_no", "lot", None),
];

/// Words in a column's name that hint at a field but do not tell it: tried in turn, for suggestions
/// alone.
const HINTS: &[(&str, &[&str])] = &[
    ("vin", &["vin", "chassis", "frame"]),
    ("position", &["position", "slot"]),
    ("rest_voltage_v", &["ocv", "resting", "standing"]),
    (
        "measured_value",
        &[
            "conductance",
            "cond",
            "resistance",
            "cca",
            "ohm",
            "mohm",
            "siemens",
            "measured",
        ],
    ),
    ("temperature_c", &["temp", "temperature"]),
    ("mean_temperature_c", &["mean", "average", "avg"]),
    ("max_temperature_c", &["max", "high"]),
    ("min_temperature_c", &["min", "low"]),
    ("rated_value", &["rated", "rating", "label", "nominal"]),
    ("rating_value", &["rated", "rating", "nominal"]),
    (
        "source_verdict",
        &["result", "verdict", "judgement", "outcome"],
    ),
    ("date_code", &["stamp"]),
    ("surface_charge_removed", &["surface"]),
    ("temperature_compensated", &["compensated"]),
    (
        "technician",
        &["technician", "tech", "mechanic", "tester", "initials"],
    ),
    ("shop", &["shop", "workshop", "garage"]),
    (
        "depot",
        &["depot", "site", "yard", "station", "location", "place"],
    ),
    ("unit_no", &["unit", "asset"]),
    (
        "odometer_km",
        &["odometer", "odo", "mileage", "miles", "km"],
    ),
    ("supply_voltage_v", &["volts", "voltage", "supply"]),
    ("module_address", &["module", "ecu", "address"]),
    ("code", &["code", "dtc", "fault"]),
    ("occurrence_count", &["count", "occurrences"]),
    ("status_byte", &["status"]),
    (
        "operation",
        &["operation", "job", "labour", "labor", "task"],
    ),
    ("complaint", &["complaint", "symptom", "concern"]),
    ("cause", &["cause", "reason"]),
    ("parts_cost", &["parts", "cost"]),
    ("labour_hours", &["hours", "hrs"]),
    ("closed_at", &["closed", "finished", "completed"]),
    ("tested_at", &["date", "time", "when", "tested", "at"]),
    ("scanned_at", &["date", "time", "when", "scanned", "at"]),
    ("opened_at", &["date", "time", "when", "opened", "at"]),
    ("seen_on", &["date", "exported"]),
    ("day", &["date", "day"]),
];

/// Columns of the lake's own that no dump needs to give: what a load adds to a row.
const ADDED_BY_LOADS: &[&str] = &[
    "load_id",
    "row_hash",
    "key_hash",
    "corrects",
    "from_file",
    "from_line",
    "event_year",
];

/// The name in lower case with single underscores for all that is not a letter or digit.
pub fn normalised(name: &str) -> String {
    let mut plain = String::with_capacity(name.len());
    for character in name.trim().chars() {
        if character.is_alphanumeric() {
            plain.extend(character.to_lowercase());
        } else if !plain.is_empty() && !plain.ends_with('_') {
            plain.push('_');
        }
    }
    plain.truncate(plain.trim_end_matches('_').len());
    plain
}

/// The field of that kind which a column of that name surely is, with the unit its name tells.
pub fn own_field(kind: DumpKind, column: &str) -> Option<(&'static str, Option<&'static str>)> {
    let name = normalised(column);
    let fields = kind.fields();
    if let Some(field) = fields.iter().find(|field| field.name == name) {
        return Some((field.name, None));
    }
    let fits = |(synonym, field, _): &&(&str, &'static str, Option<&'static str>)| {
        *synonym == name && kind.has_field(field)
    };
    SYNONYMS
        .iter()
        .find(fits)
        .map(|(_, field, unit)| (*field, *unit))
}

/// Whether the column is one that loads add, so that it may be passed over in silence.
pub fn is_added_by_loads(column: &str) -> bool {
    ADDED_BY_LOADS.contains(&normalised(column).as_str())
}

/// The field an unknown column most likely is, with the unit its name tells: `Batt Temp (F)` is
/// `temperature_c` in degF. `None` when nothing is near.
pub fn likely_field(kind: DumpKind, column: &str) -> Option<(&'static str, Option<&'static str>)> {
    if let Some(found) = own_field(kind, column) {
        return Some(found);
    }
    let name = normalised(column);
    let parts: Vec<&str> = name.split('_').collect();
    let mut best: Option<(f64, &'static str, Option<&'static str>)> = None;
    let own = kind
        .fields()
        .into_iter()
        .map(|field| (field.name, field.name, None));
    let synonyms = SYNONYMS
        .iter()
        .filter(|(_, field, _)| kind.has_field(field))
        .copied();
    for (candidate, field, unit) in own.chain(synonyms) {
        let likeness = likeness(&parts, candidate);
        if likeness > best.map_or(0.6, |(known, ..)| known) {
            best = Some((likeness, field, unit));
        }
    }
    // A hint outweighs a likeness that rests on parts of words.
    let hinted = || {
        let hint = |(field, words): &&(&'static str, &[&str])| {
            kind.has_field(field) && words.iter().any(|word| parts.contains(word))
        };
        HINTS
            .iter()
            .find(hint)
            .map(|(field, _)| (0.9, *field, None))
    };
    let sure = best.filter(|(likeness, ..)| *likeness >= 0.9);
    let (_, field, unit) = sure.or_else(hinted).or(best)?;
    Some((field, unit.or_else(|| told_unit(field, column))))
}

/// The unit in the last word or the brackets of a column's name, where the field can have it.
fn told_unit(field: &str, column: &str) -> Option<&'static str> {
    let Meaning::Number(quantity) = meaning(field) else {
        return None;
    };
    let dimension = quantity.dimension?;
    let last = column
        .trim()
        .rsplit([' ', '(', '[', '_', '/'])
        .next()?
        .trim_end_matches([')', ']']);
    Unit::find(last, dimension)
        .map(|unit| unit.symbol)
        .filter(|symbol| *symbol != dimension.symbol())
}

/// How alike a column's words and a candidate's are, 0 to 1: the mean over the words of both of
/// each one's best match in the other.
fn likeness(parts: &[&str], candidate: &str) -> f64 {
    let other: Vec<&str> = candidate.split('_').collect();
    let side = |from: &[&str], to: &[&str]| -> f64 {
        from.iter()
            .map(|word| {
                to.iter()
                    .map(|near| word_likeness(word, near))
                    .fold(0.0, f64::max)
            })
            .sum()
    };
    (side(parts, &other) + side(&other, parts)) / (parts.len() + other.len()) as f64
}

/// 1 for the same word, near 1 for a shortened one, else by edits; 0 below 0.7.
fn word_likeness(one: &str, other: &str) -> f64 {
    let (short, long) = if one.len() <= other.len() {
        (one, other)
    } else {
        (other, one)
    };
    if short.len() >= 3 && long.starts_with(short) {
        return 0.9 + 0.1 * short.len() as f64 / long.len() as f64;
    }
    let longest = one.chars().count().max(other.chars().count());
    if longest == 0 {
        return 0.0;
    }
    let alike = 1.0 - levenshtein(one, other) as f64 / longest as f64;
    if alike < 0.7 { 0.0 } else { alike }
}

/// The name out of `known` that is nearest to a misspelt one, if any is near.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = normalised(name);
    let near = known
        .into_iter()
        .map(|known| (levenshtein(&name, &normalised(known)), known));
    near.filter(|(distance, known)| *distance <= 2.max(known.len() / 3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, known)| known)
}
