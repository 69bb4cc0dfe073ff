//! `voltwane loads`: what was written to a lake, when.

use std::io::Write;

use chrono::{DateTime, Utc};
use clap::Args;
use comfy_table::Table;
use comfy_table::presets::ASCII_MARKDOWN;
use serde::Deserialize;

use super::{LakeArgs, Outcome};

/// List the loads of a lake
///
/// One line a load or weekly run, the newest first. Each can be taken back with `voltwane unload`.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  voltwane loads --lake lake")]
pub struct Loads {
    #[command(flatten)]
    lake: LakeArgs,
}

#[derive(Debug, Deserialize)]
struct LoadMade {
    load_id: String,
    files: i64,
    first_file: Option<String>,
    rows_added: i64,
    rows_quarantined: i64,
}

impl Loads {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (_, analysis) = self.lake.open(now).await?;
        let loads: Vec<LoadMade> = analysis
            .rows("SELECT * FROM load_made ORDER BY made_at DESC NULLS LAST, load_id DESC")
            .await?;
        let mut table = Table::new();
        table.load_preset(ASCII_MARKDOWN).set_header([
            "load",
            "files",
            "for example",
            "added",
            "quarantined",
        ]);
        for load in loads {
            table.add_row([
                load.load_id,
                load.files.to_string(),
                load.first_file.unwrap_or_default(),
                load.rows_added.to_string(),
                load.rows_quarantined.to_string(),
            ]);
        }
        writeln!(std::io::stdout().lock(), "{table}")?;
        Ok(Outcome::Clean)
    }
}
