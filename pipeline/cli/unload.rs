//! `voltwane unload`: takes a load back.

use clap::Args;

use super::{Outcome, say};
use lake::Lake;
use lake::taking_back::{TakenOut, take_back};

/// Take a load back out of a lake
///
/// Every row that the load brought is taken out, quarantined ones too; facts that it had corrected
/// count again as they were before. The same files can be loaded again afterwards.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  voltwane loads --lake lake\n  voltwane unload --lake lake 2026-07-01T06:00:00.000000Z"
)]
pub struct Unload {
    /// The lake
    #[arg(long, value_name = "LAKE")]
    lake: String,

    /// The load, as `voltwane loads` lists it, or its instant
    #[arg(value_name = "LOAD")]
    load: String,
}

impl Unload {
    pub async fn run(self) -> anyhow::Result<Outcome> {
        let mut lake = Lake::open_to_change(&self.lake).await?;
        let taken_out = take_back(&mut lake, &self.load).await?;
        if taken_out.is_empty() {
            anyhow::bail!(
                "the lake has nothing of a load {}: `voltwane loads --lake {}` lists them",
                self.load,
                self.lake
            );
        }
        say_taken_out(&taken_out)?;
        Ok(Outcome::Clean)
    }
}

/// One line a table.
pub fn say_taken_out(taken_out: &TakenOut) -> std::io::Result<()> {
    for (table, rows) in taken_out {
        say(format_args!("{table}: {rows} rows taken out"))?;
    }
    Ok(())
}
