//! The codes that come at once: floods by each cause, and the one or two codes of a small sag.
//!
//! A flood has at least [`LEAST_CODES`] codes in at least [`LEAST_MODULES`] modules, whatever the
//! scenario's `flood_size_factor`; its median size grows with that factor. What it is made of:
//!
//! * supply: modules' own low-voltage codes (about 4 in 10), lost communication between modules all
//!   over the vehicle (4 in 10), invalid data (2 in 10), and the model's codes that stay latched
//! * network, one module dead: the others all miss that one, some find its data invalid
//! * network, a bus down: its modules note the bus, the others miss several of them
//! * reprogramming: the others miss the module, which is not set up yet
//! * scan artefact: modules silent to the tool are missed by the ones that answer, pending only
//! * unexplained: circuit faults of all sorts in many modules (water, a collision repair)
//!
//! The shares are `common practice, no source`. Nothing here fails; when a flood comes is left to
//! `life`.

use super::memory::{Memory, Stored};
use super::models::{Hold, Model};
use super::modules::{Code, HEAVY_FAULTS, LIGHT_FAULTS, bus_off, not_set_up};
use super::streams::{Stream, between, chance, log_normal, pick, shuffle, whole};

/// Fewest codes and modules of a flood.
pub const LEAST_CODES: usize = 8;
pub const LEAST_MODULES: usize = 5;
/// Codes and modules of one flood that a scan must show for it to count as seen.
pub const SEEN_CODES: usize = 6;
pub const SEEN_MODULES: usize = 3;

/// A code about to be stored.
type Coming = (usize, Code);

/// Sets the flood of a sagging supply.
pub fn supply(rng: &mut Stream, model: &Model, memory: &mut Memory, event: u32, size_factor: f64) {
    let n_modules = model.modules.len();
    let size = (log_normal(rng, 26.0, 0.4) * size_factor) as usize;
    let size = size.clamp(LEAST_CODES + 2, n_modules * 4);
    let mut order: Vec<usize> = (0..n_modules).collect();
    shuffle(rng, &mut order);
    let mut coming: Vec<Coming> = Vec::with_capacity(size);
    // Modules in turn, so that the codes are spread over the vehicle.
    for turn in 0..size * 6 {
        if coming.len() >= size {
            break;
        }
        let module = order[turn % n_modules];
        let kind = between(rng, 0.0, 1.0);
        let other = other_module(rng, n_modules, module);
        let code = if kind < 0.42 {
            model.modules[module].low
        } else if kind < 0.82 {
            model.modules[other].lost
        } else {
            model.modules[other].invalid
        };
        if !coming.contains(&(module, code)) {
            coming.push((module, code));
        }
    }
    put(rng, memory, coming, event, true, false);
    for &(module, code, hold) in &model.latched {
        if chance(rng, 0.55) {
            memory.store(stored(module, code, hold, event, true));
        }
    }
    companion(rng, model, memory, event, true);
}

/// A sag that one or two modules note.
pub fn small_sag(rng: &mut Stream, model: &Model, memory: &mut Memory, event: u32) {
    for _ in 0..whole(rng, 1, 2) {
        let module = whole(rng, 0, 3) as usize;
        memory.store(stored(
            module,
            model.modules[module].low,
            Hold::Plain,
            event,
            true,
        ));
    }
}

/// One module goes silent for good.
pub fn dead_module(
    rng: &mut Stream,
    model: &Model,
    memory: &mut Memory,
    event: u32,
    size_factor: f64,
    dead: usize,
) {
    let mut coming = missed_by_others(rng, model, dead, (0.9 * size_factor).clamp(0.3, 0.97));
    for module in 0..model.modules.len() {
        if module != dead && chance(rng, 0.2 * size_factor) {
            coming.push((module, model.modules[dead].invalid));
        }
    }
    // A module that is missed by all is missed in several functions: enough codes even when small.
    let mut from = 0;
    while coming.len() < LEAST_CODES && from < model.modules.len() {
        if from != dead && !coming.contains(&(from, model.modules[dead].invalid)) {
            coming.push((from, model.modules[dead].invalid));
        }
        from += 1;
    }
    put(rng, memory, coming, event, false, true);
    companion(rng, model, memory, event, false);
}

/// A bus goes down.
pub fn bus_fault(
    rng: &mut Stream,
    model: &Model,
    memory: &mut Memory,
    event: u32,
    size_factor: f64,
    bus: u8,
) {
    let (on, off): (Vec<usize>, Vec<usize>) =
        (0..model.modules.len()).partition(|&module| model.modules[module].bus == bus);
    let heavy = model.spec.heavy;
    let mut coming: Vec<Coming> = Vec::new();
    for &module in &on {
        if chance(rng, 0.8) {
            coming.push((module, bus_off(heavy)));
        }
    }
    let mut pairs: Vec<Coming> = off
        .iter()
        .flat_map(|&module| on.iter().map(move |&target| (module, target)))
        .map(|(module, target)| (module, model.modules[target].lost))
        .collect();
    shuffle(rng, &mut pairs);
    let size = (log_normal(rng, 14.0, 0.25) * size_factor) as usize;
    let wanted = size.max(LEAST_CODES + 2).saturating_sub(coming.len());
    coming.extend(pairs.into_iter().take(wanted));
    put(rng, memory, coming, event, false, true);
    companion(rng, model, memory, event, false);
}

/// A module was reprogrammed while the others were listening.
pub fn reprogramming(
    rng: &mut Stream,
    model: &Model,
    memory: &mut Memory,
    event: u32,
    size_factor: f64,
    target: usize,
) {
    let mut coming = missed_by_others(rng, model, target, (0.75 * size_factor).clamp(0.5, 0.95));
    coming.push((target, not_set_up(model.spec.heavy)));
    let n_modules = model.modules.len();
    let more = (log_normal(rng, 5.0, 0.4) * size_factor) as usize;
    let wanted = (coming.len() + more).max(LEAST_CODES);
    for _ in 0..wanted * 4 {
        if coming.len() >= wanted {
            break;
        }
        let module = whole(rng, 0, n_modules as i64 - 1) as usize;
        let other = other_module(rng, n_modules, module);
        let spec = &model.modules[other];
        let code = if chance(rng, 0.5) {
            spec.invalid
        } else {
            spec.lost
        };
        if !coming.contains(&(module, code)) {
            coming.push((module, code));
        }
    }
    put(rng, memory, coming, event, false, false);
}

/// Many circuit faults with nothing in common.
pub fn unexplained(
    rng: &mut Stream,
    model: &Model,
    memory: &mut Memory,
    event: u32,
    size_factor: f64,
) {
    let faults: &[Code] = if model.spec.heavy {
        &HEAVY_FAULTS
    } else {
        &LIGHT_FAULTS
    };
    let size = (log_normal(rng, 13.0, 0.3) * size_factor) as usize;
    let mut order: Vec<usize> = (0..model.modules.len()).collect();
    shuffle(rng, &mut order);
    let mut coming: Vec<Coming> = Vec::new();
    for turn in 0..size.max(LEAST_CODES) {
        if let Some(&code) = pick(rng, faults) {
            coming.push((order[turn % order.len()], code));
        }
    }
    coming.sort_unstable();
    coming.dedup();
    put(rng, memory, coming, event, false, false);
    companion(rng, model, memory, event, false);
}

/// What the answering modules show when the tool loses some of the others: pairs of module and the
/// code for the silent one.
pub fn scan_artefact(
    rng: &mut Stream,
    model: &Model,
    answering: &[usize],
    silent: &[usize],
    size_factor: f64,
) -> Vec<Coming> {
    let mut pairs: Vec<Coming> = answering
        .iter()
        .flat_map(|&module| {
            silent
                .iter()
                .map(move |&target| (module, model.modules[target].lost))
        })
        .collect();
    shuffle(rng, &mut pairs);
    let size = (log_normal(rng, 16.0, 0.3) * size_factor) as usize;
    pairs.truncate(size.max(LEAST_CODES + 2));
    pairs
}

fn missed_by_others(rng: &mut Stream, model: &Model, target: usize, share: f64) -> Vec<Coming> {
    (0..model.modules.len())
        .filter(|&module| module != target && chance(rng, share))
        .map(|module| (module, model.modules[target].lost))
        .collect()
}

fn other_module(rng: &mut Stream, n_modules: usize, module: usize) -> usize {
    let step = whole(rng, 1, (n_modules as i64 - 1).max(1)) as usize;
    (module + step) % n_modules
}

/// The model's companion code: it only says that another module holds a fault.
pub fn companion(
    rng: &mut Stream,
    model: &Model,
    memory: &mut Memory,
    event: u32,
    of_supply: bool,
) {
    let (module, code) = model.companion;
    if chance(rng, 0.6) {
        memory.store(stored(module, code, Hold::Plain, event, of_supply));
    }
}

fn stored(module: usize, code: Code, hold: Hold, event: u32, of_supply: bool) -> Stored {
    Stored {
        module,
        code,
        hold,
        event,
        of_supply,
        confirmed: true,
        occurrences: 1,
        standing: false,
    }
}

fn put(
    rng: &mut Stream,
    memory: &mut Memory,
    coming: Vec<Coming>,
    event: u32,
    of_supply: bool,
    standing: bool,
) {
    for (module, code) in coming {
        memory.store(Stored {
            confirmed: chance(rng, 0.85),
            occurrences: whole(rng, 1, 4) as u8,
            standing,
            ..stored(module, code, Hold::Plain, event, of_supply)
        });
    }
}

/// A single fault of the kind this model tends to, or any other.
pub fn single_fault(rng: &mut Stream, model: &Model, memory: &mut Memory, event: u32) {
    let faults: &[Code] = if model.spec.heavy {
        &HEAVY_FAULTS
    } else {
        &LIGHT_FAULTS
    };
    let drawn = if chance(rng, 0.7) {
        pick(rng, &model.usual_faults).copied()
    } else {
        let module = whole(rng, 0, model.modules.len() as i64 - 1) as usize;
        let code = if chance(rng, 0.2) {
            let other = other_module(rng, model.modules.len(), module);
            Some(model.modules[other].lost)
        } else {
            pick(rng, faults).copied()
        };
        code.map(|code| (module, code))
    };
    if let Some((module, code)) = drawn {
        memory.store(Stored {
            confirmed: chance(rng, 0.8),
            ..stored(module, code, Hold::Plain, event, false)
        });
        companion(rng, model, memory, event, false);
    }
}
