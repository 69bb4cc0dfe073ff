//! The closed lists of words the lake stores, one enum a list.
//!
//! [`parse`](Powertrain::parse) knows each word in any case, with any spacing or punctuation, and
//! the common ways of the trade to write it; anything else is an [`UnknownWord`] that lists what is
//! allowed. A shop's private words are left to its mapping.

use thiserror::Error;

/// A word that stands in none of the spellings of its list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "'{found}' is not a known {list}; known are {allowed}: add the word to the mapping's [words] table"
)]
pub struct UnknownWord {
    /// Which list was asked.
    pub list: &'static str,
    /// What stood there, cut at 60 characters.
    pub found: String,
    /// The words of the list.
    pub allowed: String,
}

/// Declares a list: the stored spelling of each word, then other spellings that mean it.
macro_rules! word_list {
    (
        $(#[$about:meta])*
        $list:ident, $title:literal {
            $( $(#[$word_about:meta])* $word:ident = $stored:literal $(| $other:literal)* ),+ $(,)?
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $list {
            $( $(#[$word_about])* $word, )+
        }

        impl $list {
            /// Every word of the list, in the list's order.
            pub const ALL: &'static [$list] = &[$( $list::$word ),+];

            /// The spelling the lake stores.
            pub const fn as_str(self) -> &'static str {
                match self {
                    $( $list::$word => $stored, )+
                }
            }

            /// The word this text means. Case, spaces and punctuation do not count.
            pub fn parse(text: &str) -> Result<Self, $crate::words::UnknownWord> {
                // Nearly every text is a stored word as it stands.
                let trimmed = text.trim();
                $(
                    if trimmed.eq_ignore_ascii_case($stored) {
                        return Ok($list::$word);
                    }
                )+
                $(
                    if $crate::words::same_word(trimmed, $stored)
                        $(|| $crate::words::same_word(trimmed, $other))*
                    {
                        return Ok($list::$word);
                    }
                )+
                Err($crate::words::UnknownWord {
                    list: $title,
                    found: trimmed.chars().take(60).collect(),
                    allowed: [$( $stored ),+].join(", "),
                })
            }
        }

        impl std::fmt::Display for $list {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.as_str())
            }
        }

        impl std::str::FromStr for $list {
            type Err = $crate::words::UnknownWord;

            fn from_str(text: &str) -> Result<Self, $crate::words::UnknownWord> {
                Self::parse(text)
            }
        }
    };
}

pub(crate) use word_list;

/// Whether two texts have the same letters and digits, whatever the case and what stands between.
pub(crate) fn same_word(found: &str, word: &str) -> bool {
    letters(found).eq(letters(word))
}

fn letters(text: &str) -> impl Iterator<Item = char> + '_ {
    text.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
}

word_list! {
    /// What drives the vehicle.
    Powertrain, "powertrain" {
        Combustion = "combustion" | "ICE" | "internal combustion" | "petrol" | "gasoline" | "gas" | "diesel",
        Hybrid = "hybrid" | "HEV" | "hybrid electric" | "full hybrid" | "mild hybrid" | "MHEV",
        PlugInHybrid = "plug-in hybrid" | "PHEV" | "plug-in hybrid electric" | "plug-in",
        BatteryElectric = "battery electric" | "BEV" | "EV" | "electric" | "full electric",
        FuelCell = "fuel cell" | "FCEV" | "FCV" | "hydrogen" | "fuel cell electric",
    }
}

word_list! {
    /// What the 12 V battery is made of.
    Chemistry, "chemistry" {
        Flooded = "flooded" | "wet" | "lead acid" | "lead-acid flooded" | "SLI" | "conventional",
        Efb = "EFB" | "enhanced flooded" | "enhanced flooded battery" | "AFB",
        Agm = "AGM" | "absorbent glass mat" | "absorbed glass mat" | "VRLA AGM",
        Gel = "gel" | "gel cell" | "VRLA gel",
        Lithium = "lithium" | "Li" | "Li-ion" | "lithium ion" | "LFP" | "LiFePO4" | "lithium iron phosphate",
    }
}

word_list! {
    /// By which standard a cranking current is stated; see [`super::battery::rating`].
    RatingStandard, "rating standard" {
        Sae = "SAE" | "CCA SAE" | "SAE CCA" | "SAE J537" | "BCI CCA",
        En = "EN" | "CCA EN" | "EN CCA" | "EN 50342" | "EN 50342-1" | "EN 60095-1",
        Iec = "IEC" | "CCA IEC" | "IEC CCA" | "IEC 60095-1" | "IEC 60095",
        Din = "DIN" | "CCA DIN" | "DIN CCA" | "DIN 43539" | "DIN 43539-2",
        Jis = "JIS" | "CCA JIS" | "JIS CCA" | "JIS D 5301",
        Ca = "CA" | "MCA" | "cranking amps" | "marine cranking amps",
    }
}

word_list! {
    /// What a test's reading is, with its unit.
    MeasuredKind, "kind of reading" {
        CcaSae = "CCA SAE" | "SAE CCA" | "SAE" | "SAE A",
        CcaEn = "CCA EN" | "EN CCA" | "EN" | "EN A",
        CcaIec = "CCA IEC" | "IEC CCA" | "IEC" | "IEC A",
        CcaDin = "CCA DIN" | "DIN CCA" | "DIN" | "DIN A",
        CcaJis = "CCA JIS" | "JIS CCA" | "JIS" | "JIS A",
        Ca = "CA" | "MCA" | "cranking amps" | "marine cranking amps",
        ConductanceS = "conductance S" | "conductance" | "siemens" | "S",
        ResistanceMohm = "resistance mOhm" | "internal resistance" | "resistance" | "mOhm" | "mΩ" | "milliohm",
        LoadTestV = "load test V" | "load test" | "load test volts" | "load volts",
    }
}

impl MeasuredKind {
    /// The standard a cranking-current reading is stated by; `None` for the other kinds.
    pub const fn rating_standard(self) -> Option<RatingStandard> {
        match self {
            MeasuredKind::CcaSae => Some(RatingStandard::Sae),
            MeasuredKind::CcaEn => Some(RatingStandard::En),
            MeasuredKind::CcaIec => Some(RatingStandard::Iec),
            MeasuredKind::CcaDin => Some(RatingStandard::Din),
            MeasuredKind::CcaJis => Some(RatingStandard::Jis),
            MeasuredKind::Ca => Some(RatingStandard::Ca),
            MeasuredKind::ConductanceS | MeasuredKind::ResistanceMohm | MeasuredKind::LoadTestV => {
                None
            }
        }
    }

    /// The unit of the reading.
    pub const fn unit(self) -> &'static str {
        match self {
            MeasuredKind::ConductanceS => "S",
            MeasuredKind::ResistanceMohm => "mOhm",
            MeasuredKind::LoadTestV => "V",
            _ => "A",
        }
    }
}

word_list! {
    /// What was done on one line of a work order.
    Operation, "operation" {
        BatteryReplaced = "battery replaced" | "battery replacement" | "replace battery" | "replaced battery" | "new battery",
        BatteryCharged = "battery charged" | "battery charge" | "charge battery" | "charged battery",
        BatteryTested = "battery tested" | "battery test" | "test battery" | "tested battery",
        CodesCleared = "codes cleared" | "clear codes" | "code clear" | "cleared codes" | "DTCs cleared" | "clear DTCs",
        /// A clear by the module's own protected routine, for codes that stay latched after a plain one.
        ProtectedClear = "protected clear" | "protected code clear",
        ModuleReplaced = "module replaced" | "module replacement" | "replace module" | "replaced module",
        ModuleReprogrammed = "module reprogrammed" | "reprogram module" | "reprogrammed module" | "module programming" | "reflash",
        NoStartCall = "no-start call" | "no start" | "non-start" | "no crank",
        JumpStart = "jump start" | "jump started" | "boost start",
        Tow = "tow" | "towed" | "tow-in" | "recovery tow",
        Other = "other",
    }
}

word_list! {
    /// What the trouble on a work order was put down to.
    OrderCause, "cause" {
        Supply = "supply" | "12 V supply" | "supply voltage" | "battery",
        /// What charges the battery: its trouble is the supply's, but not the battery's.
        Charging = "charging" | "charging system" | "alternator" | "generator" | "DC-DC converter",
        Network = "network" | "bus" | "communication" | "wiring",
        Module = "module" | "control unit" | "control module" | "ECU",
        TractionBattery = "traction battery" | "high-voltage battery" | "HV battery" | "traction",
        Other = "other" | "unknown",
    }
}

word_list! {
    /// What one test says of a battery. A discharged battery is never called worn.
    Verdict, "verdict" {
        Fit = "fit",
        /// Charge fully, then test again.
        Discharged = "discharged",
        Worn = "worn",
        Failed = "failed",
        /// The test does not hold what a verdict needs.
        Untested = "untested",
    }
}

word_list! {
    /// What kind of trouble a code tells of.
    CodeGroup, "code group" {
        SupplyVoltage = "supply voltage",
        LostCommunication = "lost communication",
        ImplausibleSignal = "implausible signal",
        Other = "other",
    }
}

word_list! {
    /// What a visit to the shop was for; see [`super::visit_reason`].
    VisitReason, "reason of a visit" {
        Planned = "planned",
        Starting = "starting trouble",
        Charging = "charging trouble",
        OtherTrouble = "other trouble",
    }
}

word_list! {
    /// How a battery's time in the vehicle ended.
    Outcome, "outcome" {
        Failed = "failed",
        /// Replaced before it failed.
        Preventive = "preventive",
        LeftFleet = "left fleet",
        /// The register lacks the vehicle without saying that it left.
        NotHeardOf = "not heard of",
        InService = "in service",
    }
}

word_list! {
    /// What the ranking asks to be done.
    Action, "action" {
        ThisWeek = "this week",
        /// On a visit of its own, once there is room for it.
        LaterWeek = "a later week",
        NextService = "next service",
        TestFirst = "test first",
        Leave = "leave",
    }
}

word_list! {
    /// What the plan asks to be done about a battery, and on what occasion.
    Advice, "advice" {
        ReplaceOnSpecialVisit = "replace on a special visit",
        /// Call the vehicle in, test first, and replace unless the test finds it good enough.
        TestOnArrival = "test on arrival",
        ReplaceAtService = "replace at the next service",
        TestAtService = "test at the next service",
        Leave = "leave",
    }
}
