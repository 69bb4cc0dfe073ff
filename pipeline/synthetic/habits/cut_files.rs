//! Exports that broke off: the last line of a file is cut in the middle.

use std::path::Path;

use super::super::streams::{Domain, chance, stream};

/// How many bytes of a file are left when its last line is cut, and the line as it was; `None` where
/// the file is whole. One file in four is cut.
pub fn cut_last_line(seed: u64, path: &Path, bytes: &[u8]) -> Option<(usize, String)> {
    let name = path.to_string_lossy();
    let index = name.bytes().fold(0xcbf2_9ce4_8422_2325u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    if !chance(&mut stream(seed, Domain::Habit, index), 0.25) {
        return None;
    }
    let body = bytes.strip_suffix(b"\n")?;
    let start = body.iter().rposition(|byte| *byte == b'\n')? + 1;
    // The header is never cut.
    let whole = String::from_utf8_lossy(&body[start..]).into_owned();
    Some((start + (body.len() - start) / 2, whole))
}
