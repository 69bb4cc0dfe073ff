//! Opens a file down to its parts: plain, gzip, Zstandard, or the members of a zip.
//!
//! A part shows its first bytes, by which its form is told, and then gives all of them once. Reading
//! is streamed. A cut or damaged container fails the file as a whole. The rows of a part that was
//! read before the damage showed are for the caller to drop.

use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use sha2::{Digest, Sha256};
use zip::ZipArchive;
use zip::result::ZipError;

use crate::error::IntakeError;

/// Bytes of a part that are looked at before it is read.
pub const HEAD_BYTES: usize = 1 << 16;

/// Bytes of a compressed part that are unpacked into memory, for forms that must be read back and
/// forth (workbooks, Parquet).
const MOST_IN_MEMORY: u64 = 512 << 20;

/// One table's worth of bytes.
pub struct Part<'p> {
    /// As shown in messages: the file, or `file/member`.
    pub name: String,
    /// The part's own file name, without the ending of its compression.
    pub file_name: String,
    /// Its first bytes, at most [`HEAD_BYTES`].
    pub head: Vec<u8>,
    rest: Box<dyn Read + 'p>,
    compressed: bool,
    /// The file itself, where the part is a whole one.
    path: Option<PathBuf>,
}

impl<'p> Part<'p> {
    fn new(
        name: String,
        file_name: String,
        mut rest: Box<dyn Read + 'p>,
        compressed: bool,
    ) -> Result<Part<'p>, IntakeError> {
        let mut head = Vec::new();
        let filled = (&mut rest).take(HEAD_BYTES as u64).read_to_end(&mut head);
        let part = Part {
            name,
            file_name,
            head,
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
        let mut bytes = Vec::new();
        let read = self
            .into_reader()
            .take(MOST_IN_MEMORY + 1)
            .read_to_end(&mut bytes);
        read.map_err(|error| failed(&name, compressed, error))?;
        if bytes.len() as u64 > MOST_IN_MEMORY {
            let evidence = format!("is larger than {} MiB", MOST_IN_MEMORY >> 20);
            let remedy = "export it as CSV, which is read in any size";
            return Err(IntakeError::Form {
                file: name,
                evidence,
                remedy,
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

/// SHA-256 of a file's bytes in hexadecimal, and its length.
pub fn file_hash(path: &Path) -> Result<(String, u64), IntakeError> {
    let unreadable = |source| IntakeError::Unreadable {
        file: path.to_owned(),
        source,
    };
    let mut file = File::open(path).map_err(unreadable)?;
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

/// Gives each part of a file to `visit`, in the file's order. `bytes_read` counts the file's bytes
/// as they are taken.
pub fn visit_parts(
    path: &Path,
    bytes_read: &Arc<AtomicU64>,
    visit: &mut dyn FnMut(Part<'_>) -> Result<(), IntakeError>,
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
    let mut file = File::open(path).map_err(unreadable)?;
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
        Packing::Zip if !is_workbook_name(&file_name) => visit_members(&name, counted, visit),
        packing => {
            let reader = BufReader::with_capacity(1 << 16, counted);
            let inner_name = unpacked_name(&file_name, packing);
            let compressed = packing.is_compression();
            let mut part = Part::new(
                name.clone(),
                inner_name,
                unpack(&name, reader, packing)?,
                compressed,
            )?;
            part.path = (!compressed).then(|| path.to_owned());
            visit(part)
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
    reader: impl Read + Seek,
    visit: &mut dyn FnMut(Part<'_>) -> Result<(), IntakeError>,
) -> Result<(), IntakeError> {
    let mut archive =
        ZipArchive::new(BufReader::new(reader)).map_err(|error| zip_failed(name, error))?;
    let mut any = false;
    for index in 0..archive.len() {
        let member = archive
            .by_index(index)
            .map_err(|error| zip_failed(name, error))?;
        let path = member.name().to_owned();
        let file_name = path.rsplit('/').next().unwrap_or_default().to_owned();
        if member.is_dir() || file_name.starts_with('.') || path.starts_with("__MACOSX/") {
            continue;
        }
        any = true;
        let full_name = format!("{name}/{path}");
        let mut member = BufReader::new(member);
        let start =
            io::BufRead::fill_buf(&mut member).map_err(|error| failed(&full_name, true, error))?;
        let inner = match packing(&start[..start.len().min(4)]) {
            Packing::Zip if !is_workbook_name(&file_name) => {
                let evidence = "is a zip in a zip".to_owned();
                return Err(IntakeError::Form {
                    file: full_name,
                    evidence,
                    remedy: "unpack the outer one first",
                });
            }
            packing => packing,
        };
        let inner_name = unpacked_name(&file_name, inner);
        visit(Part::new(
            full_name.clone(),
            inner_name,
            unpack(&full_name, member, inner)?,
            true,
        )?)?;
    }
    if any {
        Ok(())
    } else {
        Err(IntakeError::Empty {
            file: name.to_owned(),
        })
    }
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
