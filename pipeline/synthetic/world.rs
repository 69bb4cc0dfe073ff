//! A world that is lived week by week, under its own shops or under decisions from outside.
//!
//! [`World::new`] lives the years before the first dump; each [`World::step_week`] takes orders,
//! lives one week and gives that week's dumps. Stepped without orders it is the same fleet, record
//! for record, that [`super::write_dumps`] writes. Vehicles draw from streams of their own, so an
//! order for one moves no other.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;

use chrono::NaiveDate;

use super::Summary;
use super::desk::Desk;
use super::dumps::weather_streams;
use super::dumps::{Cut, Dumps};
use super::events::BatteryEvent;
use super::fleet::Vehicle;
use super::life::{Fitted, Life};
use super::orders::{Orders, Place};
use super::scenario::{Scenario, SyntheticError};
use super::streams::Stream;
use super::surroundings::Surroundings;
use super::truth::TruthFile;
use super::weather::HISTORY_WEEKS;

/// One week of a world.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    pub first_day: NaiveDate,
    pub last_day: NaiveDate,
    /// The week's dumps by path below a folder; the mappings are in [`World::mappings`].
    pub dumps: BTreeMap<PathBuf, Vec<u8>>,
    /// What truly happened to batteries in the week.
    pub happened: Vec<BatteryEvent>,
    /// Orders for a battery that is not in the fleet, or was not at that time.
    pub refused: Vec<Place>,
    /// Vehicles in the fleet at its end, and how many came in because they were called.
    pub vehicles: usize,
    pub special_visits: u64,
}

/// A battery in service as its papers show it, without an error in them.
#[derive(Debug, Clone, PartialEq)]
pub struct OnPaper {
    pub place: Place,
    pub depot: &'static str,
    pub age_days: f64,
    /// Share of the rating that a test of it read last.
    pub last_reading: Option<f64>,
}

/// One vehicle and its records.
#[derive(Clone)]
pub(super) struct Member {
    pub life: Life,
    pub desk: Desk,
}

impl Member {
    pub fn start(around: &Arc<Surroundings>, index: u64) -> Member {
        let seed = around.scenario.seed;
        let vehicle = Vehicle::draw(seed, index, &around.weather, around.window_start);
        let life = Life::start(around, vehicle);
        let desk = Desk::new(&life);
        Member { life, desk }
    }

    /// Lives one week and exports what came to be known in it.
    pub fn step(
        &mut self,
        week: usize,
        dumps: &mut Dumps,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        self.life.step(week);
        self.export(week as i32 * 7 + 6, dumps, summary)
    }

    pub fn export(
        &mut self,
        until: i32,
        dumps: &mut Dumps,
        summary: &mut Summary,
    ) -> Result<(), SyntheticError> {
        let due = self.desk.due(&self.life, until);
        for fact in &due {
            dumps.fact(&mut self.desk.dirt, &self.life, fact, summary)?;
        }
        Ok(())
    }
}

/// A fleet that lives on week by week. A copy lives on its own, so that one past can have several futures.
#[derive(Clone)]
pub struct World {
    around: Arc<Surroundings>,
    members: Vec<Member>,
    by_vin: BTreeMap<String, usize>,
    next_week: usize,
    /// What goes wrong with each depot's notes of the weather.
    weather_dirt: Vec<Stream>,
    cuts: Vec<Cut>,
}

impl World {
    /// The fleet on the eve of its first dump; `scenario.weeks` weeks can be stepped.
    ///
    /// Fails where a knob of the scenario makes no sense.
    pub fn new(scenario: &Scenario) -> Result<World, SyntheticError> {
        scenario.check()?;
        let around = Arc::new(Surroundings::build(scenario));
        let mut members: Vec<Member> = (0..scenario.vehicles as u64)
            .map(|index| Member::start(&around, index))
            .collect();
        for member in &mut members {
            for week in 0..HISTORY_WEEKS {
                member.life.step(week);
            }
        }
        let by_vin = members
            .iter()
            .enumerate()
            .map(|(index, member)| (member.life.vehicle.vin.clone(), index))
            .collect();
        Ok(World {
            around,
            members,
            by_vin,
            next_week: HISTORY_WEEKS,
            cuts: Vec::new(),
            weather_dirt: weather_streams(scenario.seed),
        })
    }

    /// The mapping files that read the dumps, by path below a folder.
    pub fn mappings(&self) -> Result<BTreeMap<PathBuf, Vec<u8>>, SyntheticError> {
        let mut dumps = Dumps::into_memory(&self.around);
        dumps.mappings(&mut Summary::default())?;
        Ok(dumps.take()?.0)
    }

    /// Weeks that are left.
    pub fn weeks_left(&self) -> usize {
        self.around.weeks() - self.next_week
    }

    /// Lives one week under these orders; `None` once all weeks are lived.
    ///
    /// Fails only where a dump cannot be put into words, which does not happen in memory.
    pub fn step_week(&mut self, orders: &Orders) -> Result<Option<Week>, SyntheticError> {
        if self.weeks_left() == 0 {
            return Ok(None);
        }
        let (around, week) = (Arc::clone(&self.around), self.next_week);
        self.next_week += 1;
        let (monday, sunday) = (week as i32 * 7, week as i32 * 7 + 6);
        let mut refused = Vec::new();
        for member in &mut self.members {
            member.life.begin_orders(orders.shops_plan);
        }
        for (tasks, special) in [(&orders.special, true), (&orders.at_service, false)] {
            for (place, task) in tasks {
                let member = self
                    .by_vin
                    .get(&place.vin)
                    .map(|index| &mut self.members[*index]);
                let taken = member.is_some_and(|member| {
                    let life = &mut member.life;
                    life.order(monday, &place.position, *task, special)
                });
                if !taken {
                    refused.push(place.clone());
                }
            }
        }
        let mut dumps = Dumps::into_memory(&around);
        let mut summary = Summary::default();
        let mut happened = Vec::new();
        let (mut vehicles, mut special_visits) = (0, 0);
        dumps.weather(
            &mut self.weather_dirt,
            &around.weather,
            monday..sunday + 1,
            &mut summary,
        )?;
        for member in &mut self.members {
            let before = member.life.events.len();
            let visits = member.life.special_visits;
            member.step(week, &mut dumps, &mut summary)?;
            if sunday >= around.last_day {
                member.life.finish();
                member.export(around.last_day, &mut dumps, &mut summary)?;
            }
            special_visits += member.life.special_visits - visits;
            vehicles += usize::from(member.life.vehicle.is_here(sunday));
            let vin = &member.life.vehicle.vin;
            let events = &member.life.events[before..];
            happened.extend(events.iter().map(|event| event.told(vin, &around.weather)));
        }
        let (dumps, cuts) = dumps.take()?;
        self.cuts.extend(cuts);
        Ok(Some(Week {
            first_day: around.weather.date(monday),
            last_day: around.weather.date(sunday),
            dumps,
            happened,
            refused,
            vehicles,
            special_visits,
        }))
    }

    /// The true chance of failing within the horizon of each battery now in service and not failed: what
    /// one who saw all that is hidden would say after the week lived last.
    pub fn chances(&self) -> Vec<(Place, f64)> {
        let week = self.next_week - 1;
        let mut chances = Vec::new();
        for member in &self.members {
            let life = &member.life;
            if week < life.first_week || !life.vehicle.is_here(week as i32 * 7 + 6) {
                continue;
            }
            for (index, battery) in life.batteries.iter().enumerate() {
                if let Some((_, chance)) = life.chances(index, week) {
                    let place = Place {
                        vin: life.vehicle.vin.clone(),
                        position: battery.spec.position.to_owned(),
                    };
                    chances.push((place, chance));
                }
            }
        }
        chances
    }

    /// The batteries now in service and not failed, as the papers show them after the week lived last.
    pub fn on_paper(&self) -> Vec<OnPaper> {
        let today = self.next_week as i32 * 7 - 1;
        self.in_service(|life, battery, place| OnPaper {
            place,
            depot: life.depot.name,
            age_days: f64::from(today - battery.installed_day),
            last_reading: battery.last_reading.map(|(_, share)| share),
        })
    }

    /// What is told of each battery now in service and not failed.
    fn in_service<T>(&self, told: impl Fn(&Life, &Fitted, Place) -> T) -> Vec<T> {
        let today = self.next_week as i32 * 7 - 1;
        let mut all = Vec::new();
        for life in self.members.iter().map(|member| &member.life) {
            if !life.vehicle.is_here(today) {
                continue;
            }
            for battery in life.batteries.iter().filter(|one| one.failed.is_none()) {
                let place = Place {
                    vin: life.vehicle.vin.clone(),
                    position: battery.spec.position.to_owned(),
                };
                all.push(told(life, battery, place));
            }
        }
        all
    }

    /// The true share of the rating that each battery now in service and not failed has left.
    pub fn abilities(&self) -> Vec<(Place, f64)> {
        self.in_service(|_, battery, place| (place, battery.hidden.health()))
    }

    /// Writes the truth as it stands, in the form of `truth.csv`. Batteries still in service have a
    /// row only once the last week is lived.
    pub fn write_truth<W: Write>(&self, out: W) -> Result<(), csv::Error> {
        let mut file = TruthFile::start(out, &self.around)?;
        for member in &self.members {
            file.vehicle(&member.life, &member.desk.notes)?;
        }
        file.cuts(&self.cuts)?;
        file.finish().map_err(csv::Error::from)?;
        Ok(())
    }
}
