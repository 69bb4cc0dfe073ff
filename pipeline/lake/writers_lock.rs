//! One writer of a lake at a time, on this machine.
//!
//! Two loads of the same dumps at once would each find the facts missing and each add them. The
//! second waits instead, and opens the lake only when the first is done. The operating system takes
//! the lock back when a process ends, however it ends. Facts do not hang on it: a commit lands only
//! on the very state it was held against ([`super::commit`]), so where a place knows no locks, or is
//! an object store, nothing is doubled either.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Write};
use std::path::Path;

use chrono::{SecondsFormat, Utc};

use super::LakeError;

/// The lock's file at the root of a lake. While the lock is held it says by whom.
const LOCK_FILE: &str = ".voltwane-lock";

/// Held as long as it lives.
pub struct WritersLock {
    file: File,
}

impl WritersLock {
    /// Takes the lock of the lake in `folder`, waiting for whoever has it. None where the file system
    /// has no locks.
    pub async fn take(folder: &Path) -> Result<Option<Self>, LakeError> {
        let path = folder.join(LOCK_FILE);
        let failed = |source| LakeError::Io {
            place: path.display().to_string(),
            source,
        };
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(&path)
            .map_err(failed)?;
        let file = match file.try_lock() {
            Ok(()) => file,
            Err(TryLockError::WouldBlock) => {
                let holder = std::fs::read_to_string(&path).unwrap_or_default();
                let holder = match holder.trim() {
                    "" => "another process",
                    told => told,
                };
                tracing::warn!(
                    "waiting for another load of the lake at {} ({holder})",
                    folder.display()
                );
                tokio::task::spawn_blocking(move || file.lock().map(|()| file))
                    .await
                    .map_err(|error| failed(std::io::Error::other(error)))?
                    .map_err(failed)?
            }
            Err(TryLockError::Error(error)) if error.kind() == ErrorKind::Unsupported => {
                return Ok(None);
            }
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        };
        let mut lock = Self { file };
        lock.say_who();
        Ok(Some(lock))
    }

    /// Only for the message to those who wait, so it may fail.
    fn say_who(&mut self) {
        let began = Utc::now().to_rfc3339_opts(SecondsFormat::Secs, true);
        let _ = self.file.set_len(0);
        let _ = write!(self.file, "process {}, began {began}", std::process::id());
    }
}

impl Drop for WritersLock {
    fn drop(&mut self) {
        // Closing the file unlocks it; the file stays, since one who waits may hold it open.
        let _ = self.file.set_len(0);
    }
}
