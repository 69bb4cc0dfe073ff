//! `voltwane backtest`: the risk model held against what came.

use std::io::Write;
use std::path::PathBuf;

use chrono::{DateTime, Utc};
use clap::{Args, ValueEnum};
use indicatif::ProgressBar;

use super::{LakeArgs, Outcome};
use report::pseudonym::Pseudonyms;
use report::style::ReportStyle;
use risk::contest::contest;
use risk::prediction::Prediction;
use risk::scores::{Scores, WithLimits};
use statistics::rates::wilson::wilson_limits;
use tables::backtest::{self, Asked, Backtest as Answer};

/// Hold the risk model against what came
///
/// Fits the model on past days, each time with nothing but what was known then, and compares its
/// chances with the failures that followed and with two plain rivals: age alone, and the last test
/// against its threshold.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    voltwane backtest --lake lake\n  \
    voltwane backtest --lake lake --origins 13 --every 4 --format json\n  \
    voltwane backtest --lake lake --predictions told.csv")]
pub struct Backtest {
    #[command(flatten)]
    lake: LakeArgs,

    /// How many past days to look from
    #[arg(long, default_value_t = 26, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=520))]
    origins: u64,

    /// Weeks from one of them to the next
    #[arg(long, default_value_t = 2, value_name = "WEEKS", value_parser = clap::value_parser!(u64).range(1..=52))]
    every: u64,

    /// On each past day know only what had been loaded into the lake by then, corrections included
    #[arg(long)]
    as_loaded: bool,

    /// How the answer is printed
    #[arg(long, value_enum, default_value = "markdown", value_name = "FORM")]
    format: Form,

    /// Also write every prediction with what came of it
    #[arg(long, value_name = "FILE")]
    predictions: Option<PathBuf>,

    /// Name vehicles by pseudonyms in the predictions, as reports with --share do
    #[arg(long)]
    share: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Form {
    Markdown,
    Json,
}

impl Backtest {
    pub async fn run(self, now: DateTime<Utc>) -> anyhow::Result<Outcome> {
        let (lake, today) = self.lake.open(now).await?;
        let asked = Asked {
            origins: self.origins,
            every_weeks: self.every,
            as_loaded: self.as_loaded,
        };
        let bar = ProgressBar::new(asked.origins);
        let answer = backtest::run(
            &lake,
            &today,
            self.lake.queries.as_deref(),
            asked,
            &mut |done, _| bar.set_position(done),
        )
        .await?;
        bar.finish_and_clear();
        if let Some(path) = &self.predictions {
            let mut writer = csv::Writer::from_path(path)?;
            let style = ReportStyle {
                pseudonyms: match self.share {
                    true => Some(Pseudonyms::find(lake.folder().as_deref())?),
                    false => None,
                },
                ..ReportStyle::default()
            };
            for prediction in &answer.predictions {
                writer.serialize(Prediction {
                    vin: style.vin(&prediction.vin),
                    position: style.position(&prediction.position),
                    ..prediction.clone()
                })?;
            }
            writer.flush()?;
        }
        let mut out = std::io::stdout().lock();
        match self.format {
            Form::Markdown => out.write_all(markdown(&answer).as_bytes())?,
            Form::Json => writeln!(out, "{}", serde_json::to_string_pretty(&answer)?)?,
        }
        Ok(Outcome::Clean)
    }
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(
        || "not known".to_owned(),
        |value| format!("{value:.digits$}"),
    )
}

fn limits(value: Option<WithLimits>) -> String {
    value.map_or_else(
        || "not known".to_owned(),
        |found| {
            format!(
                "{:.2} ({:.2} to {:.2})",
                found.value, found.lower, found.upper
            )
        },
    )
}

fn percent(value: Option<f64>) -> String {
    value.map_or_else(
        || "not known".to_owned(),
        |value| format!("{:.0} %", value * 100.0),
    )
}

/// A share of the failing batteries with Wilson's limits: "13 % (5–28 %)". A battery foretold from several
/// days is one battery.
fn share_of(value: Option<f64>, failing: usize) -> String {
    let limits = value.and_then(|value| {
        let caught = (value * failing as f64).round() as u64;
        wilson_limits(caught, failing as u64, 0.95).ok()
    });
    match (value, limits) {
        (Some(value), Some(limits)) => format!(
            "{} ({:.0}–{:.0} %)",
            percent(Some(value)),
            limits.lower * 100.0,
            limits.upper * 100.0
        ),
        _ => percent(value),
    }
}

/// Whether the model and each rival differ, among the first of each length, by more than chance.
fn differences(answer: &Answer) -> Vec<String> {
    type Score = fn(&Prediction) -> f64;
    let rivals: [(&str, Score); 2] = [
        ("age only", |one| one.by_age),
        ("last test", |one| one.test_score),
    ];
    let mut lines = Vec::new();
    for (name, rival) in rivals {
        for top in &answer.model.top {
            let found = contest(&answer.predictions, |one| one.chance, rival, top.first);
            let verdict = match (found.p <= 0.05, found.by_first > found.by_second) {
                (false, _) => "within noise",
                (true, true) => "the model is better",
                (true, false) => "the model is worse",
            };
            lines.push(format!(
                "- first {}, against {name}: of {} failing batteries {} are oftener among the model's first, {} among the rival's; {verdict} (exact sign test, p {:.2})",
                top.first, found.failing, found.by_first, found.by_second, found.p
            ));
        }
    }
    lines
}

fn markdown(answer: &Answer) -> String {
    let ways = [&answer.model, &answer.age_only, &answer.last_test];
    let mut lines = vec![
        format!(
            "Looked from {} days, {} weeks apart, each time with what was known then; chances within {} days; \
             outcomes as known on {}.",
            answer.origins.len(),
            answer.every_weeks,
            answer.horizon_days,
            answer.as_of
        ),
        format!(
            "{} predictions, {} failures among them (one failure is foretold from several days).",
            answer.model.predictions, answer.model.failures
        ),
        String::new(),
        "|  | model | age only | last test | by chance |".to_owned(),
        "|---|---|---|---|---|".to_owned(),
    ];
    let mut row = |what: &str, cells: [String; 3], by_chance: &str| {
        lines.push(format!("| {what} | {} | {by_chance} |", cells.join(" | ")));
    };
    let each = |cell: &dyn Fn(&Scores) -> String| ways.map(cell);
    let failing = contest(&answer.predictions, |_| 0.0, |_| 0.0, 1).failing;
    row("C", each(&|way| number(way.c, 3)), "0.500");
    for (place, top) in answer.model.top.iter().enumerate() {
        let what = match top.first {
            first if first == answer.capacity => {
                format!("failures caught in the first {first} (a week's bays)")
            }
            first => format!("failures caught in the first {first}"),
        };
        row(
            &what,
            each(&|way| share_of(way.top[place].caught, failing)),
            &percent(
                top.caught
                    .zip(top.lift)
                    .filter(|(_, lift)| *lift > 0.0)
                    .map(|(caught, lift)| caught / lift),
            ),
        );
        row(
            &format!("lift in the first {}", top.first),
            each(&|way| number(way.top[place].lift, 1)),
            "1.0",
        );
    }
    row("Brier score", each(&|way| number(way.brier, 5)), "");
    row("Brier skill", each(&|way| number(way.brier_skill, 4)), "0");
    row(
        "failures expected",
        each(&|way| number(way.expected, 1)),
        "",
    );
    row("failures seen", each(&|way| way.failures.to_string()), "");
    row("calibration slope", each(&|way| limits(way.slope)), "");
    row(
        "calibration intercept",
        each(&|way| limits(way.intercept)),
        "",
    );
    row(
        "calibration in the large",
        each(&|way| limits(way.in_the_large)),
        "",
    );
    lines.push(String::new());
    lines.push(format!(
        "Shares caught have Wilson's 95 % limits on {failing} failing batteries. Whether the model and a rival differ:"
    ));
    lines.push(String::new());
    lines.extend(differences(answer));
    lines.push(String::new());
    lines.push("| from | batteries | expected | failed | C | caught in a week's bays |".to_owned());
    lines.push("|---|---|---|---|---|---|".to_owned());
    for origin in &answer.origins {
        lines.push(format!(
            "| {} | {} | {:.1} | {} | {} | {} |",
            origin.origin,
            origin.batteries,
            origin.expected,
            origin.failed,
            number(origin.c, 3),
            percent(origin.caught_at_capacity)
        ));
    }
    lines.push(String::new());
    lines.join("\n")
}
