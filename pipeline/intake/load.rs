//! A load: many files into one lake, in one commit a table.
//!
//! A file, a member of an archive or a sheet that cannot be read is left out and named; the others go
//! in. What a killed load
//! leaves behind is no part of the lake, so the same load can simply be run again: rows that are
//! there already are known by their content.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use arrow::array::{
    ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray,
};
use chrono::{DateTime, Utc};
use tokio::runtime::Handle;

use super::error::IntakeError;
use super::files::find::find_files;
use super::mapping::mappings::Mappings;
use super::read::{FileSummary, read_file};
use super::sink::{QuarantinedRow, Sink, SinkError, SourceRows};
use lake::append::Append;
use lake::tables::table;
use lake::{Lake, LakeError};
use settings::Limits;

/// Why a load could not be made at all.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    #[error(transparent)]
    Intake(#[from] IntakeError),
    #[error(transparent)]
    Lake(#[from] LakeError),
    #[error("no dumps were found in {0}: name files, or folders that hold some")]
    NothingFound(String),
}

/// What became of one file.
#[derive(Debug, Clone)]
pub struct FileOutcome {
    pub file: String,
    pub kind: String,
    pub rows_read: u64,
    pub rows_added: u64,
    pub rows_already_there: u64,
    pub rows_quarantined: u64,
    /// Last lines that were still being written.
    pub lines_unfinished: u64,
    /// What the user may want to know of it.
    pub remarks: Vec<String>,
    /// Why nothing of it was loaded, in a line that names it.
    pub error: Option<String>,
}

impl FileOutcome {
    /// A file, a folder or a part of a file of which nothing could be loaded.
    fn failed(file: String, why: String) -> Self {
        Self {
            file,
            kind: String::new(),
            rows_read: 0,
            rows_added: 0,
            rows_already_there: 0,
            rows_quarantined: 0,
            lines_unfinished: 0,
            remarks: Vec::new(),
            error: Some(why),
        }
    }
}

/// What a load tells while it runs.
#[derive(Debug, Clone, Copy)]
pub struct LoadProgress<'a> {
    pub file: &'a Path,
    pub bytes_done: u64,
    pub bytes_total: u64,
}

/// Loads the dumps among `paths` (files, or folders to walk) with the mappings found there and in the
/// lake's own `mappings` folder, within these limits. Must run on a multi-threaded runtime.
pub async fn load(
    lake: &mut Lake,
    paths: &[PathBuf],
    limits: &Limits,
    now: DateTime<Utc>,
    progress: &mut (dyn FnMut(LoadProgress<'_>) + Send),
) -> Result<Vec<FileOutcome>, LoadError> {
    let mut outcomes = Vec::new();
    let lakes_own = lake
        .papers()
        .map(|folder| folder.join("mappings"))
        .filter(|folder| folder.is_dir());
    let places: Vec<PathBuf> = paths.iter().cloned().chain(lakes_own).collect();
    let found = find_files(&places);
    for error in &found.left_out {
        outcomes.push(FileOutcome::failed(error.file(), error.to_string()));
    }
    if found.dumps.is_empty() && outcomes.is_empty() {
        let named: Vec<String> = paths
            .iter()
            .map(|path| path.display().to_string())
            .collect();
        return Err(LoadError::NothingFound(named.join(", ")));
    }
    let mut mappings = Mappings::within(limits);
    for path in &found.mappings {
        mappings.read_toml(path)?;
    }
    let sizes: Vec<u64> = found
        .dumps
        .iter()
        .map(|path| std::fs::metadata(path).map_or(0, |about| about.len()))
        .collect();
    let bytes_total: u64 = sizes.iter().sum();
    let mut bytes_before = 0;
    let load_id = format!("load {}", now.format("%Y-%m-%dT%H:%M:%S%.6fZ"));
    let mut append = Append::new(lake, load_id);
    let mut nothing_new = Vec::new();
    for (path, size) in found.dumps.iter().zip(sizes) {
        let started = Instant::now();
        let mut file_sink = FileSink {
            append: &mut append,
            added: 0,
            already_there: 0,
            before_part: (0, 0),
            quarantined: Vec::new(),
            quarantine_added: 0,
            progress: &mut |bytes_done| {
                progress(LoadProgress {
                    file: path,
                    bytes_done: bytes_before + bytes_done,
                    bytes_total,
                });
            },
        };
        // Reading is blocking work; the sink hands its rows to the lake from within it.
        let read = tokio::task::block_in_place(|| read_file(path, &mappings, now, &mut file_sink));
        let (added, already_there) = (file_sink.added, file_sink.already_there);
        let is_new = added + file_sink.quarantine_added > 0;
        bytes_before += size;
        match read {
            Ok(summary) => {
                let left_out = summary.left_out.clone();
                if !summary.parts.is_empty() {
                    let outcome = outcome(path, summary, added, already_there);
                    let seconds = started.elapsed().as_secs_f64();
                    match is_new {
                        true => log(&mut append, &outcome.0, &outcome.1, now, seconds).await?,
                        false => nothing_new.push((outcome.clone(), seconds)),
                    }
                    append.file_done().await?;
                    outcomes.push(outcome.0);
                }
                for part in left_out {
                    outcomes.push(FileOutcome::failed(part.file, part.why));
                }
            }
            // The lake itself failing is no fault of the file.
            Err(IntakeError::Sink { source, file }) => match source.downcast::<LakeError>() {
                Ok(lake_error) => return Err(LoadError::Lake(*lake_error)),
                Err(source) => return Err(LoadError::Intake(IntakeError::Sink { source, file })),
            },
            Err(error) => {
                append.file_failed();
                let file = path.display().to_string();
                outcomes.push(FileOutcome::failed(file, error.to_string()));
            }
        }
    }
    log_nothing_new(&mut append, &nothing_new, now).await?;
    append.commit().await?;
    Ok(outcomes)
}

fn outcome(
    path: &Path,
    summary: FileSummary,
    added: u64,
    already_there: u64,
) -> (FileOutcome, String) {
    let outcome = FileOutcome {
        file: path.display().to_string(),
        kind: summary.kind(),
        rows_read: summary.rows_read(),
        rows_added: added,
        rows_already_there: already_there,
        rows_quarantined: summary.rows_quarantined(),
        lines_unfinished: summary.lines_unfinished(),
        remarks: summary
            .parts
            .iter()
            .flat_map(|part| part.remarks.clone())
            .collect(),
        error: None,
    };
    (outcome, summary.file_hash)
}

/// Takes a file's rows to the lake and counts its lines.
struct FileSink<'s, 'l> {
    append: &'s mut Append<'l>,
    added: u64,
    already_there: u64,
    /// The two before the part that is being read.
    before_part: (u64, u64),
    quarantined: Vec<QuarantinedRow>,
    quarantine_added: u64,
    progress: &'s mut (dyn FnMut(u64) + Send),
}

/// Quarantined rows passed on at once.
const QUARANTINE_BATCH: usize = 4096;

impl FileSink<'_, '_> {
    fn pass_on_quarantined(&mut self) -> Result<(), SinkError> {
        if self.quarantined.is_empty() {
            return Ok(());
        }
        let rows = std::mem::take(&mut self.quarantined);
        let text = |value: &dyn Fn(&QuarantinedRow) -> Option<String>| {
            Arc::new(rows.iter().map(value).collect::<StringArray>()) as ArrayRef
        };
        let columns: Vec<ArrayRef> = vec![
            text(&|row| Some(row.file.clone())),
            Arc::new(
                rows.iter()
                    .map(|row| i64::try_from(row.line).unwrap_or(i64::MAX))
                    .collect::<Int64Array>(),
            ),
            text(&|row| Some(row.raw_text.clone())),
            text(&|row| row.field.map(str::to_owned)),
            text(&|row| Some(row.reason.clone())),
            text(&|row| Some(row.dump_kind.to_owned())),
            text(&|row| row.shop.clone()),
            text(&|row| Some(row.file_hash.to_string())),
            Arc::new(
                rows.iter()
                    // Absent is no, as in rows of the first release.
                    .map(|row| row.row_loaded.then_some(true))
                    .collect::<BooleanArray>(),
            ),
            text(&|row| row.header.as_deref().map(str::to_owned)),
            Arc::new(
                rows.iter()
                    .map(|row| row.mended.then_some(true))
                    .collect::<BooleanArray>(),
            ),
        ];
        let design = table("quarantine").ok_or(LakeError::NoSuchTable("quarantine".to_owned()))?;
        let batch = RecordBatch::try_new(design.intake_schema(), columns)?;
        let taken = Handle::current().block_on(self.append.rows(design.name, &batch))?;
        self.quarantine_added += taken.iter().filter(|row| row.is_added()).count() as u64;
        Ok(())
    }
}

impl Sink for FileSink<'_, '_> {
    fn rows(&mut self, rows: SourceRows) -> Result<(), SinkError> {
        let work = self
            .append
            .rows_from(rows.table, &rows.batch, &rows.origins);
        let taken = Handle::current().block_on(work)?;
        if rows.counts_lines {
            let added = taken.iter().filter(|row| row.is_added()).count() as u64;
            self.added += added;
            self.already_there += taken.len() as u64 - added;
        }
        Ok(())
    }

    fn quarantine(&mut self, row: QuarantinedRow) -> Result<(), SinkError> {
        self.quarantined.push(row);
        if self.quarantined.len() >= QUARANTINE_BATCH {
            self.pass_on_quarantined()?;
        }
        Ok(())
    }

    fn part_ended(&mut self, keep: bool) -> Result<(), SinkError> {
        if keep {
            self.pass_on_quarantined()?;
            Handle::current().block_on(self.append.file_done())?;
            self.before_part = (self.added, self.already_there);
        } else {
            self.quarantined.clear();
            self.append.file_failed();
            (self.added, self.already_there) = self.before_part;
        }
        Ok(())
    }

    fn progress(&mut self, bytes_done: u64, _: u64) {
        (self.progress)(bytes_done);
    }
}

/// One row for all files of which the lake had everything, so that the log does not grow by every file that
/// stays in a folder and is read again each week.
async fn log_nothing_new(
    append: &mut Append<'_>,
    files: &[((FileOutcome, String), f64)],
    now: DateTime<Utc>,
) -> Result<(), LakeError> {
    let together = match files {
        [] => return Ok(()),
        [((outcome, file_hash), seconds)] => {
            return log(append, outcome, file_hash, now, *seconds).await;
        }
        _ => format!("{} files without anything new", files.len()),
    };
    let sum = |count: fn(&FileOutcome) -> u64| files.iter().map(|((one, _), _)| count(one)).sum();
    let outcome = FileOutcome {
        rows_read: sum(|one| one.rows_read),
        rows_already_there: sum(|one| one.rows_already_there),
        rows_quarantined: sum(|one| one.rows_quarantined),
        error: None,
        ..FileOutcome::failed(together, String::new())
    };
    let seconds = files.iter().map(|(_, seconds)| seconds).sum();
    log(append, &outcome, "", now, seconds).await
}

async fn log(
    append: &mut Append<'_>,
    outcome: &FileOutcome,
    file_hash: &str,
    now: DateTime<Utc>,
    seconds: f64,
) -> Result<(), LakeError> {
    let design = table("load_log").ok_or(LakeError::NoSuchTable("load_log".to_owned()))?;
    let text = |value: &str| Arc::new(StringArray::from(vec![value])) as ArrayRef;
    let count = |value: u64| {
        Arc::new(Int64Array::from(vec![
            i64::try_from(value).unwrap_or(i64::MAX),
        ])) as ArrayRef
    };
    let loaded_at =
        TimestampMicrosecondArray::from(vec![now.timestamp_micros()]).with_timezone("UTC");
    let columns: Vec<ArrayRef> = vec![
        Arc::new(loaded_at),
        text(&outcome.file),
        text(file_hash),
        text(&outcome.kind),
        count(outcome.rows_read),
        count(outcome.rows_added),
        count(outcome.rows_already_there),
        count(outcome.rows_quarantined),
        Arc::new(Float64Array::from(vec![seconds])),
    ];
    let batch = RecordBatch::try_new(design.intake_schema(), columns).map_err(|source| {
        LakeError::Shape {
            table: design.name,
            source,
        }
    })?;
    append.rows(design.name, &batch).await?;
    Ok(())
}
