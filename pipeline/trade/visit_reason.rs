//! What a visit to the shop was for, from the words of the complaint.
//!
//! Shops write there what the driver said, or else what the visit was for; a battery changed on "annual
//! service" is no failed one, whatever the cause column says. The marks are the trade's common words in
//! English, German, French, Spanish and Italian (common practice, no source). Nothing here fails: a text
//! without a mark is some other trouble, an empty one says nothing.

use std::sync::LazyLock;

use regex::Regex;

use super::words::VisitReason;

/// The engine is not turned over, or hardly.
const STARTING: &[&str] = &[
    "no start",
    "not start",
    "non start",
    "nonstart",
    "won t start",
    "wont start",
    "didn t start",
    "doesn t start",
    "fails to start",
    "failed to start",
    "hard start",
    "hard to start",
    "slow start",
    "starts slow",
    "starts badly",
    "starts poorly",
    "starting problem",
    "starting trouble",
    "no crank",
    "not crank",
    "cranks slow",
    "cranks but",
    "cranks weak",
    "cranks long",
    "cranks poor",
    "cranking",
    "crank slow",
    "slow crank",
    "slow to crank",
    "weak crank",
    "turn over",
    "turns over",
    "click",
    "dead battery",
    "battery dead",
    "flat battery",
    "battery flat",
    "battery is flat",
    "battery is dead",
    "battery drained",
    "discharged",
    "jump",
    "boost start",
    "stranded",
    "broken down",
    "broke down",
    "breakdown",
    "springt nicht",
    "startet nicht",
    "startet schlecht",
    "springt schlecht",
    "dreht nicht",
    "dreht langsam",
    "anlasser",
    "startprobleme",
    "starthilfe",
    "batterie leer",
    "batterie tot",
    "liegengeblieben",
    "panne",
    "ne demarre",
    "demarre mal",
    "demarrage difficile",
    "batterie a plat",
    "batterie vide",
    "batterie hs",
    "en panne",
    "no arranca",
    "arranca mal",
    "no enciende",
    "bateria descargada",
    "bateria muerta",
    "sin bateria",
    "averiado",
    "non parte",
    "non si avvia",
    "batteria scarica",
    "batteria a terra",
];

/// What charges the battery, and not the battery.
const CHARGING: &[&str] = &[
    "alternator",
    "generator",
    "charge lamp",
    "charge light",
    "charge warning",
    "charging lamp",
    "charging light",
    "charging system",
    "not charging",
    "no charge",
    "undercharg",
    "overcharg",
    "voltage regulator",
    "drive belt",
    "dc dc",
    "dcdc",
    "lichtmaschine",
    "ladekontroll",
    "ladesystem",
    "alternateur",
    "temoin de charge",
    "alternador",
    "testigo de carga",
    "alternatore",
    "spia di carica",
];

/// Something is amiss, of whatever kind.
const TROUBLE: &[&str] = &[
    "warning",
    "lamp",
    "light",
    "telltale",
    "noise",
    "fault",
    "failure",
    "limp",
    "stall",
    "misfire",
    "reset",
    "error",
    "leak",
    "smell",
    "not work",
    "doesn t work",
    "inoperative",
    "dead",
    "complain",
    "problem",
    "engine soon",
    "warn",
    "leuchte",
    "storung",
    "fehler",
    "gerausch",
    "defekt",
    "voyant",
    "temoin",
    "panne",
    "bruit",
    "defaut",
    "testigo",
    "averia",
    "ruido",
    "fallo",
    "spia",
    "guasto",
    "rumore",
];

/// The visit stood on a list or in the calendar.
const PLANNED: &[&str] = &[
    "planned",
    "scheduled",
    "plan list",
    "weekly list",
    "replacement list",
    "list of the week",
    "preventive",
    "preventative",
    "service",
    "annual",
    "yearly",
    "inspection",
    "maintenance",
    "routine",
    "periodic",
    "interval",
    "campaign",
    "recall",
    "programme",
    "program replacement",
    "battery program",
    "before winter",
    "winter check",
    "winter prep",
    "season",
    "check up",
    "checkup",
    "roadworthiness",
    "upgrade",
    "refurbish",
    "pre delivery",
    "pdi",
    "wartung",
    "inspektion",
    "geplant",
    "planmasig",
    "vorsorg",
    "kampagne",
    "ruckruf",
    "jahres",
    "hauptuntersuchung",
    "wintercheck",
    "entretien",
    "revision",
    "planifie",
    "programme",
    "preventif",
    "campagne",
    "rappel",
    "controle annuel",
    "mantenimiento",
    "programad",
    "preventiv",
    "campana",
    "planificad",
    "tagliando",
    "manutenzione",
    "revisione",
    "programmat",
    "richiamo",
];

/// What the visit was for; `None` where the text says nothing. A complaint goes before a plan: "service,
/// cranks slowly" is a complaint, and so is "service lamp on".
pub fn visit_reason(text: &str) -> Option<VisitReason> {
    let words = plain_words(text);
    if words.trim().is_empty() {
        return None;
    }
    let said = REASONS.iter().find(|(marks, _)| marks.is_match(&words));
    Some(said.map_or(VisitReason::OtherTrouble, |(_, reason)| *reason))
}

/// What each kind of visit is known by; the first that is found counts.
static REASONS: LazyLock<Vec<(Regex, VisitReason)>> = LazyLock::new(|| {
    let kinds = [
        (STARTING, VisitReason::Starting),
        (CHARGING, VisitReason::Charging),
        (TROUBLE, VisitReason::OtherTrouble),
        (PLANNED, VisitReason::Planned),
    ];
    let known = kinds.map(|(marks, reason)| Some((beginning_a_word(marks)?, reason)));
    known.into_iter().flatten().collect()
});

/// Any of these marks where a word begins.
fn beginning_a_word(marks: &[&str]) -> Option<Regex> {
    Regex::new(&format!(" (?:{})", marks.join("|"))).ok()
}

/// Lower-case words with one space before each, without accents and punctuation.
fn plain_words(text: &str) -> String {
    let mut words = String::with_capacity(text.len() + 1);
    let mut inside = false;
    for letter in text.chars().flat_map(char::to_lowercase) {
        let letter = without_accent(letter);
        if letter.is_alphanumeric() {
            if !inside {
                words.push(' ');
            }
            words.push(letter);
        }
        inside = letter.is_alphanumeric();
    }
    words
}

fn without_accent(letter: char) -> char {
    match letter {
        'á' | 'à' | 'â' | 'ä' | 'ã' => 'a',
        'é' | 'è' | 'ê' | 'ë' => 'e',
        'í' | 'ì' | 'î' | 'ï' => 'i',
        'ó' | 'ò' | 'ô' | 'ö' | 'õ' => 'o',
        'ú' | 'ù' | 'û' | 'ü' => 'u',
        'ç' => 'c',
        'ñ' => 'n',
        'ß' => 's',
        other => other,
    }
}
