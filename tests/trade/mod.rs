//! The trade's rules against published text: each table names where its values come from.

mod battery;
mod codes;
mod dates;
mod frames;
mod responses;
mod vin;
mod words;
