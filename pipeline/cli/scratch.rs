//! Temporary folders of a run: new ones of unpredictable names that no other user can look into, gone
//! when the program ends, by itself or by a signal.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tempfile::TempDir;

/// Held here rather than by whoever asked, so that a signal finds them wherever the work stands.
static FOLDERS: Mutex<Vec<TempDir>> = Mutex::new(Vec::new());

/// Makes a folder that is there until the end of the run.
pub fn folder() -> std::io::Result<PathBuf> {
    folder_in(None)
}

/// Makes one in a folder, or where temporary folders are.
pub fn folder_in(parent: Option<&Path>) -> std::io::Result<PathBuf> {
    let mut named = tempfile::Builder::new();
    named.prefix("voltwane-");
    #[cfg(unix)]
    named.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    let folder = match parent {
        Some(parent) => named.tempdir_in(parent)?,
        None => named.tempdir()?,
    };
    let path = folder.path().to_owned();
    FOLDERS
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .push(folder);
    Ok(path)
}

/// Removes what [`folder`] made.
pub fn remove_all() {
    let mut folders = FOLDERS.lock().unwrap_or_else(PoisonError::into_inner);
    for folder in folders.drain(..) {
        let path = folder.path().to_owned();
        if let Err(error) = folder.close() {
            tracing::warn!(folder = %path.display(), %error, "a temporary folder is left");
        }
    }
}

/// Removes the temporary folders when it is dropped.
pub struct RemovedAtTheEnd;

impl Drop for RemovedAtTheEnd {
    fn drop(&mut self) {
        remove_all();
    }
}
