//! Mappings: how a shop's columns and words become the lake's, and which mapping a header asks for.
//!
//! Reading the lines by it is left to `rows`.

pub mod header_layout;
pub mod mapping_columns;
pub mod mapping_file;
pub mod mapping_form;
pub mod mapping_toml;
pub mod mappings;
pub mod names;
pub mod recognise;
pub mod shop_mapping;
pub mod toml_reader;
