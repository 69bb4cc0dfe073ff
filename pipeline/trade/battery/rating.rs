//! Standards of rated cranking current: how each is defined, and rough conversion between them.
//!
//! No standard gives a factor from one rating to another and makers' labels disagree; the factors
//! here are the trade's (common practice, no source) and every conversion says how far it can be
//! off. A value is never refused: converting nonsense gives nonsense.

use crate::words::RatingStandard;

/// What a rated current promises of a new, fully charged 12 V battery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Definition {
    /// The standard's name.
    pub standard: &'static str,
    /// Temperature of the test, °C.
    pub temperature_c: f64,
    /// Seconds into the discharge at which the voltage is read.
    pub seconds: f64,
    /// The voltage at that moment is at least this, V.
    pub least_v: f64,
    /// What else the standard asks.
    pub also: &'static str,
}

/// The definition of a standard, in its main form. SAE, EN, IEC, DIN and CA as in public texts; JIS
/// and the later IEC and EN stages from memory.
pub const fn definition(standard: RatingStandard) -> Definition {
    match standard {
        RatingStandard::Sae => Definition {
            standard: "SAE J537",
            temperature_c: -18.0,
            seconds: 30.0,
            least_v: 7.2,
            also: "",
        },
        RatingStandard::En => Definition {
            standard: "EN 50342-1 (before: EN 60095-1)",
            temperature_c: -18.0,
            seconds: 10.0,
            least_v: 7.5,
            also: "6 V not reached before 90 s (EN1) or 150 s (EN2); later editions go on at 0.6 of the current",
        },
        RatingStandard::Iec => Definition {
            standard: "IEC 60095-1 (older editions)",
            temperature_c: -18.0,
            seconds: 60.0,
            least_v: 8.4,
            also: "the edition of 2018 reads 7.5 V at 10 s, then goes on at 0.6 of the current to 6 V",
        },
        RatingStandard::Din => Definition {
            standard: "DIN 43539-2 (withdrawn)",
            temperature_c: -18.0,
            seconds: 30.0,
            least_v: 9.0,
            also: "6 V not reached before 150 s",
        },
        RatingStandard::Jis => Definition {
            standard: "JIS D 5301 (later editions)",
            temperature_c: -18.0,
            seconds: 30.0,
            least_v: 7.2,
            also: "older editions: -15 °C and 150, 300 or 500 A by type",
        },
        RatingStandard::Ca => Definition {
            standard: "CA (BCI), marine cranking current",
            temperature_c: 0.0,
            seconds: 30.0,
            least_v: 7.2,
            also: "",
        },
    }
}

/// A converted current. It is approximate unless the two standards are one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Converted {
    /// The current by the other standard, A.
    pub current_a: f64,
    /// One-sigma relative error of the conversion; 0 where nothing was converted.
    pub relative_sigma: f64,
}

impl Converted {
    /// Whether a factor without a published source was used.
    pub const fn is_approximate(&self) -> bool {
        self.relative_sigma > 0.0
    }
}

/// The current by `to` of a battery rated `current_a` by `from`. Common practice, no source.
pub fn convert(current_a: f64, from: RatingStandard, to: RatingStandard) -> Converted {
    if from == to {
        return Converted {
            current_a,
            relative_sigma: 0.0,
        };
    }
    let ((from_factor, from_sigma), (to_factor, to_sigma)) = (share_of_sae(from), share_of_sae(to));
    Converted {
        current_a: current_a / from_factor * to_factor,
        relative_sigma: from_sigma.hypot(to_sigma),
    }
}

/// What a battery of 1 A by SAE J537 is rated by each standard, and the one-sigma relative error of
/// that factor. Common practice, no source.
const fn share_of_sae(standard: RatingStandard) -> (f64, f64) {
    match standard {
        RatingStandard::Sae => (1.0, 0.0),
        RatingStandard::En => (0.94, 0.04),
        RatingStandard::Iec => (0.67, 0.08),
        RatingStandard::Din => (0.57, 0.08),
        RatingStandard::Jis => (1.0, 0.05),
        RatingStandard::Ca => (1.25, 0.06),
    }
}

/// Step in which EN 50342-1 allows a rated current of this size to be stated, A: below 200 A 10,
/// to 300 A 20, to 600 A 30, to 800 A 40, above 50.
pub fn en_step_a(current_a: f64) -> f64 {
    match current_a {
        a if a < 200.0 => 10.0,
        a if a <= 300.0 => 20.0,
        a if a <= 600.0 => 30.0,
        a if a <= 800.0 => 40.0,
        _ => 50.0,
    }
}
