//! Opens a file down to its parts: plain, gzip, Zstandard, or the members of a zip.
//!
//! A part shows its first bytes, by which its form is told, and then gives all of them once. Reading
//! is streamed, and what a file unpacks to is limited, all its members together. A cut or damaged
//! container fails the file as a whole, a damaged member only itself. The rows of a part that was read
//! before the damage showed are for the caller to drop.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use sha2::{Digest, Sha256};
use zip::ZipArchive;
use zip::result::ZipError;

use crate::error::{IntakeError, PastLimit};
use settings::Limits;
use settings::limits::{bytes_of_mb, count};

/// Bytes of a part that are looked at before it is read.
pub const HEAD_BYTES: usize = 1 << 16;

/// One table's worth of bytes.
pub struct Part<'p> {
    /// As shown in messages: the file, or `file/member`.
    pub name: String,
    /// The part's own file name, without the ending of its compression.
    pub file_name: String,
    /// Its first bytes, at most [`HEAD_BYTES`].
    pub head: Vec<u8>,
    /// How much of it is read.
    pub limits: &'p Limits,
    rest: Box<dyn Read + 'p>,
    compressed: bool,
    /// The file itself, where the part is a whole one.
    path: Option<PathBuf>,
}

impl<'p> Part<'p> {
    fn new(
        name: String,
        file_name: String,
        limits: &'p Limits,
        mut rest: Box<dyn Read + 'p>,
        compressed: bool,
    ) -> Result<Part<'p>, IntakeError> {
        let mut head = Vec::new();
        let filled = (&mut rest).take(HEAD_BYTES as u64).read_to_end(&mut head);
        let part = Part {
            name,
            file_name,
            head,
            limits,
            rest,
            compressed,
            path: None,
        };
        match filled {
            Ok(_) => Ok(part),
            Err(error) => Err(part.failed(error)),
        }
    }

    /// All bytes, from the first.
    pub fn into_reader(self) -> Box<dyn Read + 'p> {
        Box::new(Cursor::new(self.head).chain(self.rest))
    }

    /// All bytes in memory, for a form that is read back and forth.
    pub fn into_bytes(self) -> Result<Vec<u8>, IntakeError> {
        let (name, compressed) = (self.name.clone(), self.compressed);
        let most = bytes_of_mb(self.limits.workbook_mb);
        let what = format!("is larger than {} MiB", self.limits.workbook_mb);
        let mut bytes = Vec::new();
        let read = self.into_reader().take(most + 1).read_to_end(&mut bytes);
        read.map_err(|error| failed(&name, compressed, error))?;
        if bytes.len() as u64 > most {
            return Err(IntakeError::PastLimit {
                file: name,
                what,
                setting: "limits.workbook_mb",
            });
        }
        Ok(bytes)
    }

    /// A file of all bytes, for a form that is read back and forth in any size: the file itself, or
    /// a temporary one that is gone when it is closed.
    pub fn into_file(self) -> Result<File, IntakeError> {
        let (name, compressed) = (self.name.clone(), self.compressed);
        if let Some(path) = &self.path {
            return File::open(path).map_err(|error| failed(&name, false, error));
        }
        let mut file = unnamed_file().map_err(|error| failed(&name, false, error))?;
        io::copy(&mut self.into_reader(), &mut file)
            .map_err(|error| failed(&name, compressed, error))?;
        file.rewind().map_err(|error| failed(&name, false, error))?;
        Ok(file)
    }

    /// The error of a failed read from this part.
    pub fn failed(&self, error: io::Error) -> IntakeError {
        failed(&self.name, self.compressed, error)
    }

    pub fn is_compressed(&self) -> bool {
        self.compressed
    }
}

/// A temporary file whose name is given up at once, so that nothing is left when it is closed.
fn unnamed_file() -> io::Result<File> {
    static NUMBER: AtomicU64 = AtomicU64::new(0);
    let number = NUMBER.fetch_add(1, Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("voltwane-{}-{number}", std::process::id()));
    let file = File::options()
        .read(true)
        .write(true)
        .create_new(true)
        .open(&path)?;
    std::fs::remove_file(&path)?;
    Ok(file)
}

/// What a failed read means for a file: a cut one, a damaged one, or one that cannot be read.
pub fn failed(file: &str, compressed: bool, error: io::Error) -> IntakeError {
    let file = file.to_owned();
    if let Some(past) = past_limit(&error) {
        return IntakeError::PastLimit {
            file,
            what: past.what.clone(),
            setting: past.setting,
        };
    }
    match error.kind() {
        io::ErrorKind::InvalidData => IntakeError::Damaged {
            file,
            evidence: error.to_string(),
        },
        _ if !compressed => IntakeError::Unreadable {
            file: file.into(),
            source: error,
        },
        io::ErrorKind::UnexpectedEof => IntakeError::CutOff { file },
        _ => IntakeError::Damaged {
            file,
            evidence: error.to_string(),
        },
    }
}

/// The limit that a failed read went past, if it was one.
fn past_limit(error: &io::Error) -> Option<&PastLimit> {
    error.get_ref()?.downcast_ref()
}

/// Opens a file that can be read to its end. A pipe or a device may have none, and a file that has no
/// bytes by its size but gives some is the kernel's.
fn open(path: &Path) -> Result<File, IntakeError> {
    let unreadable = |source| IntakeError::Unreadable {
        file: path.to_owned(),
        source,
    };
    let about = std::fs::metadata(path).map_err(unreadable)?;
    if !about.is_file() {
        return Err(unreadable(settings::text_file::not_regular()));
    }
    if about.len() == 0 {
        return Err(IntakeError::Empty {
            file: path.display().to_string(),
        });
    }
    File::open(path).map_err(unreadable)
}

/// SHA-256 of a file's bytes in hexadecimal, and its length.
pub fn file_hash(path: &Path) -> Result<(String, u64), IntakeError> {
    let unreadable = |source| IntakeError::Unreadable {
        file: path.to_owned(),
        source,
    };
    let mut file = open(path)?;
    let (mut hasher, mut length) = (Sha256::new(), 0);
    let mut buffer = vec![0; 1 << 16];
    loop {
        match file.read(&mut buffer) {
            Ok(0) => break,
            Ok(read) => {
                hasher.update(&buffer[..read]);
                length += read as u64;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(unreadable(error)),
        }
    }
    let hash = hasher
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    Ok((hash, length))
}

/// What is done with each part of a file, or with why it is none. Its own error ends the visit.
pub type VisitPart<'v> = dyn FnMut(Result<Part<'_>, IntakeError>) -> Result<(), IntakeError> + 'v;

/// Gives each part of a file to `visit`, in the file's order. `bytes_read` counts the file's bytes
/// as they are taken.
pub fn visit_parts(
    path: &Path,
    limits: &Limits,
    bytes_read: &Arc<AtomicU64>,
    visit: &mut VisitPart<'_>,
) -> Result<(), IntakeError> {
    let unreadable = |source| IntakeError::Unreadable {
        file: path.to_owned(),
        source,
    };
    let name = path.display().to_string();
    let file_name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let mut file = open(path)?;
    let mut magic = [0; 4];
    let mut start = Vec::new();
    (&mut file)
        .take(magic.len() as u64)
        .read_to_end(&mut start)
        .map_err(unreadable)?;
    magic[..start.len()].copy_from_slice(&start);
    file.seek(SeekFrom::Start(0)).map_err(unreadable)?;
    let counted = Counted {
        inner: file,
        bytes_read: Arc::clone(bytes_read),
    };
    match packing(&magic) {
        Packing::Zip if !is_workbook_name(&file_name) => {
            visit_members(&name, limits, counted, visit)
        }
        packing => {
            let reader = BufReader::with_capacity(1 << 16, counted);
            let inner_name = unpacked_name(&file_name, packing);
            let compressed = packing.is_compression();
            let mut rest = unpack(&name, reader, packing)?;
            if compressed {
                rest = Unpacked::new(limits).counting(rest);
            }
            let mut part = Part::new(name.clone(), inner_name, limits, rest, compressed)?;
            part.path = (!compressed).then(|| path.to_owned());
            visit(Ok(part))
        }
    }
}

/// How bytes are packed, by the first of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Packing {
    None,
    Gzip,
    Zstandard,
    Zip,
}

impl Packing {
    fn is_compression(self) -> bool {
        matches!(self, Packing::Gzip | Packing::Zstandard)
    }
}

fn packing(magic: &[u8]) -> Packing {
    match magic {
        [0x1F, 0x8B, ..] => Packing::Gzip,
        [0x28, 0xB5, 0x2F, 0xFD, ..] => Packing::Zstandard,
        [b'P', b'K', 3, 4] | [b'P', b'K', 5, 6] => Packing::Zip,
        _ => Packing::None,
    }
}

fn unpack<'p>(
    name: &str,
    reader: impl io::BufRead + 'p,
    packing: Packing,
) -> Result<Box<dyn Read + 'p>, IntakeError> {
    Ok(match packing {
        Packing::Gzip => Box::new(BufReader::with_capacity(
            1 << 16,
            flate2::bufread::MultiGzDecoder::new(reader),
        )),
        Packing::Zstandard => Box::new(
            zstd::stream::read::Decoder::with_buffer(reader)
                .map_err(|error| failed(name, true, error))?,
        ),
        Packing::None | Packing::Zip => Box::new(reader),
    })
}

/// The name without the ending of its compression: `tests.csv.gz` is `tests.csv`.
fn unpacked_name(file_name: &str, packing: Packing) -> String {
    let lower = file_name.to_lowercase();
    let endings: &[&str] = if packing.is_compression() {
        &[".gz", ".gzip", ".zst", ".zstd"]
    } else {
        &[]
    };
    let ending = endings.iter().find(|ending| lower.ends_with(**ending));
    ending
        .map_or(file_name, |ending| {
            &file_name[..file_name.len() - ending.len()]
        })
        .to_owned()
}

/// Whether a zip of that name is a workbook, which is a zip too.
fn is_workbook_name(file_name: &str) -> bool {
    let lower = file_name.to_lowercase();
    [".xlsx", ".xlsm", ".xlsb", ".ods"]
        .iter()
        .any(|ending| lower.ends_with(ending))
}

fn visit_members(
    name: &str,
    limits: &Limits,
    reader: impl Read + Seek,
    visit: &mut VisitPart<'_>,
) -> Result<(), IntakeError> {
    let mut archive =
        ZipArchive::new(BufReader::new(reader)).map_err(|error| zip_failed(name, error))?;
    if archive.len() as u64 > count(limits.archive_members) {
        return Err(IntakeError::PastLimit {
            file: name.to_owned(),
            what: format!("has {} members", archive.len()),
            setting: "limits.archive_members",
        });
    }
    let unpacked = Unpacked::new(limits);
    let mut any = false;
    for index in 0..archive.len() {
        let member = match archive.by_index(index) {
            Ok(member) => member,
            Err(error) => {
                any = true;
                visit(Err(zip_failed(
                    &format!("{name}/member {}", index + 1),
                    error,
                )))?;
                continue;
            }
        };
        let path = member.name().to_owned();
        let file_name = path.rsplit('/').next().unwrap_or_default().to_owned();
        if member.is_dir() || file_name.starts_with('.') || path.starts_with("__MACOSX/") {
            continue;
        }
        any = true;
        let full_name = format!("{name}/{path}");
        visit(member_part(
            full_name, &file_name, limits, &unpacked, member,
        ))?;
        if unpacked.is_past() {
            return Err(unpacked.past_limit(name));
        }
    }
    if any {
        Ok(())
    } else {
        Err(IntakeError::Empty {
            file: name.to_owned(),
        })
    }
}

fn member_part<'p>(
    full_name: String,
    file_name: &str,
    limits: &'p Limits,
    unpacked: &Unpacked,
    member: impl Read + 'p,
) -> Result<Part<'p>, IntakeError> {
    let mut member = BufReader::new(member);
    let start =
        io::BufRead::fill_buf(&mut member).map_err(|error| failed(&full_name, true, error))?;
    let packing = match packing(&start[..start.len().min(4)]) {
        Packing::Zip if !is_workbook_name(file_name) => {
            return Err(IntakeError::Form {
                file: full_name,
                evidence: "is a zip in a zip".to_owned(),
                remedy: "unpack the outer one first",
            });
        }
        packing => packing,
    };
    let rest = unpacked.counting(unpack(&full_name, member, packing)?);
    let inner_name = unpacked_name(file_name, packing);
    Part::new(full_name, inner_name, limits, rest, true)
}

fn zip_failed(name: &str, error: ZipError) -> IntakeError {
    let file = name.to_owned();
    match error {
        ZipError::Io(error) => failed(name, true, error),
        ZipError::UnsupportedArchive(what) => IntakeError::Form {
            file,
            evidence: format!("cannot be unpacked ({what})"),
            remedy: "unpack it yourself and load what was in it",
        },
        other => IntakeError::Damaged {
            file,
            evidence: other.to_string(),
        },
    }
}

/// How much a file has unpacked to, all its members together.
struct Unpacked {
    bytes: Rc<Cell<u64>>,
    most_mb: i64,
}

impl Unpacked {
    fn new(limits: &Limits) -> Unpacked {
        Unpacked {
            bytes: Rc::default(),
            most_mb: limits.archive_mb,
        }
    }

    /// A reader of the same bytes that fails when they grow past the limit.
    fn counting<'r>(&self, inner: Box<dyn Read + 'r>) -> Box<dyn Read + 'r> {
        Box::new(Limited {
            inner,
            bytes: Rc::clone(&self.bytes),
            most_mb: self.most_mb,
        })
    }

    fn is_past(&self) -> bool {
        self.bytes.get() > bytes_of_mb(self.most_mb)
    }

    fn past_limit(&self, file: &str) -> IntakeError {
        failed(file, true, unpacks_too_far(self.most_mb))
    }
}

fn unpacks_too_far(most_mb: i64) -> io::Error {
    io::Error::other(PastLimit {
        what: format!("unpacks to more than {most_mb} MiB"),
        setting: "limits.archive_mb",
    })
}

/// Fails when a file unpacks to more than it may.
struct Limited<'r> {
    inner: Box<dyn Read + 'r>,
    bytes: Rc<Cell<u64>>,
    most_mb: i64,
}

impl Read for Limited<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(into)?;
        self.bytes.set(self.bytes.get().saturating_add(read as u64));
        match self.bytes.get() > bytes_of_mb(self.most_mb) {
            true => Err(unpacks_too_far(self.most_mb)),
            false => Ok(read),
        }
    }
}

/// Counts the bytes taken from a file.
struct Counted {
    inner: File,
    bytes_read: Arc<AtomicU64>,
}

impl Read for Counted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(into)?;
        self.bytes_read.fetch_add(read as u64, Ordering::Relaxed);
        Ok(read)
    }
}

impl Seek for Counted {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.inner.seek(to)
    }
}
