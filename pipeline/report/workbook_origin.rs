//! Says in a workbook which program made it.
//!
//! The library that writes workbooks names another program as their maker; that line of
//! `docProps/app.xml` is put right, and every other member is carried over as it is. It fails when the
//! bytes are no workbook.

use std::io::{Cursor, Read, Write};

use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{DateTime, ZipArchive, ZipWriter};

const PROPERTIES: &str = "docProps/app.xml";

/// The workbook with this program named as its application.
pub fn named_as_ours(workbook: &[u8]) -> Result<Vec<u8>, ZipError> {
    let mut members = ZipArchive::new(Cursor::new(workbook))?;
    let mut written = ZipWriter::new(Cursor::new(Vec::with_capacity(workbook.len())));
    for at in 0..members.len() {
        let mut member = members.by_index(at)?;
        if member.name() != PROPERTIES {
            written.raw_copy_file(member)?;
            continue;
        }
        let mut text = String::new();
        member.read_to_string(&mut text)?;
        // The same report is the same bytes, so the member has no time of its own.
        let options = SimpleFileOptions::default().last_modified_time(DateTime::default());
        written.start_file(PROPERTIES, options)?;
        written.write_all(with_application(&text).as_bytes())?;
    }
    Ok(written.finish()?.into_inner())
}

fn with_application(properties: &str) -> String {
    let (open, close) = ("<Application>", "</Application>");
    match (properties.find(open), properties.find(close)) {
        (Some(from), Some(to)) if from < to => {
            format!("{}{open}voltwane{}", &properties[..from], &properties[to..])
        }
        _ => properties.to_owned(),
    }
}
