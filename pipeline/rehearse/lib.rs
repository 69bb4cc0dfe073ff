//! What following the plan is worth: invented fleets live on under a policy, and each policy pays the
//! same prices.
//!
//! A fleet lives some years under its own shops; from there copies of it live on, one under each policy
//! (`policy`), week by week, in the one world there is (`synthetic`). The weekly plan (`weekly_plan`)
//! sees nothing but the dumps, through a lake of its own; its plainer rivals see the vehicles' papers
//! without an error in them, and one sees what is hidden. What each costs is counted (`ledger`) and set
//! side by side over the fleets (`compare`). Afterwards every copy lives some years on in one and the same way, so that
//! what a policy leaves in its batteries counts for it: under a plain habit, as fleets do, and once more with nothing
//! replaced before it fails, which values a young battery most. It fails where a lake cannot be made or the settings
//! of a fleet make no sense.

pub mod compare;
pub mod ledger;
mod obedience;
pub mod policy;
mod weekly_plan;

use std::path::Path;

use settings::Settings;
use synthetic::{Orders, Scenario, World};

use ledger::Ledger;
use obedience::Obedience;
use policy::Policy;
use weekly_plan::WeeklyPlan;

/// How a fleet is lived.
#[derive(Debug, Clone)]
pub struct Course {
    /// The fleet; its weeks are those of the three times below.
    pub scenario: Scenario,
    /// Weeks under its own shops, of which there are dumps.
    pub weeks_before: usize,
    /// Weeks under a policy.
    pub weeks: usize,
    /// Weeks from one weekly plan to the next; in between the last one's weeks ahead are followed.
    pub every_weeks: usize,
    /// Share of what is asked for that is done.
    pub obedience: f64,
    /// Weeks until it is done.
    pub delay_weeks: usize,
}

/// Below this share of its rating a battery that is tested at a service is replaced by habit.
/// `common practice, no source`
pub const HABIT_SHARE: f64 = 0.7;

/// How every fleet lives on when the policies are over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Afterwards {
    /// Tested at each service, replaced below [`HABIT_SHARE`].
    Habit,
    /// Nothing is replaced before it fails.
    ToFailure,
}

impl Afterwards {
    pub const ALL: [Afterwards; 2] = [Afterwards::Habit, Afterwards::ToFailure];

    fn policy(self) -> Policy {
        match self {
            Afterwards::Habit => Policy::TestedAtService { share: HABIT_SHARE },
            Afterwards::ToFailure => Policy::RunToFailure,
        }
    }
}

/// What one policy cost one fleet.
#[derive(Debug, Clone)]
pub struct Run {
    pub seed: u64,
    pub policy: Policy,
    /// Of the weeks under the policy.
    pub ledger: Ledger,
    /// Of those afterwards, by each way to live on.
    pub habit: Ledger,
    pub to_failure: Ledger,
}

impl Run {
    /// What came afterwards.
    pub fn after(&self, afterwards: Afterwards) -> &Ledger {
        match afterwards {
            Afterwards::Habit => &self.habit,
            Afterwards::ToFailure => &self.to_failure,
        }
    }

    /// Money a vehicle and year under the policy, what came afterwards included.
    pub fn cost_a_vehicle_year(&self, afterwards: Afterwards) -> f64 {
        self.ledger
            .a_vehicle_year(self.ledger.cost + self.after(afterwards).cost)
    }
}

/// Why a rehearsal could not be held.
#[derive(Debug, thiserror::Error)]
pub enum RehearsalError {
    #[error(transparent)]
    World(#[from] synthetic::SyntheticError),
    #[error(transparent)]
    Lake(#[from] lake::LakeError),
    #[error(transparent)]
    Load(#[from] intake::load::LoadError),
    #[error(transparent)]
    Analysis(#[from] tables::AnalysisError),
    #[error("{path} could not be written: {source}")]
    Write {
        path: std::path::PathBuf,
        source: std::io::Error,
    },
    #[error("the rehearsal's own lake took nothing from {file}: {why}")]
    NotLoaded { file: String, why: String },
}

/// Lives one fleet under each of the policies. `room` is an empty folder for the weekly plan's lake;
/// `progress` hears how many policies are done.
pub async fn rehearse(
    course: &Course,
    policies: &[Policy],
    settings: &Settings,
    room: &Path,
    progress: &mut dyn FnMut(usize),
) -> Result<Vec<Run>, RehearsalError> {
    let mut past = World::new(&course.scenario)?;
    let wanted = policies.contains(&Policy::WeeklyPlan);
    let mut plan = match wanted {
        true => Some(WeeklyPlan::start(&past, settings, room).await?),
        false => None,
    };
    for _ in 0..course.weeks_before {
        let Some(week) = past.step_week(&Orders::default())? else {
            break;
        };
        if let Some(plan) = &mut plan {
            plan.keep(&week)?;
        }
    }
    let mut runs = Vec::new();
    for policy in policies {
        let own_plan = plan.take_if(|_| *policy == Policy::WeeklyPlan);
        let mut world = past.clone();
        let ledger = live(course, *policy, own_plan, settings, &mut world).await?;
        let [habit, to_failure] = Afterwards::ALL.map(|afterwards| {
            let policy = afterwards.policy();
            live_on(world.clone(), policy, settings)
        });
        runs.push(Run {
            seed: course.scenario.seed,
            policy: *policy,
            ledger,
            habit: habit?,
            to_failure: to_failure?,
        });
        progress(runs.len());
    }
    Ok(runs)
}

/// Lives the weeks that are left.
fn live_on(
    mut world: World,
    policy: Policy,
    settings: &Settings,
) -> Result<Ledger, RehearsalError> {
    let mut ledger = Ledger::default();
    while let Some(week) = world.step_week(&policy.orders(&world, &settings.plan))? {
        ledger.add(&week, &settings.cost);
    }
    Ok(ledger)
}

/// Lives the world's weeks under one policy.
async fn live(
    course: &Course,
    policy: Policy,
    mut plan: Option<WeeklyPlan>,
    settings: &Settings,
    world: &mut World,
) -> Result<Ledger, RehearsalError> {
    let mut ledger = Ledger::default();
    let mut obedience = Obedience::new(course);
    let every = course.every_weeks.max(1);
    for lived in 0..course.weeks {
        let asked = match &mut plan {
            Some(plan) => {
                if lived % every == 0 {
                    plan.renew().await?;
                }
                plan.orders(lived % every)
            }
            None => policy.orders(world, &settings.plan),
        };
        let done = obedience.done(asked);
        let Some(week) = world.step_week(&done)? else {
            break;
        };
        ledger.add(&week, &settings.cost);
        if let Some(plan) = &mut plan {
            plan.keep(&week)?;
        }
    }
    Ok(ledger)
}
