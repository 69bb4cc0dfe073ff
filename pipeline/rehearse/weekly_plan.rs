//! The weekly report's plan as a policy: dumps go into a lake, and the plan made from it is followed.
//!
//! It knows what the report knows and nothing else. Between two plans the weeks ahead of the last one are
//! followed; whoever is in for a service meanwhile is seen to as it advised. Fails where the lake cannot
//! be written or read.

use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use serde::Deserialize;

use super::RehearsalError;
use intake::load::load;
use lake::Lake;
use settings::Settings;
use synthetic::{Orders, Place, Task, Week, World};
use tables::Analysis;
use trade::words::Advice;

/// A lake that follows a world, and the plan made from it last.
pub struct WeeklyPlan {
    lake: Lake,
    settings: Settings,
    room: PathBuf,
    /// Weeks kept so far, each in a folder of its own, and those of them not yet loaded.
    weeks: usize,
    waiting: Vec<PathBuf>,
    last_day: NaiveDate,
    advised: Vec<Advised>,
}

/// A row of the plan that asks for something.
#[derive(Debug, Clone, Deserialize)]
struct Advised {
    vin: String,
    position: String,
    advice: String,
    /// 1 is the week to come.
    week: i64,
    special_visit: bool,
    keep_at: Option<f64>,
}

impl Advised {
    fn task(&self) -> Task {
        let tests = [Advice::TestOnArrival, Advice::TestAtService];
        match self.keep_at {
            Some(keep_at) if tests.iter().any(|test| test.as_str() == self.advice) => {
                Task::ReplaceBelow(keep_at)
            }
            _ => Task::Replace,
        }
    }

    fn order(&self) -> (Place, Task) {
        let place = Place {
            vin: self.vin.clone(),
            position: self.position.clone(),
        };
        (place, self.task())
    }
}

impl WeeklyPlan {
    /// An empty lake in that folder, with the mappings of the world's dumps.
    pub async fn start(
        world: &World,
        settings: &Settings,
        room: &Path,
    ) -> Result<WeeklyPlan, RehearsalError> {
        let folder = room.join("lake");
        for (path, bytes) in world.mappings()? {
            write(&folder.join(path), &bytes)?;
        }
        Ok(WeeklyPlan {
            lake: Lake::open_or_create(&folder.display().to_string()).await?,
            settings: settings.clone(),
            room: room.to_owned(),
            weeks: 0,
            waiting: Vec::new(),
            last_day: NaiveDate::default(),
            advised: Vec::new(),
        })
    }

    /// Keeps a week's dumps for the next load.
    pub fn keep(&mut self, week: &Week) -> Result<(), RehearsalError> {
        let folder = self.room.join(format!("week-{}", self.weeks));
        for (path, bytes) in &week.dumps {
            write(&folder.join(path), bytes)?;
        }
        self.weeks += 1;
        self.last_day = week.last_day;
        self.waiting.push(folder);
        Ok(())
    }

    /// Loads what has come and makes the plan anew.
    pub async fn renew(&mut self) -> Result<(), RehearsalError> {
        let now = monday_morning(self.last_day);
        let limits = &self.settings.limits;
        let outcomes = load(&mut self.lake, &self.waiting, limits, now, &mut |_| {}).await?;
        for outcome in outcomes {
            if let Some(why) = outcome.error {
                let file = outcome.file;
                return Err(RehearsalError::NotLoaded { file, why });
            }
        }
        for folder in self.waiting.drain(..) {
            std::fs::remove_dir_all(&folder).map_err(|source| RehearsalError::Write {
                path: folder,
                source,
            })?;
        }
        let analysis = Analysis::new(
            &self.lake,
            &[],
            Some(self.last_day),
            None,
            now.date_naive(),
            self.settings.clone(),
            None,
        )
        .await?;
        self.advised = analysis
            .rows(
                "SELECT vin, position, advice, week, special_visit, keep_at FROM replacement_plan
                 WHERE week IS NOT NULL AND advice <> 'leave' AND failed_on IS NULL ORDER BY rank",
            )
            .await?;
        Ok(())
    }

    /// What the plan asks for so many weeks after it was made.
    pub fn orders(&self, weeks_since: usize) -> Orders {
        let special = self.advised.iter().filter(|advised| advised.special_visit);
        let due = special.filter(|advised| advised.week == weeks_since as i64 + 1);
        let at_service = self.advised.iter().filter(|advised| !advised.special_visit);
        Orders {
            special: due.map(Advised::order).collect(),
            at_service: at_service.map(Advised::order).collect(),
            shops_plan: false,
        }
    }
}

/// When the week's dumps are loaded.
fn monday_morning(sunday: NaiveDate) -> DateTime<Utc> {
    let at = NaiveTime::from_hms_opt(5, 0, 0).unwrap_or_default();
    sunday.and_time(at).and_utc() + TimeDelta::days(1)
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), RehearsalError> {
    let written = match path.parent() {
        Some(folder) => std::fs::create_dir_all(folder),
        None => Ok(()),
    };
    written
        .and_then(|()| std::fs::write(path, bytes))
        .map_err(|source| RehearsalError::Write {
            path: path.to_owned(),
            source,
        })
}
