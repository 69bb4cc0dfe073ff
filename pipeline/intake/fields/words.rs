//! A shop's own words, and the lake's words they stand for.
//!
//! Matching is by the whole cell, trimmed, whatever the case. A `*` in a shop's word stands for any
//! text, so `"*"` alone is the word for everything else. Exact words are tried before patterns, and
//! longer patterns before shorter ones.

use std::collections::HashMap;

/// One field's words in one mapping.
#[derive(Debug, Clone, Default)]
pub struct ShopWords {
    exact: HashMap<String, String>,
    patterns: Vec<(String, String)>,
}

impl ShopWords {
    /// Adds a word. A word given twice keeps its last meaning.
    pub fn add(&mut self, shop_word: &str, our_word: &str) {
        let key = shop_word.trim().to_lowercase();
        if key.contains('*') {
            self.patterns.push((key, our_word.to_owned()));
            self.patterns
                .sort_by_key(|(pattern, _)| std::cmp::Reverse(pattern.len()));
        } else {
            self.exact.insert(key, our_word.to_owned());
        }
    }

    /// Our word for what the shop wrote.
    pub fn find(&self, cell: &str) -> Option<&str> {
        if self.exact.is_empty() && self.patterns.is_empty() {
            return None;
        }
        let cell = cell.trim().to_lowercase();
        let pattern = || {
            self.patterns
                .iter()
                .find(|(pattern, _)| matches(pattern, &cell))
                .map(|(_, word)| word)
        };
        self.exact.get(&cell).or_else(pattern).map(String::as_str)
    }
}

/// Whether `text` fits `pattern`, in which `*` stands for any text and nothing else is special.
pub fn matches(pattern: &str, text: &str) -> bool {
    let Some((start, rest)) = pattern.split_once('*') else {
        return pattern == text;
    };
    let Some(mut text) = text.strip_prefix(start) else {
        return false;
    };
    let mut pieces: Vec<&str> = rest.split('*').collect();
    let last = pieces.pop().unwrap_or_default();
    for piece in pieces {
        match text.find(piece) {
            Some(at) => text = &text[at + piece.len()..],
            None => return false,
        }
    }
    text.ends_with(last)
}
