//! What a technician does on a visit, and which reading means what.

/// A battery to see to, as far as a technician needs to know it.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    pub battery_group: Option<&'a str>,
    pub chemistry: Option<&'a str>,
    /// What the vehicle asks for.
    pub rating_value: Option<f64>,
    pub rating_standard: Option<&'a str>,
    pub failed_on: Option<&'a str>,
    /// Its last test found it discharged.
    pub charge_first: bool,
    /// The plan asks for a test and not for a replacement.
    pub test_first: bool,
    /// Share of the rating from which it is kept.
    pub keep_at: Option<f64>,
    pub under_warranty: bool,
}

/// The battery to bring: size, chemistry, and the least rating the vehicle asks for.
pub fn bring(row: &Job<'_>) -> String {
    let size = match (row.battery_group, row.chemistry) {
        (Some(group), Some(chemistry)) => format!("{group} {chemistry}"),
        (Some(group), None) => format!("{group}, chemistry by the old one"),
        (None, Some(chemistry)) => format!("{chemistry}, size by the old one"),
        (None, None) => "size and chemistry by the old one".to_owned(),
    };
    match (row.rating_value, row.rating_standard) {
        (Some(rating), Some(standard)) => format!("{size}, at least {rating:.0} A {standard}"),
        _ => format!("{size}, rating by the label"),
    }
}

/// What to do with the battery: what to test first, from which reading it is kept.
pub fn to_do(row: &Job<'_>) -> String {
    let mut parts = Vec::new();
    let keep_at = row.keep_at.filter(|_| row.failed_on.is_none());
    if let Some(day) = row.failed_on {
        parts.push(format!("replace it: it counts as failed since {day}"));
    } else {
        match row.charge_first {
            true => parts.push("charge it fully, let it rest, then test it".to_owned()),
            false if keep_at.is_some() || row.test_first => {
                parts.push("test it".to_owned());
            }
            false => parts.push("replace it".to_owned()),
        }
        parts.extend(keep_at.map(|share| reading(row, share)));
        if keep_at.is_none() && row.charge_first {
            parts.push("replace it unless it then tests fit".to_owned());
        }
    }
    if row.under_warranty {
        parts.push("under warranty: keep the test's record for the claim".to_owned());
    }
    parts.join("; ")
}

/// The reading from which a battery is kept, of the rating on its own label.
fn reading(row: &Job<'_>, share: f64) -> String {
    let amperes = match (row.rating_value, row.rating_standard) {
        (Some(rating), Some(standard)) => format!(
            " ({:.0} A where that is {rating:.0} A {standard})",
            rating * share
        ),
        _ => String::new(),
    };
    format!(
        "keep it at {:.0} % of the rating on its label or more{amperes}, below that replace it",
        share * 100.0
    )
}
