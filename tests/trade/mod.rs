//! The trade's rules against published text: each table names where its values come from.

mod battery_tables;
mod battery_tests;
mod code_groups;
mod codes;
mod dates;
mod heavy_vehicles;
mod responses;
mod segments;
mod vin;
mod visit_reasons;
mod words;
