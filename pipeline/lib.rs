//! voltwane: dumps of battery tests, code scans, work orders and the vehicle register become a lake,
//! the lake becomes a weekly report that ranks 12 V batteries to replace before they strand anyone.

pub mod cli;
pub mod intake;
pub mod lake;
pub mod report;
pub mod risk;
pub mod settings;
pub mod statistics;
pub mod synthetic;
pub mod tables;
pub mod trade;
