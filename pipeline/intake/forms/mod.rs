//! From bytes to records: each form a table or a log may have, read to cells of text.
//!
//! Knows no mapping and no field; which column means what is left to `mapping`.

pub mod columnar;
pub mod delimited;
pub mod frame_text;
pub mod json_lines;
pub mod record;
pub mod report_text;
pub mod scan_findings;
pub mod scan_log;
pub mod text;
pub mod workbook;
