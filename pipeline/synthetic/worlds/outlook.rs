//! The weather that may come: many futures of a depot from a given week on.
//!
//! Each future carries on the noise of the depot's last day by the same autoregression that made the
//! past. Batteries of a depot look at the same futures. Nothing here fails.

use super::super::streams::{Domain, stream};
use super::super::weather::{DEPOTS, Weather};
use super::law::Air;

/// Futures of one depot after one week.
#[derive(Debug)]
pub struct Outlook {
    weeks: usize,
    /// Future after future, each of so many weeks.
    air: Vec<Air>,
}

impl Outlook {
    /// `count` futures of `weeks` weeks that follow `week` at `depot`.
    pub fn draw(
        seed: u64,
        weather: &Weather,
        depot: usize,
        week: usize,
        count: usize,
        weeks: usize,
    ) -> Outlook {
        let index = (week * DEPOTS.len() + depot) as u64;
        let mut rng = stream(seed, Domain::Outlook, index);
        let mut air = Vec::with_capacity(count * weeks);
        for _ in 0..count {
            let mut noise = weather.noise_at(depot, week as i32 * 7 + 6);
            for ahead in 1..=weeks {
                let lived = weather.live_week(&mut rng, depot, week + ahead, &mut noise);
                air.push(Air::new(lived.mean_c(), lived.lowest_c()));
            }
        }
        Outlook { weeks, air }
    }

    /// Each future's weeks in turn.
    pub fn futures(&self) -> impl Iterator<Item = &[Air]> {
        self.air.chunks(self.weeks.max(1))
    }
}
