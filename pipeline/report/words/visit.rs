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
            false => parts.push("replace it, no test is needed".to_owned()),
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
    // Of the share as it is written, so that no reading is kept by the one and replaced by the other.
    let per_cent = (share * 100.0).round();
    let amperes = match (row.rating_value, row.rating_standard) {
        (Some(rating), Some(standard)) => format!(
            " ({:.0} A where that is {rating:.0} A {standard})",
            (rating * per_cent / 100.0).ceil()
        ),
        _ => String::new(),
    };
    format!(
        "keep it if it reads {per_cent:.0} % of the cranking rating on its label or more{amperes}, below that replace it"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn per_cent_and_amperes_part_keeping_from_replacing_at_the_same_reading() {
        let job = Job {
            battery_group: Some("H5"),
            chemistry: Some("flooded"),
            rating_value: Some(540.0),
            rating_standard: Some("EN"),
            failed_on: None,
            charge_first: false,
            test_first: true,
            keep_at: Some(0.6148),
            under_warranty: false,
        };
        // 61 % of 540 A is 329.4 A, so 330 A is kept and 329 A is not.
        assert_eq!(
            to_do(&job),
            "test it; keep it if it reads 61 % of the cranking rating on its label or more \
             (330 A where that is 540 A EN), below that replace it"
        );
    }
}
