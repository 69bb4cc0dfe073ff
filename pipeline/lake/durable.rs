//! Puts files of a lake on this machine's disk for good, so that after a power cut a commit never
//! names data that is not there. Delta's own file store leaves that to chance. A folder is synced
//! too: without it a new file's name may be lost. Object stores see to it themselves.

use std::path::Path;

use super::LakeError;

/// Syncs a file below `lake`, then its folders up to the lake.
pub fn sync_file(lake: &Path, file: &Path) -> Result<(), LakeError> {
    sync(file)?;
    // A folder can be synced like a file on Unix only.
    if cfg!(unix) {
        for folder in file.ancestors().skip(1) {
            sync(folder)?;
            if folder == lake {
                break;
            }
        }
    }
    Ok(())
}

fn sync(path: &Path) -> Result<(), LakeError> {
    std::fs::File::open(path)
        .and_then(|opened| opened.sync_all())
        .map_err(|source| LakeError::Io {
            place: path.display().to_string(),
            source,
        })
}
