//! Writes a report's folder so that a reader sees the old one or the new one, never some of either.
//!
//! The files are written into a new folder beside it that nobody else knows. It then takes the old
//! one's place in one step, with what else stood there. Of two reports written at once the later one
//! stays; a run that is killed leaves the old one, and at most a hidden folder, which a later one removes.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tempfile::TempDir;

use super::ReportError;

/// What the hidden folders' names begin with.
const HIDDEN: &str = ".voltwane-report-";

/// From then on a hidden folder is what a killed run left.
const LEFT_AFTER: Duration = Duration::from_secs(24 * 60 * 60);

/// The folders in the making, for one who ends the program.
static IN_THE_MAKING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn in_the_making() -> MutexGuard<'static, Vec<PathBuf>> {
    IN_THE_MAKING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes the folders in the making. None is put in its place any more: the program is to end.
pub fn remove_unfinished() {
    let mut folders = in_the_making();
    for folder in folders.drain(..) {
        let _ = std::fs::remove_dir_all(folder);
    }
    std::mem::forget(folders);
}

/// A report's folder in the making.
pub struct Folder {
    place: PathBuf,
    fresh: TempDir,
}

impl Folder {
    /// Begins a folder that is to stand at `place`.
    pub fn begin(place: &Path) -> Result<Folder, ReportError> {
        let failed = failed(place);
        let beside = match place.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        std::fs::create_dir_all(beside).map_err(&failed)?;
        remove_left(beside);
        let mut named = tempfile::Builder::new();
        named.prefix(HIDDEN);
        // As open as any folder the user makes.
        #[cfg(unix)]
        named.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777));
        let fresh = named.tempdir_in(beside).map_err(&failed)?;
        in_the_making().push(fresh.path().to_owned());
        Ok(Folder {
            // Where a link stands, the folder it leads to is meant.
            place: place.canonicalize().unwrap_or_else(|_| place.to_owned()),
            fresh,
        })
    }

    /// Writes `bytes` to the file of that name, which may stand in a folder of its own.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
        let path = self.fresh.path().join(name);
        let written = match path.parent() {
            Some(parent) => std::fs::create_dir_all(parent),
            None => Ok(()),
        };
        written
            .and_then(|()| std::fs::write(&path, bytes))
            .map_err(failed(&self.place.join(name)))
    }

    /// Puts the folder in its place, with the files that stood there and are not in it.
    pub fn put_in_place(self) -> Result<(), ReportError> {
        let failed = failed(&self.place);
        // Held while what stands there is taken over, so that of two at once neither loses the other's.
        let _turn = self.place.parent().and_then(turn);
        let mut in_the_making = in_the_making();
        in_the_making.retain(|folder| folder != self.fresh.path());
        if !self.place.is_dir() {
            let fresh = self.fresh.keep();
            return std::fs::rename(&fresh, &self.place)
                .inspect_err(|_| drop(std::fs::remove_dir_all(&fresh)))
                .map_err(failed);
        }
        take_over(&self.place, self.fresh.path())
            .and_then(|()| exchange(self.fresh.path(), &self.place))
            .map_err(failed)
        // What stood there is now in the temporary folder and goes with it.
    }
}

/// Replaces one file in one step.
pub fn replace(path: &Path, bytes: &[u8]) -> Result<(), ReportError> {
    let failed = failed(path);
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut named = tempfile::Builder::new();
    named.prefix(HIDDEN);
    // As open as any file the user makes.
    #[cfg(unix)]
    named.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let fresh = named.tempfile_in(folder).map_err(&failed)?;
    std::fs::write(fresh.path(), bytes).map_err(&failed)?;
    fresh
        .persist(path)
        .map(drop)
        .map_err(|error| failed(error.error))
}

/// Makes `path` a link to what stands beside it under that name, in one step. What stands there and is
/// no link is left.
#[cfg(unix)]
pub fn link(path: &Path, target: &Path) -> Result<(), ReportError> {
    if std::fs::symlink_metadata(path).is_ok_and(|about| !about.is_symlink()) {
        return Ok(());
    }
    let failed = failed(path);
    let beside = path.parent().unwrap_or(Path::new("."));
    let mut named = tempfile::Builder::new();
    named.prefix(HIDDEN);
    let fresh = named.tempdir_in(beside).map_err(&failed)?;
    let link = fresh.path().join("link");
    std::os::unix::fs::symlink(target, &link)
        .and_then(|()| std::fs::rename(&link, path))
        .map_err(failed)
}

#[cfg(not(unix))]
pub fn link(_path: &Path, _target: &Path) -> Result<(), ReportError> {
    Ok(())
}

/// Removes what killed runs left in a folder; that it cannot be removed is no harm.
fn remove_left(folder: &Path) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let is_hidden = entry.file_name().to_string_lossy().starts_with(HIDDEN);
        let age = entry.metadata().and_then(|about| about.modified());
        let age = age.ok().and_then(|then| then.elapsed().ok());
        if is_hidden && age.is_some_and(|age| age > LEFT_AFTER) {
            let _ = std::fs::remove_dir_all(entry.path());
        }
    }
}

pub fn failed(path: &Path) -> impl Fn(io::Error) -> ReportError + use<> {
    let path = path.to_owned();
    move |source| ReportError::Write {
        path: path.clone(),
        source,
    }
}

/// One's turn among those who write reports into a folder, where the system gives turns: held until it
/// is dropped.
fn turn(folder: &Path) -> Option<File> {
    let folder = File::open(folder).ok()?;
    folder.lock().ok()?;
    Some(folder)
}

/// Gives the files of `old` that `new` does not have to `new` as well.
fn take_over(old: &Path, new: &Path) -> io::Result<()> {
    for entry in std::fs::read_dir(old)? {
        let entry = entry?;
        let target = new.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            std::fs::create_dir_all(&target)?;
            take_over(&entry.path(), &target)?;
        } else if !target.exists() {
            std::fs::hard_link(entry.path(), &target)
                .or_else(|_| std::fs::copy(entry.path(), &target).map(drop))?;
        }
    }
    Ok(())
}

/// Exchanges two folders in one step.
#[cfg(target_os = "linux")]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE) {
        // Some file systems can not.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            in_two_steps(a, b)
        }
        exchanged => Ok(exchanged?),
    }
}

#[cfg(not(target_os = "linux"))]
fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    in_two_steps(a, b)
}

/// As near as can be to one step where the system has none: killed between the two, the old folder
/// stands hidden beside its place.
fn in_two_steps(a: &Path, b: &Path) -> io::Result<()> {
    let old = a.with_extension("old");
    std::fs::rename(b, &old)?;
    std::fs::rename(a, b)?;
    std::fs::rename(&old, a)
}
