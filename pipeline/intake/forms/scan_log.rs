//! A log of diagnostic messages as one scan: its values, and one row a code.
//!
//! The vehicle is the one that answers with its number (service 09, or VI of SAE J1939-71), the one a
//! note `# vin: …` names, or the one the file's name holds; the time is that of a note
//! `# scanned_at: …`, else of the first message in the log. Any other column of a scan may be noted
//! likewise. Frames that are lost or doubled, and messages that cannot be decoded, are at fault each
//! for itself; a refusal, and what is not about codes, is passed over.

use std::collections::VecDeque;
use std::io;

use chrono::DateTime;

use super::frame_text::LogLine;
use super::record::{Record, Records, Step};
use super::scan_findings::Findings;
use crate::fault::Fault;
use crate::files::lines::Lines;
use trade::diagnostics::broadcast::PacketJoiner;
use trade::diagnostics::legislated::Bus;
use trade::diagnostics::segments::Channels;
use trade::vin::Vin;

/// The columns of a log's records.
pub const COLUMNS: &[&str] = &[
    "scan_id",
    "vin",
    "scanned_at",
    "odometer_km",
    "modules_asked",
    "modules_answered",
    "supply_voltage_v",
    "monitors_ready",
    "monitors_supported",
    "warm_ups_since_clear",
    "km_since_clear",
    "shop",
    "technician",
    "module_address",
    "code",
    "failure_type",
    "status_byte",
    "pending",
    "confirmed",
    "permanent",
    "spn",
    "fmi",
    "occurrence_count",
];

/// Lines at fault that are told one by one; a log with more is no log of this kind.
const MOST_FAULTS: usize = 100_000;

/// A log as records. All lines are read before the first record, since what counts for the whole
/// scan may stand at the end; what is kept of them is bounded.
pub struct ScanLog<'r> {
    lines: Lines<'r>,
    file_name: String,
    steps: Option<VecDeque<(u64, String, Outcome)>>,
}

enum Outcome {
    Row(Vec<String>),
    Bad(Fault),
}

impl<'r> ScanLog<'r> {
    pub fn new(lines: Lines<'r>, file_name: &str) -> ScanLog<'r> {
        ScanLog {
            lines,
            file_name: file_name.to_owned(),
            steps: None,
        }
    }

    fn read(&mut self) -> io::Result<VecDeque<(u64, String, Outcome)>> {
        let mut reader = LogReader::default();
        while let Some(line) = self.lines.next()? {
            if reader.faults.len() >= MOST_FAULTS {
                break;
            }
            match line.fault {
                Some(fault) => reader.faults.push((line.number, line.text, fault)),
                None => reader.take(line.number, &line.text),
            }
        }
        reader.finish();
        let mut findings = reader.findings;
        findings.fall_back("vin", vin_in(&self.file_name));
        let rows = findings
            .rows(COLUMNS)
            .into_iter()
            .map(|row| (row.line, row.raw, Outcome::Row(row.cells)));
        let faults = reader
            .faults
            .into_iter()
            .map(|(line, raw, fault)| (line, raw, Outcome::Bad(fault)));
        let mut steps: Vec<_> = rows.chain(faults).collect();
        steps.sort_by_key(|(line, ..)| *line);
        Ok(steps.into())
    }
}

impl Records for ScanLog<'_> {
    fn next(&mut self, record: &mut Record) -> io::Result<Option<Step>> {
        if self.steps.is_none() {
            self.steps = Some(self.read()?);
        }
        let Some((line, raw, outcome)) = self.steps.as_mut().and_then(VecDeque::pop_front) else {
            return Ok(None);
        };
        record.start(line);
        record.raw = raw;
        match outcome {
            Outcome::Row(cells) => {
                for cell in cells {
                    record.push(&cell);
                }
                Ok(Some(Step::Row))
            }
            Outcome::Bad(fault) => Ok(Some(Step::Bad(fault))),
        }
    }
}

/// The part of a file's name that is a VIN.
fn vin_in(file_name: &str) -> Option<String> {
    let mut words = file_name.split(|character: char| !character.is_ascii_alphanumeric());
    words
        .find_map(|word| Vin::parse(word).ok())
        .map(|vin| vin.to_string())
}

/// Joins frames to messages, and messages to findings.
#[derive(Default)]
struct LogReader {
    channels: Channels,
    packets: PacketJoiner,
    bus: Bus,
    /// Of messages without an identifier, as a note says.
    module: String,
    findings: Findings,
    faults: Vec<(u64, String, Fault)>,
    last: (u64, String),
}

impl LogReader {
    fn take(&mut self, number: u64, text: &str) {
        self.last = (number, text.to_owned());
        match LogLine::read(text) {
            Ok(LogLine::Nothing) => {}
            Ok(LogLine::Note { name, value }) => self.note(&name, value),
            Ok(LogLine::Message(message)) => {
                let module = self.module.clone();
                self.message(&module, &message);
            }
            Ok(LogLine::Frame {
                seconds,
                identifier,
                extended,
                data,
            }) => {
                self.frame(seconds, identifier, extended, &data);
            }
            Err(detail) => self.fault("not a line of a diagnostic log", detail),
        }
    }

    fn note(&mut self, name: &str, value: String) {
        match name {
            "module_address" => self.module = value,
            "bus" => {
                self.bus = if value.eq_ignore_ascii_case("older") {
                    Bus::Older
                } else {
                    Bus::Can
                }
            }
            name => {
                if let Some(column) = COLUMNS.iter().find(|column| **column == name) {
                    self.findings.set(column, value);
                }
            }
        }
    }

    fn frame(&mut self, seconds: Option<f64>, identifier: u32, extended: bool, data: &[u8]) {
        let addressed = identifier >> 16 & 0x3FF;
        if !extended && (0x700..=0x7FF).contains(&identifier) {
            self.segment(&format!("{identifier:03X}"), seconds, identifier, data);
        } else if extended && (addressed == 0xDA || addressed == 0xDB) {
            // The sender's address is the last byte: ISO 15765-2, normal fixed addressing.
            self.segment(
                &format!("{:02X}", identifier & 0xFF),
                seconds,
                identifier,
                data,
            );
        } else if extended {
            self.broadcast(seconds, identifier, data);
        }
    }

    fn segment(&mut self, module: &str, seconds: Option<f64>, identifier: u32, data: &[u8]) {
        let step = self.channels.take(identifier, data);
        if let Some(fault) = step.fault {
            self.fault("frames do not make a message", format!("{module}: {fault}"));
        }
        if let Some(message) = step.message {
            self.seen_at(seconds);
            self.message(module, &message);
        }
    }

    fn broadcast(&mut self, seconds: Option<f64>, identifier: u32, data: &[u8]) {
        let step = self.packets.take(identifier, data);
        if let Some(fault) = step.fault {
            self.fault(
                "packets do not make a message",
                format!("{:02X}: {fault}", identifier & 0xFF),
            );
        }
        if let Some(message) = step.message {
            let (line, raw) = self.last.clone();
            match self.findings.heavy_message(&message, line, &raw) {
                Ok(true) => self.seen_at(seconds),
                Ok(false) => {}
                Err(error) => self.fault("a message that cannot be decoded", error.to_string()),
            }
        }
    }

    fn message(&mut self, module: &str, message: &[u8]) {
        let (line, raw) = self.last.clone();
        if let Err(error) = self.findings.message(module, message, self.bus, line, &raw) {
            self.fault("a message that cannot be decoded", error.to_string());
        }
    }

    /// The scan's time is that of its first message, unless a note says it.
    fn seen_at(&mut self, seconds: Option<f64>) {
        let micros = seconds
            .map(|seconds| (seconds * 1e6).round())
            .filter(|micros| micros.abs() < 9e17);
        let at = micros.and_then(|micros| DateTime::from_timestamp_micros(micros as i64));
        self.findings.fall_back(
            "scanned_at",
            at.map(|at| at.format("%Y-%m-%dT%H:%M:%S%.6fZ").to_string()),
        );
    }

    fn fault(&mut self, class: &str, detail: String) {
        let (line, raw) = self.last.clone();
        self.faults.push((line, raw, Fault::line(class, detail)));
    }

    fn finish(&mut self) {
        for (identifier, fault) in self.channels.finish() {
            self.fault(
                "frames do not make a message",
                format!("{identifier:03X}: {fault}"),
            );
        }
        for ((source, _), fault) in self.packets.finish() {
            self.fault(
                "packets do not make a message",
                format!("{source:02X}: {fault}"),
            );
        }
    }
}
