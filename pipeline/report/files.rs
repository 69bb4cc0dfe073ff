//! Writes a report's files so that a reader sees the old one or the new one, never half of either.

use std::path::{Path, PathBuf};

use super::ReportError;

/// Writes `bytes` to `folder/name`, by way of a neighbour that takes its place.
pub fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, ReportError> {
    let path = folder.join(name);
    let failed = |source| ReportError::Write {
        path: path.clone(),
        source,
    };
    if let Some(parent) = path.parent() {
        std::fs::create_dir_all(parent).map_err(failed)?;
    }
    let neighbour = path.with_extension("part");
    std::fs::write(&neighbour, bytes).map_err(failed)?;
    std::fs::rename(&neighbour, &path).map_err(failed)?;
    Ok(path)
}
