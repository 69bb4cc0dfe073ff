//! Whether what stands in a free column of a dump is a term of the trade, which a shared report may
//! show, or anything else, which may name people. What is taken for a term is narrow on purpose: a
//! term that is not known here costs a reader little, a name that slips through costs trust.

/// Words that say which battery of a vehicle it is (common practice, no source).
const POSITIONS: [&str; 17] = [
    "main",
    "auxiliary",
    "starter",
    "starting",
    "service",
    "house",
    "backup",
    "body",
    "lift",
    "second",
    "third",
    "left",
    "right",
    "front",
    "rear",
    "upper",
    "lower",
];

/// Short names of modules (SAE J1930 gives those of the engine's, the others are common practice, no
/// source).
const MODULES: [&str; 16] = [
    "ECM", "PCM", "TCM", "BCM", "ABS", "SRS", "EPS", "HVAC", "ECU", "TCU", "VCU", "BMS", "OBC",
    "DCDC", "ACM", "GATEWAY",
];

/// Which battery: words of the list, perhaps with a number of one digit.
pub fn is_position(text: &str) -> bool {
    let mut words = text.split([' ', '-', '_']).filter(|word| !word.is_empty());
    let known = |word: &str| {
        POSITIONS.contains(&word.to_lowercase().as_str())
            || (word.len() == 1 && word.bytes().all(|byte| byte.is_ascii_digit()))
    };
    words.next().is_some_and(known) && words.all(known)
}

/// A module's address: eleven or twenty-nine bits in hexadecimal (ISO 15765-4 normal fixed addressing
/// begins with 18DA or 18DB), a source address (SAE J1939-81, one byte), or a short name.
pub fn is_module(text: &str) -> bool {
    let text = text.trim().to_ascii_uppercase();
    if MODULES.contains(&text.as_str()) {
        return true;
    }
    let digits = text.strip_prefix("0X").unwrap_or(&text);
    let hexadecimal = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    match digits.len() {
        ..=3 => hexadecimal,
        8 => hexadecimal && (digits.starts_with("18DA") || digits.starts_with("18DB")),
        _ => false,
    }
}

/// A size group of batteries such as 48, 94R, H5, LN3 or 115D31R: at most seven letters and digits,
/// some of them digits, no more than three of those in a row.
pub fn is_battery_group(text: &str) -> bool {
    let text = text.trim();
    let most_in_a_row = text
        .split(|letter: char| !letter.is_ascii_digit())
        .map(str::len)
        .max()
        .unwrap_or(0);
    text.len() <= 7
        && text.chars().all(|letter| letter.is_ascii_alphanumeric())
        && (1..=3).contains(&most_in_a_row)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn terms_are_told_from_names() {
        for position in ["main", "auxiliary", "second", "rear left", "service-2"] {
            assert!(is_position(position), "{position}");
        }
        for name in ["jane qx", "main of jane", "b00295", "", "17"] {
            assert!(!is_position(name), "{name}");
        }
        for module in ["7E8", "0x7e8", "18DAF110", "33", "0", "ecm"] {
            assert!(is_module(module), "{module}");
        }
        for name in ["Jane Qx", "B00295", "NK000294", "", "12345678", "by H. Q."] {
            assert!(!is_module(name), "{name}");
        }
        for group in ["48", "94R", "H5", "LN3", "55D23L", "115D31R"] {
            assert!(is_battery_group(group), "{group}");
        }
        for name in ["Jane Qx", "B00295", "NK000294", "", "Qx", "Jane 1"] {
            assert!(!is_battery_group(name), "{name}");
        }
    }
}
