//! Words and numbers as a report prints them, and text made safe for where it is put.

/// A chance in words: "1 in 6", "more than 19 in 20", "below 1 in 1,000".
pub fn chance(chance: f64) -> String {
    if !chance.is_finite() {
        return "not known".to_owned();
    }
    if chance >= 0.95 {
        return "more than 19 in 20".to_owned();
    }
    if chance < 0.001 {
        return "below 1 in 1,000".to_owned();
    }
    if chance > 0.5 {
        // Above a half, "1 in 1" says nothing: tenths do.
        return format!("{} in 10", (chance * 10.0).round().clamp(6.0, 9.0));
    }
    format!("1 in {}", thousands((1.0 / chance).round()))
}

/// Digits in groups of three.
pub fn thousands(number: f64) -> String {
    let digits = format!("{:.0}", number.abs());
    let mut grouped = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at) % 3 == 0 {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    if number < 0.0 && grouped != "0" {
        grouped.insert(0, '-');
    }
    grouped
}

/// An age in years to one digit, in months below one year.
pub fn age(days: f64) -> String {
    if days < 365.25 {
        format!("{:.0} months", days / 30.4375)
    } else {
        format!("{:.1} years", days / 365.25)
    }
}

/// Text that Markdown takes as text, in a table too: no mark-up, no cell border, no line break, no
/// HTML.
pub fn markdown(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\n' | '\r' | '\t' => safe.push(' '),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            '|' | '*' | '_' | '`' | '[' | ']' | '\\' | '#' | '~' | '!' => {
                safe.push('\\');
                safe.push(letter);
            }
            letter if letter.is_control() => {}
            letter => safe.push(letter),
        }
    }
    safe
}

/// Text that a spreadsheet takes as text: what begins like a formula is led by an apostrophe.
pub fn spreadsheet(text: &str) -> String {
    let formula = text
        .trim_start()
        .starts_with(['=', '+', '-', '@', '\t', '\r']);
    if formula {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
