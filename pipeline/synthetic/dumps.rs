//! Writes the dump files: which fact goes into which file, in whose dialect.
//!
//! Registers are one file an export day, scans one a shop and year, tests and orders one a shop,
//! weather one a depot. Facts stream vehicle by vehicle, so memory does not grow with the fleet.
//! Fails where a folder or file cannot be written, naming it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;

use super::dialects::{
    CodeRow, Dialect, ORDERS, REGISTERS, Row, SCANS, SnapshotRow, TESTS, TestRow, WEATHER_METRIC,
    WEATHER_US, WeatherRow, WorkRow, date, instant, mapping_toml,
};
use super::dirt::{self, Dirt};
use super::facts::Fact;
use super::life::Life;
use super::streams::{Domain, Stream, stream};
use super::weather::{DEPOTS, Weather};
use super::{Summary, SyntheticError};

/// The dump files being written.
pub struct Dumps<'o> {
    out: &'o Path,
    files: BTreeMap<PathBuf, csv::Writer<BufWriter<File>>>,
    zones: BTreeMap<&'static str, Tz>,
    first_day: NaiveDate,
}

/// The shops whose depots note the weather in degrees Fahrenheit.
const FAHRENHEIT_REGISTERS: [usize; 2] = [1, 2];

impl<'o> Dumps<'o> {
    /// Makes the folders and writes the mappings.
    pub fn start(
        out: &'o Path,
        first_day: NaiveDate,
        summary: &mut Summary,
    ) -> Result<Self, SyntheticError> {
        for folder in [
            "mappings", "register", "tests", "scans", "orders", "weather",
        ] {
            let folder = out.join(folder);
            fs::create_dir_all(&folder).map_err(|source| SyntheticError::Write {
                path: folder.clone(),
                source,
            })?;
        }
        let dumps = Dumps {
            out,
            files: BTreeMap::new(),
            zones: BTreeMap::new(),
            first_day,
        };
        let shops = TESTS.iter().chain(&SCANS).chain(&ORDERS);
        let named = shops
            .chain(&REGISTERS)
            .map(|dialect| (format!("{}-{}", dialect.file, dialect.folder), dialect));
        let weather = [
            ("weather-celsius".to_owned(), &WEATHER_METRIC),
            ("weather-fahrenheit".to_owned(), &WEATHER_US),
        ];
        for (name, dialect) in named.chain(weather) {
            let path = out.join("mappings").join(format!("{name}.toml"));
            let text = mapping_toml(dialect);
            summary.bytes += text.len() as u64;
            fs::write(&path, text).map_err(|source| SyntheticError::Write { path, source })?;
        }
        Ok(dumps)
    }

    /// Writes what one vehicle left behind.
    pub fn vehicle(
        &mut self,
        life: &Life<'_>,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        let seed = life.world.scenario.seed;
        let mut rng = stream(seed, Domain::Dirt, life.vehicle.index);
        let (vin, first_day) = (life.vehicle.vin.as_str(), self.first_day);
        let (shop, register) = (life.depot.shop, life.depot.register);
        for fact in &life.facts {
            match fact {
                Fact::Test(test) => {
                    let row = TestRow {
                        vin,
                        first_day,
                        test,
                    };
                    self.write(&mut rng, &TESTS[shop], TESTS[shop].file, &row, summary)?;
                }
                Fact::Work(work) => {
                    let row = WorkRow {
                        vin,
                        first_day,
                        work,
                    };
                    self.write(&mut rng, &ORDERS[shop], ORDERS[shop].file, &row, summary)?;
                }
                Fact::Snapshot(snapshot) => {
                    let row = SnapshotRow {
                        vin,
                        first_day,
                        snapshot,
                    };
                    let day = date(first_day, snapshot.seen_day);
                    let name = format!("{}-{day}", REGISTERS[register].file);
                    self.write(&mut rng, &REGISTERS[register], &name, &row, summary)?;
                }
                Fact::Scan(scan) => {
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
                        self.write(&mut rng, &SCANS[shop], &name, &row, summary)?;
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
                        self.write(&mut rng, &SCANS[shop], &name, &row, summary)?;
                    }
                }
            }
        }
        Ok(())
    }

    /// Writes every depot's weather from `from_day` to the end.
    pub fn weather(
        &mut self,
        seed: u64,
        weather: &Weather,
        from_day: i32,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        for (index, depot) in DEPOTS.iter().enumerate() {
            // A depot's stream of dirt lies beyond those of all vehicles.
            let mut rng = stream(seed, Domain::Dirt, u64::MAX - index as u64);
            let fahrenheit = FAHRENHEIT_REGISTERS.contains(&depot.register);
            let dialect = if fahrenheit {
                &WEATHER_US
            } else {
                &WEATHER_METRIC
            };
            let name = depot.name.to_lowercase().replace(' ', "-");
            for day in from_day..weather.weeks as i32 * 7 {
                let (mean, max) = weather.day(index, day);
                let row = WeatherRow {
                    depot: depot.name,
                    day: date(self.first_day, day),
                    mean_c: f64::from(mean),
                    max_c: f64::from(max),
                };
                self.write(&mut rng, dialect, &name, &row, summary)?;
            }
        }
        Ok(())
    }

    fn write(
        &mut self,
        rng: &mut Stream,
        dialect: &'static Dialect,
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
        let path = self.out.join(dialect.folder).join(format!("{file}.csv"));
        if !self.files.contains_key(&path) {
            let header: Vec<String> = dialect
                .columns
                .iter()
                .map(|column| column.header.to_owned())
                .collect();
            let mut writer = open(&path, dialect.delimiter)?;
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

    /// Closes every file.
    pub fn finish(self) -> Result<(), SyntheticError> {
        for (path, mut writer) in self.files {
            writer
                .flush()
                .map_err(|source| SyntheticError::Write { path, source })?;
        }
        Ok(())
    }
}

fn open(path: &Path, delimiter: u8) -> Result<csv::Writer<BufWriter<File>>, SyntheticError> {
    let file = File::create(path).map_err(|source| SyntheticError::Write {
        path: path.to_owned(),
        source,
    })?;
    Ok(csv::WriterBuilder::new()
        .delimiter(delimiter)
        .from_writer(BufWriter::new(file)))
}

/// Writes one line; returns about how many bytes it took.
fn record(
    writer: &mut csv::Writer<BufWriter<File>>,
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
