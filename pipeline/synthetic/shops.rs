//! The invented shops and their habits: how often they test and scan, what they measure with, how
//! they decide, and how often they replace the wrong part.
//!
//! `shop_habit_factor` of the scenario multiplies the good and the bad habits alike, up to a chance
//! of [`MOST`]. How a shop words its exports is left to `dialects`. Nothing here fails.

use super::streams::{Stream, chance};
use trade::words::MeasuredKind;

/// No habit is certain.
pub const MOST: f64 = 0.97;

/// A shop. Chances are per occasion.
#[derive(Debug)]
pub struct Shop {
    pub name: &'static str,
    /// First letters of its order and scan numbers.
    pub prefix: &'static str,
    /// Its records say which of several batteries a test or an order is about.
    pub names_places: bool,
    /// Hours its clock is ahead of UTC in winter; only places working hours.
    pub utc_offset_h: f64,
    /// Its technicians; the last is quick to blame a module.
    pub technicians: &'static [&'static str],
    pub measures: MeasuredKind,
    /// One-sigma error of its reading, as a share.
    pub reading_error: f64,
    pub removes_surface_charge: bool,
    pub notes_temperature: f64,
    pub notes_rating: f64,
    pub notes_date_code: f64,
    pub service_weeks: f64,
    pub tests_at_service: f64,
    pub scans_at_service: f64,
    /// Share of service scans that ask all modules the tool knows.
    pub full_scans: f64,
    /// Share of a vehicle's modules the tool knows.
    pub breadth: f64,
    pub tests_after_trouble: f64,
    /// Calls a vehicle in for a test each autumn.
    pub autumn_tests: f64,
    pub clears: f64,
    /// Scans again after a clear, before hand-over.
    pub verifies: f64,
    pub follows_up: f64,
    /// Uses the protected clear once plain ones have failed.
    pub protected_clears: f64,
    /// Replaces a module for what the battery did, without testing the battery.
    pub wrong_part: f64,
    /// Plans a replacement when the measured health is below this share.
    pub replace_below: f64,
    pub acts_on_bad_test: f64,
    pub words: VerdictWords,
}

/// What its tester says.
#[derive(Debug, Clone, Copy)]
pub struct VerdictWords {
    pub good: &'static str,
    pub low_charge: &'static str,
    pub weak: &'static str,
    pub dead: &'static str,
}

/// Every shop.
pub const SHOPS: [Shop; 6] = [
    Shop {
        name: "Corlund",
        prefix: "CL",
        names_places: false,
        utc_offset_h: -6.0,
        technicians: &["KR", "DM", "OT", "LV"],
        measures: MeasuredKind::ConductanceS,
        reading_error: 0.025,
        removes_surface_charge: true,
        notes_temperature: 0.95,
        notes_rating: 0.97,
        notes_date_code: 0.8,
        service_weeks: 22.0,
        tests_at_service: 0.75,
        scans_at_service: 0.8,
        full_scans: 0.9,
        breadth: 0.95,
        tests_after_trouble: 0.92,
        autumn_tests: 0.2,
        clears: 0.92,
        verifies: 0.8,
        follows_up: 0.6,
        protected_clears: 0.6,
        wrong_part: 0.05,
        replace_below: 0.60,
        acts_on_bad_test: 0.55,
        words: VerdictWords {
            good: "keep",
            low_charge: "low, top up",
            weak: "tired",
            dead: "no use",
        },
    },
    Shop {
        name: "Mervane",
        prefix: "MV",
        names_places: true,
        utc_offset_h: 1.0,
        technicians: &["A12", "A17", "B03", "B09", "C21"],
        measures: MeasuredKind::CcaEn,
        reading_error: 0.03,
        removes_surface_charge: true,
        notes_temperature: 0.9,
        notes_rating: 0.98,
        notes_date_code: 0.85,
        service_weeks: 26.0,
        tests_at_service: 0.85,
        scans_at_service: 0.85,
        full_scans: 0.95,
        breadth: 1.0,
        tests_after_trouble: 0.95,
        autumn_tests: 0.35,
        clears: 0.95,
        verifies: 0.85,
        follows_up: 0.7,
        protected_clears: 0.75,
        wrong_part: 0.03,
        replace_below: 0.62,
        acts_on_bad_test: 0.6,
        words: VerdictWords {
            good: "i.O.",
            low_charge: "leer",
            weak: "schwach",
            dead: "defekt",
        },
    },
    Shop {
        name: "Tolbrax",
        prefix: "TX",
        names_places: true,
        utc_offset_h: 0.0,
        technicians: &["t-401", "t-402", "t-407", "t-413"],
        measures: MeasuredKind::ResistanceMohm,
        reading_error: 0.04,
        removes_surface_charge: false,
        notes_temperature: 0.8,
        notes_rating: 0.95,
        notes_date_code: 0.6,
        service_weeks: 24.0,
        tests_at_service: 0.55,
        scans_at_service: 0.85,
        full_scans: 0.8,
        breadth: 0.9,
        tests_after_trouble: 0.75,
        autumn_tests: 0.0,
        clears: 0.95,
        verifies: 0.7,
        follows_up: 0.4,
        protected_clears: 0.45,
        wrong_part: 0.18,
        replace_below: 0.55,
        acts_on_bad_test: 0.4,
        words: VerdictWords {
            good: "A",
            low_charge: "B",
            weak: "C",
            dead: "D",
        },
    },
    Shop {
        name: "Oxhelm",
        prefix: "OX",
        names_places: false,
        utc_offset_h: -7.0,
        technicians: &["JB", "SW", "PN"],
        measures: MeasuredKind::LoadTestV,
        reading_error: 0.04,
        removes_surface_charge: true,
        notes_temperature: 0.9,
        notes_rating: 0.95,
        notes_date_code: 0.75,
        service_weeks: 20.0,
        tests_at_service: 0.7,
        scans_at_service: 0.7,
        full_scans: 0.85,
        breadth: 0.9,
        tests_after_trouble: 0.88,
        autumn_tests: 0.0,
        clears: 0.9,
        verifies: 0.7,
        follows_up: 0.5,
        protected_clears: 0.5,
        wrong_part: 0.10,
        replace_below: 0.58,
        acts_on_bad_test: 0.5,
        words: VerdictWords {
            good: "holds",
            low_charge: "flat",
            weak: "sags",
            dead: "drops out",
        },
    },
    Shop {
        name: "Yarrowby",
        prefix: "YB",
        names_places: true,
        utc_offset_h: 5.5,
        technicians: &["11", "14", "19"],
        measures: MeasuredKind::CcaJis,
        reading_error: 0.035,
        removes_surface_charge: false,
        notes_temperature: 0.75,
        notes_rating: 0.95,
        notes_date_code: 0.7,
        service_weeks: 22.0,
        tests_at_service: 0.6,
        scans_at_service: 0.75,
        full_scans: 0.85,
        breadth: 0.92,
        tests_after_trouble: 0.8,
        autumn_tests: 0.0,
        clears: 0.9,
        verifies: 0.6,
        follows_up: 0.45,
        protected_clears: 0.5,
        wrong_part: 0.12,
        replace_below: 0.56,
        acts_on_bad_test: 0.45,
        words: VerdictWords {
            good: "sound",
            low_charge: "charge first",
            weak: "weakening",
            dead: "spent",
        },
    },
    Shop {
        name: "Draywright",
        prefix: "DW",
        names_places: false,
        utc_offset_h: -7.0,
        technicians: &["H1", "H2", "H5", "H6"],
        measures: MeasuredKind::CcaSae,
        reading_error: 0.03,
        removes_surface_charge: true,
        notes_temperature: 0.9,
        notes_rating: 0.97,
        notes_date_code: 0.8,
        service_weeks: 17.0,
        tests_at_service: 0.6,
        scans_at_service: 0.9,
        full_scans: 1.0,
        breadth: 1.0,
        tests_after_trouble: 0.9,
        autumn_tests: 0.15,
        clears: 0.95,
        verifies: 0.8,
        follows_up: 0.6,
        protected_clears: 0.6,
        wrong_part: 0.07,
        replace_below: 0.6,
        acts_on_bad_test: 0.55,
        words: VerdictWords {
            good: "pass on",
            low_charge: "recharge",
            weak: "swap soon",
            dead: "swap now",
        },
    },
];

impl Shop {
    /// The technician who makes most of the shop's wrong replacements.
    pub fn quick_to_blame(&self) -> &'static str {
        self.technicians.last().copied().unwrap_or("")
    }
}

/// Whether a habit shows this time.
pub fn habit(rng: &mut Stream, likelihood: f64, habit_factor: f64) -> bool {
    chance(rng, (likelihood * habit_factor).min(MOST))
}
