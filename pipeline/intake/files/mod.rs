//! From a path to bytes: the files of a folder, the parts packed in one, their encoding, their lines.
//!
//! What the bytes say is left to `forms`.

pub mod container;
pub mod encoding;
pub mod find;
pub mod lines;
