//! What a visit was for, by the words of the complaint.

use voltwane::trade::visit_reason::visit_reason;
use voltwane::trade::words::VisitReason::{self, Charging, OtherTrouble, Planned, Starting};

/// Texts as shops write them, invented.
const TEXTS: &[(&str, Option<VisitReason>)] = &[
    ("annual service", Some(Planned)),
    ("Planned battery change, weekly list", Some(Planned)),
    ("SERVICE", Some(Planned)),
    ("recall campaign 12", Some(Planned)),
    ("battery check before winter", Some(Planned)),
    ("Jahresinspektion", Some(Planned)),
    ("Rückruf", Some(Planned)),
    ("entretien annuel", Some(Planned)),
    ("mantenimiento preventivo", Some(Planned)),
    ("will not start", Some(Starting)),
    ("won't start", Some(Starting)),
    ("cranks slowly or not at all", Some(Starting)),
    ("dead battery, jumped", Some(Starting)),
    ("springt nicht an", Some(Starting)),
    ("ne démarre pas", Some(Starting)),
    ("no arranca", Some(Starting)),
    // A complaint goes before a plan.
    ("annual service, cranks slowly", Some(Starting)),
    ("service lamp on", Some(OtherTrouble)),
    ("charge lamp on, alternator renewed", Some(Charging)),
    ("Lichtmaschine erneuert", Some(Charging)),
    ("radio noise", Some(OtherTrouble)),
    ("several warning lamps", Some(OtherTrouble)),
    ("start-stop and comfort functions off", Some(OtherTrouble)),
    // A text without a mark, and no text.
    ("see sheet", Some(OtherTrouble)),
    ("", None),
    (" - ", None),
];

#[test]
fn complaints_are_told_from_plans() {
    for (text, reason) in TEXTS {
        assert_eq!(visit_reason(text), *reason, "{text:?}");
    }
}
