//! Writes the dump files: which fact goes into which file, in whose dialect.
//!
//! Registers are one file an export day, scans one a shop and year, tests and orders one a shop,
//! weather one a depot. Facts stream vehicle by vehicle, so memory does not grow with the fleet.
//! Fails where a folder or file cannot be written, naming it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;

use super::dialects::{
    CodeRow, Dialect, ORDERS, REGISTERS, Row, SCANS, SnapshotRow, TESTS, TestRow, WEATHER_METRIC,
    WEATHER_US, WeatherRow, WorkRow, date, instant, mapping_toml,
};
use super::dirt::{self, Dirt};
use super::facts::{Fact, Scan};
use super::habits::{DAYS_ALONE, Habit, cut_last_line};
use super::life::Life;
use super::streams::{Domain, Stream, stream};
use super::surroundings::Surroundings;
use super::weather::{DEPOTS, Weather};
use super::{Summary, SyntheticError};

/// Where a dump's bytes go.
enum Out {
    File(BufWriter<File>),
    Memory(Vec<u8>),
}

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Out::File(file) => file.write(bytes),
            Out::Memory(memory) => memory.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Out::File(file) => file.flush(),
            Out::Memory(_) => Ok(()),
        }
    }
}

/// Bytes by path below a folder.
pub type Files = BTreeMap<PathBuf, Vec<u8>>;

/// A file whose last line was cut, and the line as it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    pub path: PathBuf,
    pub line: String,
}

/// The dump files being written, in a folder or in memory.
pub struct Dumps {
    /// `None` keeps everything in memory.
    folder: Option<PathBuf>,
    /// By path below the folder.
    files: BTreeMap<PathBuf, csv::Writer<Out>>,
    zones: BTreeMap<&'static str, Tz>,
    first_day: NaiveDate,
    /// Each shop's orders, in the form this world has them.
    orders: Arc<Vec<Dialect>>,
    /// The seed by which files are cut, where that is a habit.
    cuts: Option<u64>,
}

/// The shops whose depots note the weather in degrees Fahrenheit.
const FAHRENHEIT_REGISTERS: [usize; 2] = [1, 2];

/// What goes wrong with each depot's notes of the weather: streams beyond those of all vehicles.
pub fn weather_streams(seed: u64) -> Vec<Stream> {
    (0..DEPOTS.len() as u64)
        .map(|index| stream(seed, Domain::Dirt, u64::MAX - index))
        .collect()
}

impl Dumps {
    /// Makes the folders.
    pub fn into_folder(out: &Path, around: &Surroundings) -> Result<Self, SyntheticError> {
        for folder in [
            "mappings", "register", "tests", "scans", "orders", "weather",
        ] {
            let folder = out.join(folder);
            fs::create_dir_all(&folder).map_err(|source| SyntheticError::Write {
                path: folder.clone(),
                source,
            })?;
        }
        Ok(Dumps {
            folder: Some(out.to_owned()),
            ..Dumps::into_memory(around)
        })
    }

    /// Keeps the dumps in memory, to be taken with [`Dumps::take`].
    pub fn into_memory(around: &Surroundings) -> Self {
        let habits = &around.scenario.habits;
        let days_alone = habits.contains(&Habit::DateOnlyOrders);
        let orders = ORDERS.into_iter().enumerate();
        Dumps {
            folder: None,
            files: BTreeMap::new(),
            zones: BTreeMap::new(),
            first_day: around.weather.first_day,
            orders: Arc::new(
                orders
                    .map(|(shop, dialect)| Dialect {
                        days_alone: days_alone && DAYS_ALONE.contains(&shop),
                        ..dialect
                    })
                    .collect(),
            ),
            cuts: habits
                .contains(&Habit::CutFiles)
                .then_some(around.scenario.seed),
        }
    }

    /// Writes the mappings that read the dumps.
    pub fn mappings(&mut self, summary: &mut Summary) -> Result<(), SyntheticError> {
        let orders = Arc::clone(&self.orders);
        let shops = TESTS.iter().chain(&SCANS).chain(orders.iter());
        let named = shops
            .chain(&REGISTERS)
            .map(|dialect| (format!("{}-{}", dialect.file, dialect.folder), dialect));
        let weather = [
            ("weather-celsius".to_owned(), &WEATHER_METRIC),
            ("weather-fahrenheit".to_owned(), &WEATHER_US),
        ];
        for (name, dialect) in named.chain(weather) {
            let path = Path::new("mappings").join(format!("{name}.toml"));
            let text = mapping_toml(dialect);
            summary.bytes += text.len() as u64;
            let mut out = self.open(&path)?;
            out.write_all(text.as_bytes())
                .map_err(|source| SyntheticError::Write {
                    path: path.clone(),
                    source,
                })?;
            self.files.insert(path, csv::Writer::from_writer(out));
        }
        Ok(())
    }

    fn open(&self, path: &Path) -> Result<Out, SyntheticError> {
        let Some(folder) = &self.folder else {
            return Ok(Out::Memory(Vec::new()));
        };
        let path = folder.join(path);
        let file = File::create(&path).map_err(|source| SyntheticError::Write { path, source })?;
        Ok(Out::File(BufWriter::new(file)))
    }

    /// Writes one fact of a vehicle, with what goes wrong on its way into the file.
    pub fn fact(
        &mut self,
        rng: &mut Stream,
        life: &Life,
        fact: &Fact,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        let (vin, first_day) = (life.vehicle.vin.as_str(), self.first_day);
        let (shop, register) = (life.depot.shop, life.depot.register);
        match fact {
            Fact::Test(test) => {
                let row = TestRow {
                    vin,
                    first_day,
                    test,
                };
                self.write(rng, &TESTS[shop], TESTS[shop].file, &row, summary)
            }
            Fact::Work(work) => {
                let row = WorkRow {
                    vin,
                    first_day,
                    work,
                };
                let orders = Arc::clone(&self.orders);
                self.write(rng, &orders[shop], orders[shop].file, &row, summary)
            }
            Fact::Snapshot(snapshot) => {
                let row = SnapshotRow {
                    vin,
                    first_day,
                    snapshot,
                };
                let day = date(first_day, snapshot.seen_day);
                let name = format!("{}-{day}", REGISTERS[register].file);
                self.write(rng, &REGISTERS[register], &name, &row, summary)
            }
            Fact::Scan(scan) => self.scan(rng, vin, shop, scan, summary),
        }
    }

    fn scan(
        &mut self,
        rng: &mut Stream,
        vin: &str,
        shop: usize,
        scan: &Scan,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        let first_day = self.first_day;
        let year = instant(first_day, scan.at).year();
        let name = format!("{}-{year}", SCANS[shop].file);
        if scan.codes.is_empty() {
            let row = CodeRow {
                vin,
                first_day,
                scan,
                code: None,
                text: "",
            };
            self.write(rng, &SCANS[shop], &name, &row, summary)?;
        }
        for code in &scan.codes {
            let text = code.code.to_string();
            let row = CodeRow {
                vin,
                first_day,
                scan,
                code: Some(code),
                text: &text,
            };
            self.write(rng, &SCANS[shop], &name, &row, summary)?;
        }
        Ok(())
    }

    /// Writes every depot's weather of these days; `dirt` has a stream for each depot.
    pub fn weather(
        &mut self,
        dirt: &mut [Stream],
        weather: &Weather,
        days: Range<i32>,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        for (index, (depot, rng)) in DEPOTS.iter().zip(dirt).enumerate() {
            let fahrenheit = FAHRENHEIT_REGISTERS.contains(&depot.register);
            let dialect = if fahrenheit {
                &WEATHER_US
            } else {
                &WEATHER_METRIC
            };
            let name = depot.name.to_lowercase().replace(' ', "-");
            for day in days.clone() {
                let (mean, max) = weather.day(index, day);
                let row = WeatherRow {
                    depot: depot.name,
                    day: date(self.first_day, day),
                    mean_c: f64::from(mean),
                    max_c: f64::from(max),
                };
                self.write(rng, dialect, &name, &row, summary)?;
            }
        }
        Ok(())
    }

    fn write(
        &mut self,
        rng: &mut Stream,
        dialect: &Dialect,
        file: &str,
        row: &dyn Row,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        let zone = *self
            .zones
            .entry(dialect.time_zone)
            .or_insert_with(|| dialect.zone());
        let lines = dirt::lines(rng, dialect, row, zone);
        summary.count(dialect.kind, &lines);
        let path = Path::new(dialect.folder).join(format!("{file}.csv"));
        if !self.files.contains_key(&path) {
            let header: Vec<String> = dialect
                .columns()
                .map(|column| column.header.to_owned())
                .collect();
            let mut writer = csv::WriterBuilder::new()
                .delimiter(dialect.delimiter)
                .from_writer(self.open(&path)?);
            summary.bytes +=
                record(&mut writer, &header, dialect.windows_1252).map_err(|source| {
                    SyntheticError::Csv {
                        path: path.clone(),
                        source,
                    }
                })?;
            summary.files += 1;
            self.files.insert(path.clone(), writer);
        }
        if let Some(writer) = self.files.get_mut(&path) {
            for line in &lines.lines {
                summary.bytes += record(writer, line, dialect.windows_1252).map_err(|source| {
                    SyntheticError::Csv {
                        path: path.clone(),
                        source,
                    }
                })?;
            }
        }
        Ok(())
    }

    /// Closes every file, and cuts some where that is a habit; says which and what was lost.
    pub fn finish(self) -> Result<Vec<Cut>, SyntheticError> {
        let (folder, seed) = (self.folder.unwrap_or_default(), self.cuts);
        let mut cuts = Vec::new();
        for (path, mut writer) in self.files {
            let whole = folder.join(&path);
            let failed = |source| SyntheticError::Write {
                path: whole.clone(),
                source,
            };
            writer.flush().map_err(failed)?;
            drop(writer);
            let Some(seed) = seed.filter(|_| !path.starts_with("mappings")) else {
                continue;
            };
            let bytes = fs::read(&whole).map_err(failed)?;
            if let Some((left, line)) = cut_last_line(seed, &path, &bytes) {
                fs::write(&whole, &bytes[..left]).map_err(failed)?;
                cuts.push(Cut { path, line });
            }
        }
        Ok(cuts)
    }

    /// The bytes of every file kept in memory, by path, some of them cut where that is a habit.
    pub fn take(self) -> Result<(Files, Vec<Cut>), SyntheticError> {
        let (mut taken, mut cuts) = (BTreeMap::new(), Vec::new());
        for (path, writer) in self.files {
            let out = writer.into_inner().map_err(|error| SyntheticError::Write {
                path: path.clone(),
                source: error.into_error(),
            })?;
            let Out::Memory(mut bytes) = out else {
                continue;
            };
            let seed = self.cuts.filter(|_| !path.starts_with("mappings"));
            let cut = seed.and_then(|seed| cut_last_line(seed, &path, &bytes));
            if let Some((left, line)) = cut {
                bytes.truncate(left);
                let path = path.clone();
                cuts.push(Cut { path, line });
            }
            taken.insert(path, bytes);
        }
        Ok((taken, cuts))
    }
}

/// Writes one line; returns about how many bytes it took.
fn record(
    writer: &mut csv::Writer<Out>,
    cells: &[String],
    windows_1252: bool,
) -> Result<u64, csv::Error> {
    let bytes = cells.iter().map(|cell| cell.len() as u64 + 1).sum();
    if windows_1252 {
        writer.write_byte_record(&cells.iter().map(|cell| western(cell)).collect())?;
    } else {
        writer.write_record(cells)?;
    }
    Ok(bytes)
}

/// The bytes of a text in Windows-1252, whose upper half is Unicode's from A0 on.
fn western(text: &str) -> Vec<u8> {
    text.chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'))
        .collect()
}

impl Summary {
    fn count(&mut self, kind: &'static str, lines: &dirt::Lines) {
        *self.rows.entry(kind).or_default() += lines.lines.len() as u64;
        if let Some(dirt) = lines.dirt {
            *self.dirty.entry(Dirt::name(dirt)).or_default() += 1;
        }
    }
}
