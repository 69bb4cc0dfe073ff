//! `voltwane synthesize`: the dumps of an invented fleet.

use std::path::PathBuf;

use clap::Args;
use indicatif::ProgressBar;

use super::{Outcome, say};
use synthetic::{Scenario, write_dumps};

/// Write the dumps of an invented fleet
///
/// The fleet, its makes, shops and depots are invented; the files look like what shops export, dirty
/// rows included. The same seed writes the same bytes.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  voltwane synthesize --vehicles 400 --weeks 156 --seed 7 --out dumps --truth"
)]
pub struct Synthesize {
    /// Vehicles in the fleet
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=999_999))]
    vehicles: u32,

    /// Weeks of records
    #[arg(long, value_name = "W", value_parser = clap::value_parser!(u32).range(1..=1_040))]
    weeks: u32,

    /// Which fleet: the same number is the same fleet
    #[arg(long, value_name = "S", default_value_t = 7)]
    seed: u64,

    /// Where to write the dumps and their mappings
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Factor on the number of codes in a flood
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    flood_size: f64,

    /// Factor on how many of a vehicle's modules a scan asks
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    scan_breadth: f64,

    /// Factor on the shops' habits, good and bad
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0)]
    shop_habits: f64,

    /// Also write truth.csv: the hidden state and the causes of events, which nothing reads back
    #[arg(long)]
    truth: bool,
}

impl Synthesize {
    pub fn run(self) -> anyhow::Result<Outcome> {
        let mut scenario = Scenario::new(self.vehicles as usize, self.weeks as usize, self.seed);
        scenario.flood_size_factor = self.flood_size;
        scenario.scan_breadth_factor = self.scan_breadth;
        scenario.shop_habit_factor = self.shop_habits;
        let bar = ProgressBar::new(u64::from(self.vehicles));
        let summary = write_dumps(&scenario, &self.out, self.truth, &mut |done, total| {
            bar.set_length(total);
            bar.set_position(done);
        })?;
        bar.finish_and_clear();
        say(format_args!(
            "{} vehicles, {} weeks: {} rows in {} files ({} bytes), {} of them spoilt on purpose; {} failures in {} battery-weeks.",
            summary.vehicles,
            self.weeks,
            summary.n_rows(),
            summary.files,
            summary.bytes,
            summary.n_dirty(),
            summary.failures,
            summary.battery_weeks,
        ))?;
        say(format_args!(
            "The dumps and their mappings are in {}.",
            self.out.display()
        ))?;
        Ok(Outcome::Clean)
    }
}
