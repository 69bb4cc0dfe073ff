//! `voltwane synthesize`: the dumps of an invented fleet.

use std::collections::BTreeSet;
use std::path::PathBuf;

use clap::Args;
use indicatif::ProgressBar;

use super::{Outcome, say};
use synthetic::{Climate, Habit, Scenario, WorldName, write_dumps};

/// Write the dumps of an invented fleet
///
/// The fleet, its makes, shops and depots are invented; the files look like what shops export, dirty
/// rows included. The same seed writes the same bytes.
#[derive(Debug, Args)]
#[command(after_help = after_help())]
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

    /// By which law batteries live and fail (the list is below)
    #[arg(long, value_name = "NAME", default_value = "smooth", value_parser = world)]
    world: WorldName,

    /// Where the depots lie: mixed, cold, mild or hot
    #[arg(long, value_name = "NAME", default_value = "mixed", value_parser = climate)]
    climate: Climate,

    /// Share of the vehicles the shops test
    #[arg(long, value_name = "SHARE", default_value_t = 1.0)]
    tested_share: f64,

    /// Change main batteries at this age, whatever their state
    #[arg(long, value_name = "YEARS")]
    replace_at_years: Option<f64>,

    /// Replace batteries that a test finds below this share of their rating, 0 for none
    #[arg(long, value_name = "SHARE")]
    replace_below: Option<f64>,

    /// A habit of real records (the list is below), or all of them; may be given several times
    #[arg(long = "habit", visible_alias = "habits", value_name = "NAME", value_parser = habits)]
    habits: Vec<HabitSet>,

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
        scenario.world = self.world;
        scenario.climate = self.climate;
        scenario.tested_share = self.tested_share;
        scenario.replace_at_years = self.replace_at_years;
        scenario.replace_below = self.replace_below;
        scenario.habits = self.habits.into_iter().flat_map(|set| set.0).collect();
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

pub fn world(name: &str) -> Result<WorldName, String> {
    let names: Vec<&str> = WorldName::ALL.iter().map(|(_, name, _)| *name).collect();
    WorldName::named(name).ok_or_else(|| format!("choose one of {}", names.join(", ")))
}

pub fn climate(name: &str) -> Result<Climate, String> {
    let names: Vec<&str> = Climate::ALL.iter().map(|(_, name)| *name).collect();
    Climate::named(name).ok_or_else(|| format!("choose one of {}", names.join(", ")))
}

/// What one `--habit` names.
#[derive(Debug, Clone)]
struct HabitSet(BTreeSet<Habit>);

fn habits(name: &str) -> Result<HabitSet, String> {
    if name == "all" {
        return Ok(HabitSet(Habit::all()));
    }
    let names: Vec<&str> = Habit::ALL.iter().map(|(_, name, _)| *name).collect();
    Habit::named(name)
        .map(|habit| HabitSet(BTreeSet::from([habit])))
        .ok_or_else(|| format!("choose all, or one of {}", names.join(", ")))
}

/// The worlds and habits with what each is like, and an example.
fn after_help() -> String {
    let mut help = "Worlds:\n".to_owned();
    for (_, name, meaning) in WorldName::ALL {
        help.push_str(&format!("  {name:<15} {meaning}\n"));
    }
    help.push_str("\nHabits:\n");
    for (_, name, meaning) in Habit::ALL {
        help.push_str(&format!("  {name:<25} {meaning}\n"));
    }
    help.push_str(
        "\nExample:\n  voltwane synthesize --vehicles 400 --weeks 156 --seed 7 --out dumps --truth",
    );
    help
}
