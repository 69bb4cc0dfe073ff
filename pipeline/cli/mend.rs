//! `voltwane mend`: quarantined rows out to be mended and loaded again.

use std::path::PathBuf;

use chrono::{DateTime, Utc};
use clap::Args;

use super::{LakeArgs, Outcome, note, say, terminal};
use intake::{RowToMend, write_to_mend};

/// Write quarantined rows out to be mended
///
/// One file for each file they came from, in its own columns and under its own name, with one column
/// before the others that says where each row stood. Mend the cells, leave that column, delete rows that
/// are not to be loaded, and load the folder: a row that can be used then leaves the quarantine, and comes
/// from the file and line where it first stood.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  voltwane mend --lake lake --out to-mend\n  voltwane load --lake lake to-mend"
)]
pub struct Mend {
    #[command(flatten)]
    lake: LakeArgs,

    /// A new folder for them
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

impl Mend {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (_, analysis) = self.lake.open(now).await?;
        let rows: Vec<RowToMend> = analysis
            .rows(
                "SELECT file, line, file_hash, raw_text, header FROM quarantine
                 ORDER BY load_id, file, line",
            )
            .await?;
        let written = write_to_mend(&rows, &self.out)?;
        for file in &written.files {
            say(terminal::name(&file.display().to_string()))?;
        }
        if written.without_lines > 0 {
            note(format_args!(
                "{} quarantined rows have no line to mend: their files are logs or reports, or were loaded by an \
                 older voltwane; mend those files and load them again",
                written.without_lines
            ));
        }
        note(match written.rows {
            0 => "nothing is in quarantine that could be mended".to_owned(),
            rows => format!(
                "{rows} rows; once mended: voltwane load --lake {} {}, with the folder of the mappings that were \
                 beside the dumps, if they were",
                self.lake.lake,
                self.out.display()
            ),
        });
        Ok(Outcome::Clean)
    }
}
