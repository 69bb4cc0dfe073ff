//! The closed word lists: stored spellings, other spellings, refusals.

use voltwane::trade::derived_words::{Certainty, EndEvidence, FloodCause, SinceCall};
use voltwane::trade::words::*;

/// Each word of a list is read back as itself and no two words share a spelling.
macro_rules! check_list {
    ($($list:ident),+) => {$(
        let stored: Vec<&str> = $list::ALL.iter().map(|word| word.as_str()).collect();
        for (word, text) in $list::ALL.iter().zip(&stored) {
            assert_eq!($list::parse(text), Ok(*word));
            assert_eq!($list::parse(&format!("  {}\t", text.to_uppercase())), Ok(*word));
        }
        let distinct: std::collections::BTreeSet<&&str> = stored.iter().collect();
        assert_eq!(distinct.len(), stored.len(), "{stored:?}");
        assert!($list::parse("").is_err());
        assert!($list::parse("no such word").is_err());
    )+};
}

#[test]
fn every_stored_word_is_read_back() {
    check_list!(
        Powertrain,
        Chemistry,
        RatingStandard,
        MeasuredKind,
        Operation,
        OrderCause,
        Verdict,
        CodeGroup,
        FloodCause,
        VisitReason,
        EndEvidence,
        SinceCall,
        Certainty,
        Outcome,
        Action
    );
}

#[test]
fn common_spellings_are_known() {
    assert_eq!(Powertrain::parse("PHEV"), Ok(Powertrain::PlugInHybrid));
    assert_eq!(
        Powertrain::parse("Plug in Hybrid"),
        Ok(Powertrain::PlugInHybrid)
    );
    assert_eq!(Powertrain::parse("bev"), Ok(Powertrain::BatteryElectric));
    assert_eq!(Chemistry::parse("Wet"), Ok(Chemistry::Flooded));
    assert_eq!(Chemistry::parse("A.G.M."), Ok(Chemistry::Agm));
    assert_eq!(Chemistry::parse("LiFePO4"), Ok(Chemistry::Lithium));
    assert_eq!(RatingStandard::parse("CCA (EN)"), Ok(RatingStandard::En));
    assert_eq!(RatingStandard::parse("MCA"), Ok(RatingStandard::Ca));
    assert_eq!(MeasuredKind::parse("mΩ"), Ok(MeasuredKind::ResistanceMohm));
    assert_eq!(
        MeasuredKind::parse("m\u{2126}"),
        Ok(MeasuredKind::ResistanceMohm),
        "the ohm sign"
    );
    assert_eq!(
        Operation::parse("no start call"),
        Ok(Operation::NoStartCall)
    );
    assert_eq!(
        OrderCause::parse("Traction_Battery"),
        Ok(OrderCause::TractionBattery)
    );
}

/// A bare CCA names no standard, and the standards differ by a third: it is not guessed.
#[test]
fn cca_without_a_standard_is_refused() {
    assert!(RatingStandard::parse("CCA").is_err());
    assert!(MeasuredKind::parse("CCA").is_err());
}

#[test]
fn a_refusal_names_the_word_the_list_and_what_is_allowed() {
    let message = Chemistry::parse(" nickel iron ").unwrap_err().to_string();
    assert!(message.contains("'nickel iron'"), "{message}");
    assert!(message.contains("chemistry"), "{message}");
    assert!(
        message.contains("flooded, EFB, AGM, gel, lithium"),
        "{message}"
    );
}

#[test]
fn a_reading_of_cranking_current_names_its_standard_and_unit() {
    for kind in MeasuredKind::ALL {
        let is_current = kind.rating_standard().is_some();
        assert_eq!(kind.unit() == "A", is_current, "{kind}");
    }
    assert_eq!(
        MeasuredKind::CcaDin.rating_standard(),
        Some(RatingStandard::Din)
    );
    assert_eq!(MeasuredKind::ConductanceS.rating_standard(), None);
}
