//! Text to number, under the decimal and thousands marks a mapping names.
//!
//! Nothing is guessed: `1,234` is a number only when the comma's part has been said.

use crate::fault::quoted;

/// How numbers are written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Marks {
    pub decimal: char,
    pub thousands: Option<char>,
}

impl Default for Marks {
    fn default() -> Self {
        Self {
            decimal: '.',
            thousands: None,
        }
    }
}

/// A number and what followed it, trimmed: `12.6 V` is `(12.6, "V")`. A currency sign before it is
/// passed over. The error says why, for a person.
pub fn leading_number(text: &str, marks: Marks) -> Result<(f64, &str), String> {
    let text = text.trim();
    // The usual case: plain digits under the default marks.
    let is_plain = |byte: u8| byte.is_ascii_digit() || byte == b'.' || byte == b'-';
    if marks.decimal == '.'
        && text.bytes().all(is_plain)
        && let Ok(value) = text.parse::<f64>()
    {
        return Ok((value, ""));
    }
    let unsigned = text.trim_start_matches(['$', '€', '£', '¥']).trim_start();
    let mut plain = String::with_capacity(unsigned.len());
    let mut group_digits = None;
    let mut seen_decimal = false;
    let mut end = unsigned.len();
    let mut chars = unsigned.char_indices().peekable();
    while let Some((at, character)) = chars.next() {
        let next_is_digit = chars.peek().is_some_and(|(_, next)| next.is_ascii_digit());
        match character {
            '0'..='9' => {
                plain.push(character);
                if let Some(digits) = group_digits.as_mut() {
                    *digits += 1;
                }
            }
            '-' | '\u{2212}' if plain.is_empty() => plain.push('-'),
            '+' if plain.is_empty() => {}
            _ if character == marks.decimal
                && !seen_decimal
                && (next_is_digit || has_digit(&plain)) =>
            {
                check_group(group_digits.take(), text)?;
                seen_decimal = true;
                plain.push('.');
            }
            _ if Some(character) == marks.thousands
                && !seen_decimal
                && next_is_digit
                && has_digit(&plain) =>
            {
                check_group(group_digits, text)?;
                group_digits = Some(0);
            }
            'e' | 'E' if has_digit(&plain) && is_exponent(&unsigned[at + 1..]) => {
                let digits = exponent_length(&unsigned[at + 1..]);
                plain.push_str(&unsigned[at..at + 1 + digits]);
                end = at + 1 + digits;
                break;
            }
            _ => {
                end = at;
                break;
            }
        }
    }
    check_group(group_digits, text)?;
    let rest = unsigned[end..].trim();
    if let Some(mark @ ('.' | ',' | '\'' | '’')) = rest.chars().next()
        && mark != marks.decimal
    {
        return Err(format!(
            "{} has a \"{mark}\" the mapping gives no meaning to; name decimal_mark or thousands_mark",
            quoted(text)
        ));
    }
    // What follows is a unit or a second try at a number; the latter is no number at all.
    if rest.chars().any(|character| character.is_ascii_digit()) {
        return Err(quoted(text));
    }
    if !has_digit(&plain) {
        return Err(quoted(text));
    }
    match plain.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok((value, rest)),
        _ => Err(quoted(text)),
    }
}

fn has_digit(plain: &str) -> bool {
    plain.bytes().any(|byte| byte.is_ascii_digit())
}

/// Between two thousands marks, or after the last, stand three digits.
fn check_group(digits: Option<usize>, text: &str) -> Result<(), String> {
    match digits {
        None | Some(3) => Ok(()),
        Some(_) => Err(format!(
            "{} has a thousands mark that does not part three digits",
            quoted(text)
        )),
    }
}

fn is_exponent(text: &str) -> bool {
    exponent_length(text) > 0
}

/// The length of a signed integer that nothing but a blank or the end follows; 0 when there is none.
fn exponent_length(text: &str) -> usize {
    let sign = usize::from(text.starts_with(['+', '-']));
    let digits = text[sign..].bytes().take_while(u8::is_ascii_digit).count();
    let after = text[sign + digits..].chars().next();
    if (1..=3).contains(&digits) && after.is_none_or(char::is_whitespace) {
        sign + digits
    } else {
        0
    }
}

/// A whole number. `0x2F` is read as hexadecimal anywhere, and every number is when `hexadecimal`.
pub fn whole_number(text: &str, marks: Marks, hexadecimal: bool) -> Result<i64, String> {
    let text = text.trim();
    let prefixed = text.strip_prefix("0x").or_else(|| text.strip_prefix("0X"));
    if let Some(digits) = prefixed.or(hexadecimal.then_some(text)) {
        return i64::from_str_radix(digits, 16)
            .map_err(|_| format!("{} is not hexadecimal", quoted(text)));
    }
    if let Ok(value) = text.parse::<i64>() {
        return Ok(value);
    }
    match leading_number(text, marks)? {
        (value, "") if value.fract() == 0.0 && value.abs() < 9e15 => Ok(value as i64),
        (value, "") => Err(format!("{value} is not a whole number")),
        _ => Err(quoted(text)),
    }
}
