//! What the chances rest on, where that is not this fleet alone.

use trade::derived_words::EstimateBasis;

/// A sentence each for the chances and for how health falls, none where this fleet says enough, and one
/// where a fit found no answer and a simpler one stands in its place.
pub fn basis(chances: EstimateBasis, wear: EstimateBasis, fallback: Option<&str>) -> String {
    let assumed = "the chances lean on what is assumed of batteries in general.";
    let mut parts = Vec::new();
    match chances {
        EstimateBasis::NothingWatched => parts.push(
            "Nothing was watched long enough yet: every chance is what is assumed of batteries in general, by age, chemistry and tests.".to_owned(),
        ),
        EstimateBasis::NoneFailed => {
            parts.push(format!("No battery failed in what was watched: {assumed}"));
        }
        EstimateBasis::FewFailed => {
            parts.push(format!("Few batteries failed in what was watched: {assumed}"));
        }
        EstimateBasis::FewTests | EstimateBasis::ThisFleet => {}
    }
    if wear == EstimateBasis::FewTests {
        parts.push(
            "Too few tests followed on one another to learn how health falls here: by age and chemistry it is assumed.".to_owned(),
        );
    }
    if let Some(fallback) = fallback {
        parts.push(format!(
            "A fit found no answer, so a simpler one stands: {fallback}."
        ));
    }
    parts.join(" ")
}
