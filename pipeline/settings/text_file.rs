//! Texts that a user writes by hand, read so that nothing that is no such text can hold up the run.

use std::fs::File;
use std::io::{Error, ErrorKind, Read, Result};
use std::path::Path;

/// A mapping, a query or a configuration of more than this is none.
const MOST_BYTES: u64 = 16 << 20;

/// Reads a text file. Fails on what is no regular file (a pipe or a device may never end), on one of
/// more than 16 MiB, and on one that is not UTF-8.
pub fn read(path: &Path) -> Result<String> {
    String::from_utf8(bytes(path)?)
        .map_err(|_| Error::new(ErrorKind::InvalidData, "it is not text in UTF-8"))
}

/// As [`read`], whatever the encoding.
pub fn bytes(path: &Path) -> Result<Vec<u8>> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        return Err(not_regular());
    }
    let mut bytes = Vec::new();
    // A file that is empty by its size but not when it is read is the kernel's, and may never end.
    if about.len() > 0 {
        File::open(path)?
            .take(MOST_BYTES + 1)
            .read_to_end(&mut bytes)?;
    }
    match bytes.len() as u64 > MOST_BYTES {
        true => Err(Error::new(
            ErrorKind::InvalidData,
            "it is larger than 16 MiB",
        )),
        false => Ok(bytes),
    }
}

/// As [`read`], of a file in that folder; fails on a link that leads out of it.
pub fn read_within(folder: &Path, path: &Path) -> Result<String> {
    if !path.canonicalize()?.starts_with(folder.canonicalize()?) {
        let what = "it is a link to a file outside the folder, which is not followed";
        return Err(Error::new(ErrorKind::PermissionDenied, what));
    }
    read(path)
}

/// Why something that is no regular file is not read.
pub fn not_regular() -> Error {
    let what = "it is a folder, a device or a pipe; only regular files are read";
    Error::new(ErrorKind::InvalidInput, what)
}
