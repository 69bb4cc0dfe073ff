//! `voltwane forget`: removes vehicles from a lake for good.

use clap::Args;

use super::unload::say_taken_out;
use super::{Outcome, note};
use lake::Lake;
use lake::taking_back::forget;
use trade::vin::Vin;

/// Remove vehicles from a lake for good
///
/// Takes every row of these vehicles and every mention of them out of every table, then removes the
/// old versions, logs and files that still hold them. It cannot be undone. Reports already written are
/// not touched, and dumps that name the vehicles bring them back when they are loaded again.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  voltwane forget --lake lake GB6HD4H26RK000009")]
pub struct Forget {
    /// The lake
    #[arg(long, value_name = "LAKE")]
    lake: String,

    /// Vehicle identification numbers
    #[arg(value_name = "VIN", required = true)]
    vins: Vec<String>,
}

impl Forget {
    pub async fn run(self) -> anyhow::Result<Outcome> {
        let vins = self
            .vins
            .iter()
            .map(|vin| Ok(Vin::parse(vin)?.to_string()))
            .collect::<anyhow::Result<Vec<String>>>()?;
        let mut lake = Lake::open_to_change(&self.lake).await?;
        let taken_out = forget(&mut lake, &vins).await?;
        say_taken_out(&taken_out)?;
        if taken_out.is_empty() {
            note("the lake has no rows of these vehicles");
        }
        note("dumps that name these vehicles bring them back: mend or remove those, too");
        Ok(Outcome::Clean)
    }
}
