//! Kills a command at a moment, runs it again, and counts what that cost.

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;
use std::time::{Duration, Instant};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::lake::releases::copy;
use crate::workplace::Workplace;

/// A command that is killed: on copies of `before`, which it would leave like `after`.
pub struct Victim {
    name: &'static str,
    command: Vec<String>,
    before: Workplace,
    before_facts: Facts,
    before_report: Files,
    after_facts: Facts,
    after_report: Files,
    /// What the command ends with when it is not disturbed.
    code: Option<i32>,
    takes: Duration,
    commits: usize,
}

/// When a command is killed.
#[derive(Debug, Clone, Copy)]
pub enum Moment {
    /// At that part of the time that it takes undisturbed.
    Part(f64),
    /// As soon as it has made that many commits.
    Commits(usize),
}

/// Every row of the lake by table and content, with how often it is there.
type Facts = BTreeMap<String, u64>;
/// Every file of the reports, by the week's folder or the file over all weeks that it is of.
type Files = BTreeMap<String, BTreeMap<String, Vec<u8>>>;

/// What became of the tries.
#[derive(Debug, Default)]
pub struct Tally {
    name: &'static str,
    pub tries: usize,
    pub killed: usize,
    pub lost: u64,
    pub doubled: u64,
    pub unopenable: usize,
    pub torn_reports: usize,
    pub told: Vec<String>,
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {} tries, {} killed, {} lost, {} doubled, {} unopenable, {} reports torn",
            self.name,
            self.tries,
            self.killed,
            self.lost,
            self.doubled,
            self.unopenable,
            self.torn_reports
        )
    }
}

impl Victim {
    /// The command in a place as it is before; it is run once to know what it leaves.
    pub fn new(name: &'static str, command: &[&str], before: Workplace) -> Self {
        let undisturbed = copy_of(&before);
        let commits_before = commits(undisturbed.path());
        // A first run may be slower than those to come, which would then be done before their moment.
        copy_of(&before).run(command);
        let began = Instant::now();
        let code = undisturbed.run(command).status.code();
        let takes = began.elapsed();
        assert!(matches!(code, Some(0 | 1)), "{name} ended with {code:?}");
        Self {
            name,
            command: command.iter().map(|&part| part.to_owned()).collect(),
            before_facts: facts(&before).unwrap_or_default(),
            before_report: report(&before),
            after_facts: facts(&undisturbed).expect("a lake"),
            after_report: report(&undisturbed),
            before,
            code,
            takes,
            commits: commits(undisturbed.path()) - commits_before,
        }
    }

    /// How many commits the undisturbed command makes.
    pub fn commits(&self) -> usize {
        self.commits
    }

    /// Kills at random moments until so many runs were killed before they were done, two of them one after
    /// another on one copy of the place.
    pub fn kill_at_random(&self, number: usize, seed: u64) -> Tally {
        let mut tally = self.tally();
        let mut draw = ChaCha8Rng::seed_from_u64(seed);
        while tally.killed < number && tally.tries < 4 * number {
            let moments = [(); 2].map(|()| Moment::Part(draw.random_range(0.02..1.0)));
            self.kill_into(&moments, 2, &mut tally);
        }
        tally
    }

    /// Moments drawn at random.
    pub fn moments(&self, number: usize, seed: u64) -> Vec<Moment> {
        let mut draw = ChaCha8Rng::seed_from_u64(seed);
        (0..number)
            .map(|_| Moment::Part(draw.random_range(0.02..1.0)))
            .collect()
    }

    /// Kills a run at each of these moments, `kills_a_lake` of them one after another on one copy of the
    /// place, then lets one end.
    pub fn kill(&self, moments: &[Moment], kills_a_lake: usize) -> Tally {
        let mut tally = self.tally();
        self.kill_into(moments, kills_a_lake, &mut tally);
        tally
    }

    fn tally(&self) -> Tally {
        Tally {
            name: self.name,
            ..Tally::default()
        }
    }

    fn kill_into(&self, moments: &[Moment], kills_a_lake: usize, tally: &mut Tally) {
        for moments in moments.chunks(kills_a_lake) {
            let place = copy_of(&self.before);
            for moment in moments {
                tally.tries += 1;
                tally.killed += usize::from(self.run_and_kill(&place, *moment));
                self.look(&place, *moment, tally);
            }
            let ended = place.run(&self.arguments());
            // One that had done all before it was killed may find nothing left to do.
            let is_done_before = facts(&place).as_ref() == Some(&self.after_facts);
            if ended.status.code() != self.code && !is_done_before {
                tally.unopenable += 1;
                tally.told.push(format!(
                    "{moments:?}: {}",
                    String::from_utf8_lossy(&ended.stderr)
                ));
                continue;
            }
            let found = facts(&place).unwrap_or_default();
            tally.count(
                &format!("{moments:?}, run again"),
                &self.after_facts,
                &found,
                &self.after_facts,
            );
            if report(&place) != self.after_report {
                tally.torn_reports += 1;
                tally.told.push(format!("{moments:?}: another report"));
            }
        }
    }

    /// What stands right after a kill: what both states hold, nothing that neither does, a whole report.
    fn look(&self, place: &Workplace, moment: Moment, tally: &mut Tally) {
        let at = format!("{moment:?}");
        match facts(place) {
            Some(found) => {
                let both = |row: &String, times: &u64| {
                    let after = self.after_facts.get(row).copied().unwrap_or(0);
                    (row.clone(), after.min(*times))
                };
                let at_least = self
                    .before_facts
                    .iter()
                    .map(|(row, times)| both(row, times));
                let mut at_most = self.before_facts.clone();
                for (row, times) in &self.after_facts {
                    let most = at_most.entry(row.clone()).or_default();
                    *most = (*most).max(*times);
                }
                tally.count(&at, &at_least.collect(), &found, &at_most);
            }
            // A lake that was being made is one when the load is run again.
            None if self.before_facts.is_empty() => {}
            None => {
                tally.unopenable += 1;
                tally.told.push(format!("{at}: the lake cannot be opened"));
            }
        }
        // A week's folder and the index over all weeks are put in place one after the other.
        let found = report(place);
        let is_whole = found.iter().all(|(part, files)| {
            [&self.before_report, &self.after_report]
                .into_iter()
                .any(|whole| whole.get(part) == Some(files))
        });
        if !is_whole
            || self
                .before_report
                .keys()
                .any(|part| !found.contains_key(part))
        {
            tally.torn_reports += 1;
            tally.told.push(format!("{at}: a report of both"));
        }
    }

    /// Whether the signal came before the end.
    fn run_and_kill(&self, place: &Workplace, moment: Moment) -> bool {
        let commits_before = commits(place.path());
        let mut running = place.start(&self.arguments());
        match moment {
            Moment::Part(part) => std::thread::sleep(self.takes.mul_f64(part)),
            Moment::Commits(number) => {
                while commits(place.path()) < commits_before + number
                    && running.try_wait().expect("known").is_none()
                {
                    std::hint::spin_loop();
                }
            }
        }
        // SIGKILL on Unix: nothing is tidied up. One that is done already cannot be killed.
        let _ = running.kill();
        running.wait().expect("it ends").code().is_none()
    }

    fn arguments(&self) -> Vec<&str> {
        self.command.iter().map(String::as_str).collect()
    }
}

impl Tally {
    fn count(&mut self, at: &str, at_least: &Facts, found: &Facts, at_most: &Facts) {
        let times = |facts: &Facts, row: &String| facts.get(row).copied().unwrap_or(0);
        let lost: u64 = at_least
            .iter()
            .map(|(row, wanted)| wanted.saturating_sub(times(found, row)))
            .sum();
        let doubled: u64 = found
            .iter()
            .map(|(row, there)| there.saturating_sub(times(at_most, row)))
            .sum();
        if lost + doubled > 0 {
            self.told
                .push(format!("{at}: {lost} lost, {doubled} doubled"));
        }
        self.lost += lost;
        self.doubled += doubled;
    }

    /// Asserts that the tries cost nothing.
    #[track_caller]
    pub fn assert_harmless(&self) {
        assert!(self.killed > 0, "{self}");
        let cost = (self.lost, self.doubled, self.unopenable, self.torn_reports);
        assert_eq!(cost, (0, 0, 0, 0), "{self}\n{}", self.told.join("\n"));
    }
}

fn copy_of(place: &Workplace) -> Workplace {
    let another = Workplace::new();
    copy(place.path(), another.path());
    another
}

/// Entries of all logs of the lake.
fn commits(place: &Path) -> usize {
    let Ok(tables) = std::fs::read_dir(place.join("lake")) else {
        return 0;
    };
    tables
        .flatten()
        .filter_map(|table| std::fs::read_dir(table.path().join("_delta_log")).ok())
        .flat_map(|log| log.flatten())
        .filter(|entry| {
            entry
                .path()
                .extension()
                .is_some_and(|ending| ending == "json")
        })
        .count()
}

/// The facts, quarantined rows and told weeks of the lake; none where it cannot be opened.
fn facts(place: &Workplace) -> Option<Facts> {
    let tables =
        "vehicle battery_test code_scan trouble_code work_order depot_weather quarantine risk_week";
    let each: Vec<String> = tables
        .split(' ')
        .map(|table| format!("SELECT '{table}' AS name, row_hash FROM lake.{table}"))
        .collect();
    let query = format!(
        "SELECT name, row_hash, COUNT(*) AS times FROM ({}) GROUP BY name, row_hash",
        each.join(" UNION ALL ")
    );
    let answer = place.run(&["sql", "--lake", "lake", "--format", "json", &query]);
    if answer.status.code() != Some(0) {
        return None;
    }
    let rows = String::from_utf8(answer.stdout).expect("text");
    Some(
        rows.lines()
            .map(|line| {
                let row: serde_json::Value = serde_json::from_str(line).expect("an object");
                let times = row["times"].as_u64().expect("a count");
                (format!("{} {}", row["name"], row["row_hash"]), times)
            })
            .collect(),
    )
}

/// The files of all reports; a folder in the making is none.
fn report(place: &Workplace) -> Files {
    let root = place.path().join("reports");
    let is_hidden = |name: &std::ffi::OsStr| name.to_string_lossy().starts_with('.');
    let mut files = Files::new();
    let entries = walkdir::WalkDir::new(&root)
        .into_iter()
        .filter_entry(|entry| !is_hidden(entry.file_name()))
        .flatten()
        .filter(|entry| entry.file_type().is_file());
    for entry in entries {
        let bytes = std::fs::read(entry.path()).expect("readable");
        let name = entry.path().strip_prefix(&root).expect("below");
        let part = name.iter().next().expect("a name").to_string_lossy();
        files
            .entry(part.into_owned())
            .or_default()
            .insert(name.display().to_string(), bytes);
    }
    files
}
