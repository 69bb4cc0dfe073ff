//! The laws a world can be lived by, and the climates it can lie in.
//!
//! `smooth` is the law of [`super::wear`]: one hazard that rises smoothly with wear. The others share
//! one mechanism, [`law`], in which a battery fails on the morning when its ability falls below what
//! the vehicle needs, or without warning; they differ in what wears a battery down. Their truth is
//! found by living many futures from the hidden state ([`chances`]), never by a formula.

mod bad_batch;
mod batches;
mod chances;
mod climates;
mod cold_reveals;
mod heat_corrodes;
mod instruments;
mod law;
mod living;
mod outlook;
mod steps_down;
mod traits;
mod use_wears;

pub use batches::{BAD_SHARE, Batch, batches};
pub use chances::chance_of_failing;
pub use climates::Climate;
pub use instruments::{Instrument, instruments};
pub use law::Law;
pub use outlook::Outlook;
pub use traits::{ChargingFault, Traits, second_battery};

/// The worlds by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WorldName {
    Smooth,
    ColdReveals,
    UseWears,
    BadBatch,
    HeatCorrodes,
    StepsDown,
}

impl WorldName {
    /// Every world, with its name and what it is like.
    pub const ALL: [(WorldName, &'static str, &'static str); 6] = [
        (
            WorldName::Smooth,
            "smooth",
            "one hazard that rises smoothly with wear",
        ),
        (
            WorldName::ColdReveals,
            "cold-reveals",
            "worn batteries fail on the first mornings cold enough for them",
        ),
        (
            WorldName::UseWears,
            "use-wears",
            "short trips, stands and charging faults wear; two batteries a vehicle",
        ),
        (
            WorldName::BadBatch,
            "bad-batch",
            "batteries of some months' production fail early",
        ),
        (
            WorldName::HeatCorrodes,
            "heat-corrodes",
            "heat does nearly all of the wear, and the last of it goes fast",
        ),
        (
            WorldName::StepsDown,
            "steps-down",
            "ability sinks by steps, hardly between them",
        ),
    ];

    /// The world of that name.
    pub fn named(name: &str) -> Option<WorldName> {
        let found = WorldName::ALL.iter().find(|(_, known, _)| *known == name);
        found.map(|(world, _, _)| *world)
    }

    /// The law its batteries obey; `None` is the smooth hazard of [`super::wear`].
    pub(super) fn law(self) -> Option<&'static Law> {
        match self {
            WorldName::Smooth => None,
            WorldName::ColdReveals => Some(&cold_reveals::LAW),
            WorldName::UseWears => Some(&use_wears::LAW),
            WorldName::BadBatch => Some(&bad_batch::LAW),
            WorldName::HeatCorrodes => Some(&heat_corrodes::LAW),
            WorldName::StepsDown => Some(&steps_down::LAW),
        }
    }
}
