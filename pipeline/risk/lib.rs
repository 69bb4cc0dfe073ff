//! The risk model: from the rows of vehicle_week to a chance for every battery, and why.
//!
//! Two fits, one upon the other: the health a test today would show (`expected_health`), from the
//! tests that followed; and the hazard (`model`), from the failures that followed, with the lost
//! ability as its leading column. `tables` puts both, and the chances, among the derived tables.
//! Fails where a query was changed or a fit has no answer; what to do about the chances is left
//! to `plan`.

pub mod advice_worth;
pub mod battery_prospect;
pub mod chances;
pub mod cold;
pub mod contest;
#[cfg(test)]
mod corrupted_frames;
pub mod drawn;
pub mod expected_health;
pub mod feature;
pub mod features;
pub mod frame;
mod ground;
pub mod knapsack;
mod learnt;
pub mod life_law;
mod loss_features;
pub mod model;
mod own_pace;
mod penalties;
pub mod planned_ends;
pub mod prediction;
pub mod reasons;
pub mod scaled;
pub mod scores;
pub mod season;
pub mod stakes;
pub mod stored_model;
pub mod test_value;
pub mod together;
mod trials;
pub mod visits;
pub mod ways;
pub mod wear_power;
pub mod weeks_ahead;
pub mod without_warning;
