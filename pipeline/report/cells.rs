//! Words and numbers as a report prints them, and text made safe for where it is put.
//!
//! Nothing here fails: a number that is not finite is "not known".

use trade::calendar::{DAYS_A_MONTH, DAYS_A_YEAR};

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

/// A share in per cent, with one digit where it is small.
pub fn per_cent(share: f64) -> String {
    let number = share * 100.0;
    if !number.is_finite() {
        return "not known".to_owned();
    }
    match number.abs() < 9.95 && number != 0.0 {
        true => format!("{number:.1} %"),
        false => format!("{number:.0} %"),
    }
}

/// Limits in per cent: "2.1–6.3 %".
pub fn per_cent_limits(lower: f64, upper: f64) -> String {
    if !lower.is_finite() || !upper.is_finite() {
        return "not known".to_owned();
    }
    let digits = usize::from(upper < 0.0995);
    format!("{:.digits$}–{:.digits$} %", lower * 100.0, upper * 100.0)
}

/// Digits in groups of three.
pub fn thousands(number: f64) -> String {
    if !number.is_finite() {
        return "not known".to_owned();
    }
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

/// Money in whole units, the sign before the currency.
pub fn money(currency: &str, amount: f64) -> String {
    if !amount.is_finite() {
        return "not known".to_owned();
    }
    match thousands(amount).strip_prefix('-') {
        Some(digits) => format!("-{currency}{digits}"),
        None => format!("{currency}{}", thousands(amount)),
    }
}

/// "1 battery", "12 batteries".
pub fn counted(number: usize, one: &str, several: &str) -> String {
    match number {
        1 => format!("1 {one}"),
        _ => format!("{} {several}", thousands(number as f64)),
    }
}

/// An age in years to one digit, in months below one year.
pub fn age(days: f64) -> String {
    if days < DAYS_A_YEAR {
        format!("{:.0} months", days / DAYS_A_MONTH)
    } else {
        format!("{:.1} years", days / DAYS_A_YEAR)
    }
}

/// Shares drawn as small blocks, oldest first: a quarter of what is rated is the lowest, all of it
/// the highest.
pub fn spark(shares: &[f64]) -> String {
    const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    shares
        .iter()
        .filter(|share| share.is_finite())
        .map(|share| {
            let step = ((share - 0.25) / 0.75 * 7.0).round().clamp(0.0, 7.0);
            BLOCKS[step as usize]
        })
        .collect()
}

/// Text that Markdown takes as text, in a table too: no mark-up, no cell border, no line break, no
/// HTML, no address or name that a forge would make a link of.
pub fn markdown(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    // What is left out and what is blank at the start does not keep a mark from opening a block.
    let mut letters = text
        .trim()
        .chars()
        .filter(|letter| letter.is_whitespace() || !(letter.is_control() || is_direction(*letter)))
        .skip_while(|letter| letter.is_whitespace())
        .peekable();
    let mut after: Option<char> = None;
    let mut only_digits = true;
    while let Some(letter) = letters.next() {
        let before_space = letters.peek().is_none_or(|next| next.is_whitespace());
        let opens_a_list = match letter {
            '-' | '+' | '=' => after.is_none(),
            '.' | ')' => after.is_some() && only_digits && before_space,
            _ => false,
        };
        let makes_a_link = letter == '.' && after.is_some_and(|w| w.eq_ignore_ascii_case(&'w'));
        match letter {
            letter if letter.is_whitespace() => safe.push(' '),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '&' => safe.push_str("&amp;"),
            ':' if text.contains("://") => safe.push_str("&#58;"),
            '@' => safe.push_str("&#64;"),
            '|' | '*' | '_' | '`' | '[' | ']' | '\\' | '#' | '~' | '!' | '$' => {
                safe.push('\\');
                safe.push(letter);
            }
            letter if opens_a_list || makes_a_link => {
                safe.push('\\');
                safe.push(letter);
            }
            letter => safe.push(letter),
        }
        only_digits &= letter.is_ascii_digit();
        after = Some(letter);
    }
    safe
}

/// Marks that turn the direction of the text after them.
fn is_direction(letter: char) -> bool {
    matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}')
}

/// Text for a plain file of lines: no control character, nothing that turns the direction of writing.
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|letter| match letter.is_whitespace() {
            true => ' ',
            false => letter,
        })
        .filter(|letter| !(letter.is_control() || is_direction(*letter)))
        .collect()
}

/// Text that a spreadsheet takes as text: what begins like a formula is led by an apostrophe.
pub fn spreadsheet(text: &str) -> String {
    let formula = text.starts_with(['\t', '\r', '\n'])
        || text
            .trim_start()
            .starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
    if formula {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
