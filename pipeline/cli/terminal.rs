//! What is printed for people: text from files, names and data can move no cursor, change no colour and
//! turn no line round.

use std::borrow::Cow;
use std::fmt::Write as _;

/// The text with every control character but line ends and tabs, and every mark that changes the
/// direction of writing, written as `\u{1b}`.
pub fn printable(text: &str) -> Cow<'_, str> {
    escaped(text, |character| {
        is_unseen(character) && !matches!(character, '\n' | '\t')
    })
}

/// As [`printable`], for a name that stands in a line: line ends and tabs are written out, too.
pub fn name(text: &str) -> Cow<'_, str> {
    escaped(text, is_unseen)
}

fn escaped(text: &str, is_escaped: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.chars().any(&is_escaped) {
        return Cow::Borrowed(text);
    }
    let mut safe = String::with_capacity(text.len() + 8);
    for character in text.chars() {
        match is_escaped(character) {
            // Writing to a string cannot fail.
            true => drop(write!(safe, "{}", character.escape_unicode())),
            false => safe.push(character),
        }
    }
    Cow::Owned(safe)
}

/// Control characters (C0, C1), the marks of Unicode's bidirectional algorithm (UAX #9), the line and
/// paragraph separators and the characters without width.
fn is_unseen(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{061C}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{2069}' | '\u{FEFF}'
        )
}

#[cfg(test)]
mod tests {
    use super::{name, printable};

    #[test]
    fn what_a_terminal_would_obey_is_written_out() {
        let odd = "a\u{1b}[2Jb\u{7}c\u{9b}31m\u{202e}gpj.exe\r\n\tok é";
        assert_eq!(
            printable(odd),
            "a\\u{1b}[2Jb\\u{7}c\\u{9b}31m\\u{202e}gpj.exe\\u{d}\n\tok é"
        );
        assert_eq!(name("a\nb"), "a\\u{a}b");
        assert_eq!(printable("plain"), "plain");
    }
}
