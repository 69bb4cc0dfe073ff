//! How much a run may take: of memory, of time, and of what a hostile file unpacks to.
//!
//! Past a limit the run says which one, in a line, and goes on without what went past it, or ends.

use serde::{Deserialize, Serialize};

/// Limits that keep a damaged or hostile file, or a query gone astray, from taking the machine. The
/// defaults are round figures, far above what honest dumps of a fleet of 20,000 take.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Memory the whole program may hold, MiB; past it the run ends. Looked at where the system tells
    /// (Linux).
    pub memory_mb: i64,
    /// Memory the queries may hold before they use the disk, MiB.
    pub query_memory_mb: i64,
    /// Seconds a query of `voltwane sql` may take, with the tables made for it.
    pub query_seconds: i64,
    /// Rows that an answer of `voltwane sql` may have.
    pub answer_rows: i64,
    /// Size that an answer of `voltwane sql` may have, MiB.
    pub answer_mb: i64,
    /// Operators and brackets that may stand within each other in one query.
    pub expression_depth: i64,
    /// Steps that a report's template may take, loops counted each time round.
    pub template_steps: i64,
    /// What one compressed file may unpack to, all its members together, MiB.
    pub archive_mb: i64,
    /// Members that an archive may have.
    pub archive_members: i64,
    /// Size of a workbook, or of a compressed file in columns, that is read in memory, MiB.
    pub workbook_mb: i64,
    /// What a workbook's members may unpack to, all together, MiB.
    pub workbook_unpacked_mb: i64,
    /// Cells between the first and the last of each sheet, blank ones included, all sheets together.
    pub workbook_cells: i64,
    /// What a row group of a file in columns may unpack to, MiB.
    pub row_group_mb: i64,
    /// Length of a line, KiB; a longer one goes to quarantine.
    pub line_kb: i64,
    /// Objects within each other in a line of JSON; a line of more goes to quarantine.
    pub json_depth: i64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            memory_mb: 4_096,
            query_memory_mb: 900,
            query_seconds: 900,
            answer_rows: 1_000_000,
            answer_mb: 512,
            expression_depth: 400,
            template_steps: 20_000_000,
            archive_mb: 16_384,
            archive_members: 10_000,
            workbook_mb: 512,
            workbook_unpacked_mb: 1_024,
            workbook_cells: 1 << 25,
            row_group_mb: 1_024,
            line_kb: 1_024,
            json_depth: 32,
        }
    }
}

/// The most that any limit may be set to: no size below overflows when it is counted in bytes.
const MOST: i64 = 1 << 40;

impl Limits {
    /// Every limit by its name, with the least and the most it may be.
    pub(crate) fn bounds(&self) -> [(&'static str, i64, i64, i64); 15] {
        [
            ("limits.memory_mb", self.memory_mb, 128, MOST),
            ("limits.query_memory_mb", self.query_memory_mb, 16, MOST),
            ("limits.query_seconds", self.query_seconds, 1, MOST),
            ("limits.answer_rows", self.answer_rows, 1, MOST),
            ("limits.answer_mb", self.answer_mb, 1, MOST),
            // Deeper ones overflow the stack of the planner.
            ("limits.expression_depth", self.expression_depth, 10, 800),
            ("limits.template_steps", self.template_steps, 1_000, MOST),
            ("limits.archive_mb", self.archive_mb, 1, MOST),
            ("limits.archive_members", self.archive_members, 1, MOST),
            ("limits.workbook_mb", self.workbook_mb, 1, MOST),
            ("limits.workbook_unpacked_mb", self.workbook_unpacked_mb, 1, MOST),
            ("limits.workbook_cells", self.workbook_cells, 1, MOST),
            ("limits.row_group_mb", self.row_group_mb, 1, MOST),
            ("limits.line_kb", self.line_kb, 1, 1 << 20),
            ("limits.json_depth", self.json_depth, 1, 100),
        ]
    }
}

/// A limit as a number of things.
pub fn count(limit: i64) -> u64 {
    u64::try_from(limit).unwrap_or(0)
}

/// A limit in MiB as bytes.
pub fn bytes_of_mb(limit: i64) -> u64 {
    count(limit) << 20
}
