//! The one thing that went wrong this month, said with its limits, and only where it is beyond chance.

use serde::Deserialize;

use crate::cells;
use crate::style::ReportStyle;
use crate::words::{shop_trouble, word};
use trade::derived_words::ShopTrouble;

/// What stands out comes first, the least likely by chance before the others.
pub const SIGNALS: &str = "
    SELECT * FROM shop_signal
    ORDER BY stands_out DESC, adjusted NULLS LAST, p_value, trouble, shop NULLS FIRST";

/// A kind of trouble at one shop, or at all, in the last 28 days against the 336 before.
#[derive(Debug, Deserialize)]
pub struct Signal {
    #[serde(deserialize_with = "word")]
    pub trouble: ShopTrouble,
    pub shop: Option<String>,
    pub times: i64,
    pub expected: Option<f64>,
    pub cost: Option<f64>,
    /// Times over those expected; a limit that the counts leave open is none.
    pub ratio: Option<f64>,
    pub ratio_lower: Option<f64>,
    pub ratio_upper: Option<f64>,
    pub stands_out: bool,
}

impl Signal {
    fn place(&self, style: &ReportStyle) -> String {
        match &self.shop {
            Some(shop) => format!(" at {}", style.shop(shop)),
            None => String::new(),
        }
    }

    /// "9 times where the year before leads to expect 2.1, 4.3 times as often (1.8–9.5)".
    fn against(&self) -> String {
        let mut words = format!(
            "{} where the year before leads to expect {:.1}",
            self.times,
            self.expected.unwrap_or(0.0)
        );
        if let (Some(ratio), Some(lower)) = (self.ratio, self.ratio_lower) {
            let upper = self.ratio_upper.map_or_else(
                || "no upper limit".to_owned(),
                |upper| format!("{upper:.1}"),
            );
            words.push_str(&format!(", {ratio:.1} times as often ({lower:.1}–{upper})"));
        }
        words
    }
}

/// The first line of the report; none where no shop did anything.
pub fn said(signals: &[Signal], style: &ReportStyle) -> Option<String> {
    let first = signals.first()?;
    let trouble = shop_trouble(first.trouble);
    if first.stands_out {
        let cost = first
            .cost
            .filter(|cost| *cost > 0.0)
            .map(|cost| format!(", {} on record", cells::money(&style.currency, cost)))
            .unwrap_or_default();
        return Some(format!(
            "This month's trouble: {trouble}{}: in 28 days {}{cost}.",
            first.place(style),
            first.against(),
        ));
    }
    // No shop is named for what chance explains.
    let all = signals
        .iter()
        .find(|row| row.shop.is_none() && row.trouble == ShopTrouble::CameBack);
    Some(format!(
        "Nothing this month is beyond chance, of {} looked at{}.",
        cells::counted(signals.len(), "count", "counts"),
        all.map(|all| format!(
            ": in 28 days {}, {}",
            shop_trouble(all.trouble),
            all.against()
        ))
        .unwrap_or_default(),
    ))
}
