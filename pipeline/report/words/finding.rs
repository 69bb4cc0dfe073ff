//! What to do about something that does not fit in a lake.

use trade::derived_words::LakeFinding;

/// What to do about a finding of that name; rows that could not be used are named by their reason.
pub fn what_to_do(finding: &str) -> &'static str {
    match LakeFinding::parse(finding) {
        Ok(finding) => about(finding),
        Err(_) => MEND,
    }
}

const MEND: &str = "mend it: voltwane mend, then load the folder";

fn about(finding: LakeFinding) -> &'static str {
    match finding {
        LakeFinding::SameFactTwice => {
            "take one of its loads back: voltwane loads, voltwane unload; then load it again"
        }
        LakeFinding::UnknownVehicle => "load the register that has it",
        LakeFinding::CodeWithoutScan => "load the export that has its scan",
        LakeFinding::TwoRegisterRows | LakeFinding::TwoTestsAtOnce => {
            "if one is wrong, take its load back (voltwane unload) and load the file mended"
        }
        LakeFinding::OdometerBackwards => "load a register that is right; the newest counts",
        LakeFinding::ClosedBeforeOpened | LakeFinding::StrayOrder | LakeFinding::BeforeTheRoad => {
            "look whether the day is a slip, and load the row mended; the wrong one's load can be taken back"
        }
        LakeFinding::DepotWithoutWeather => "load its weather",
        LakeFinding::LeftWithoutAWord => "load a register that has it, or says when it left",
        LakeFinding::OneChangeTwice | LakeFinding::OneOrderTwice => "nothing: it counts once",
        LakeFinding::AboveItsRating => {
            "look whether reading, rating and standard are of this battery; load the test mended"
        }
        LakeFinding::CellLeftOut => MEND,
    }
}
