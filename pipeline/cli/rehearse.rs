//! `voltwane rehearse`: what following the plan is worth, on invented fleets that live on under it.

use std::path::PathBuf;

use clap::Args;
use comfy_table::presets::ASCII_MARKDOWN;
use comfy_table::{CellAlignment, Table};
use indicatif::ProgressBar;
use serde::Serialize;

use super::synthesize::{climate, world};
use super::{Outcome, memory_limit, say, scratch};
use ::rehearse::compare::{Mean, Told, compare};
use ::rehearse::ledger::Ledger;
use ::rehearse::policy::Policy;
use ::rehearse::{Afterwards, Course, HABIT_SHARE, Run, rehearse};
use ::settings::Settings;
use synthetic::{Climate, Scenario, WorldName};

/// Rehearse the plan on invented fleets, against plainer policies
///
/// Invented fleets live some years under their own shops, and then on under each policy, week by week:
/// what is replaced does not fail, and each pays the same prices. The weekly plan knows nothing but the
/// dumps; the plainer policies see the vehicles' papers without an error, and their one number is the
/// best in hindsight; the last sees what is hidden. An invented fleet is not yours: what this shows is
/// whether the plan pays where its model does not know the law.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane rehearse --vehicles 150 --fleets 10\n  \
    voltwane rehearse --vehicles 1000 --fleets 4 --world cold-reveals --climate cold --every 4")]
pub struct Rehearse {
    /// Vehicles in each fleet
    #[arg(long, value_name = "N", default_value_t = 150, value_parser = clap::value_parser!(u32).range(1..=20_000))]
    vehicles: u32,

    /// How many fleets, alike in all but their luck
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=1_000))]
    fleets: u32,

    /// The first fleet's seed; the next ones follow
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,

    /// By which law batteries live and fail, as for `synthesize`
    #[arg(long, value_name = "NAME", default_value = "smooth", value_parser = world)]
    world: WorldName,

    /// Where the depots lie: mixed, cold, mild or hot
    #[arg(long, value_name = "NAME", default_value = "mixed", value_parser = climate)]
    climate: Climate,

    /// Share of the vehicles the shops test
    #[arg(long, value_name = "SHARE", default_value_t = 1.0)]
    tested_share: f64,

    /// Spread of the batteries' own pace, standard deviation of its logarithm; the world's if not given
    #[arg(long, value_name = "SPREAD")]
    pace_spread: Option<f64>,

    /// Weeks on record before the policies begin
    #[arg(long, value_name = "WEEKS", default_value_t = 104, value_parser = clap::value_parser!(u32).range(1..=520))]
    before: u32,

    /// Weeks under the policies
    #[arg(long, value_name = "WEEKS", default_value_t = 104, value_parser = clap::value_parser!(u32).range(1..=520))]
    weeks: u32,

    /// Weeks afterwards, lived alike whatever the policy: what it left in its batteries
    #[arg(long, value_name = "WEEKS", default_value_t = 156, value_parser = clap::value_parser!(u32).range(0..=520))]
    after: u32,

    /// Weeks from one weekly plan to the next; in between the weeks ahead of the last one are followed
    #[arg(long, value_name = "WEEKS", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=13))]
    every: u32,

    /// Share of what is asked for that the shops do
    #[arg(long, value_name = "SHARE", default_value_t = 0.9, value_parser = share)]
    obedience: f64,

    /// Weeks until they do it
    #[arg(long, value_name = "WEEKS", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=52))]
    delay: u32,

    /// Prices, bays and budgets; the defaults if not given
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,

    /// Also write what each policy did to each fleet
    #[arg(long, value_name = "FILE")]
    runs: Option<PathBuf>,
}

impl Rehearse {
    pub async fn run(self) -> anyhow::Result<Outcome> {
        let settings = Settings::find(self.config.as_deref(), None)?;
        memory_limit::watch(&settings.limits);
        let policies = Policy::all();
        let bar = ProgressBar::new(u64::from(self.fleets) * policies.len() as u64);
        let scratch = scratch::folder()?;
        let mut runs = Vec::new();
        for fleet in 0..u64::from(self.fleets) {
            let course = self.course(self.seed + fleet);
            let room = scratch.join(fleet.to_string());
            std::fs::create_dir(&room)?;
            let before = fleet * policies.len() as u64;
            let mut progress = |done| bar.set_position(before + done as u64);
            let of_fleet = rehearse(&course, &policies, &settings, &room, &mut progress).await;
            runs.extend(of_fleet?);
            std::fs::remove_dir_all(&room)?;
        }
        bar.finish_and_clear();
        if let Some(path) = &self.runs {
            let mut writer = csv::Writer::from_path(path)?;
            for run in &runs {
                writer.serialize(Row::from(run))?;
            }
            writer.flush()?;
        }
        let [told, to_failure] = Afterwards::ALL.map(|afterwards| compare(&runs, afterwards));
        say(table(&told, &to_failure, &settings.run.currency))?;
        say(format_args!(
            "{} fleets of {} vehicles, seeds {} to {}: {} weeks on record, {} under each policy, {} afterwards whose cost \
             counts as well: there every fleet tests at each service and replaces below {:.0} %, or, in the column that \
             says so, replaces nothing before it fails. {:.0} % of what is asked for is done, {} weeks later; a plan \
             every {} weeks. Limits are 95 %, over the fleets.",
            self.fleets,
            self.vehicles,
            self.seed,
            self.seed + u64::from(self.fleets) - 1,
            self.before,
            self.weeks,
            self.after,
            HABIT_SHARE * 100.0,
            self.obedience * 100.0,
            self.delay,
            self.every
        ))?;
        Ok(Outcome::Clean)
    }

    fn course(&self, seed: u64) -> Course {
        let weeks = self.before + self.weeks + self.after;
        Course {
            scenario: Scenario {
                world: self.world,
                climate: self.climate,
                tested_share: self.tested_share,
                pace_spread: self.pace_spread,
                truth_weeks: 0,
                futures: 40,
                ..Scenario::new(self.vehicles as usize, weeks as usize, seed)
            },
            weeks_before: self.before as usize,
            weeks: self.weeks as usize,
            every_weeks: self.every as usize,
            obedience: self.obedience,
            delay_weeks: self.delay as usize,
        }
    }
}

fn share(text: &str) -> Result<f64, String> {
    let share = text.parse().ok();
    share
        .filter(|share| (0.0..=1.0).contains(share))
        .ok_or_else(|| "give a share from 0 to 1".to_owned())
}

/// A run as a row.
#[derive(Serialize)]
struct Row {
    seed: u64,
    policy: &'static str,
    value: String,
    vehicle_weeks: u64,
    failures: u64,
    replacements: u64,
    tests: u64,
    special_visits: u64,
    refused: u64,
    cost: f64,
    failures_after: u64,
    cost_after: f64,
    failures_after_to_failure: u64,
    cost_after_to_failure: f64,
}

impl From<&Run> for Row {
    fn from(run: &Run) -> Row {
        let Ledger {
            vehicle_weeks,
            failures,
            replacements,
            tests,
            special_visits,
            refused,
            cost,
        } = run.ledger;
        Row {
            seed: run.seed,
            policy: run.policy.name(),
            value: run.policy.value().unwrap_or_default(),
            vehicle_weeks,
            failures,
            replacements,
            tests,
            special_visits,
            refused,
            cost,
            failures_after: run.habit.failures,
            cost_after: run.habit.cost,
            failures_after_to_failure: run.to_failure.failures,
            cost_after_to_failure: run.to_failure.cost,
        }
    }
}

fn told(mean: Option<Mean>, factor: f64) -> String {
    let Some(mean) = mean else {
        return "–".to_owned();
    };
    let value = mean.value * factor;
    match mean.half_width.map(|half| half * factor) {
        Some(half) => format!("{value:.1} ({:.1} to {:.1})", value - half, value + half),
        None => format!("{value:.1}"),
    }
}

/// The policies at their best under the habit afterwards; beside it what those at their best if nothing were replaced
/// before it fails cost beyond the plan.
fn table(told_of: &[Told], to_failure: &[Told], currency: &str) -> Table {
    let mut table = Table::new();
    table.load_preset(ASCII_MARKDOWN).set_header([
        "policy".to_owned(),
        "best at".to_owned(),
        format!("{currency} a vehicle and year"),
        "beyond the weekly plan".to_owned(),
        "the same, nothing replaced afterwards".to_owned(),
        "share of the saving, %".to_owned(),
        "failures in 100 vehicle-years".to_owned(),
        "failures afterwards".to_owned(),
        "replaced before failing".to_owned(),
        "tests".to_owned(),
        "special visits".to_owned(),
    ]);
    for (one, otherwise) in told_of.iter().zip(to_failure) {
        table.add_row([
            one.policy.name().to_owned(),
            one.policy.value().unwrap_or_default(),
            told(Some(one.cost), 1.0),
            told(one.beyond_plan, 1.0),
            told(otherwise.beyond_plan, 1.0),
            told(one.share_of_saving, 100.0),
            format!("{:.1}", one.failures),
            format!("{:.1}", one.failures_after),
            format!("{:.1}", one.replacements),
            format!("{:.1}", one.tests),
            format!("{:.1}", one.special_visits),
        ]);
    }
    for column in table.column_iter_mut().skip(2) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table
}
