//! A vehicle's way back after its 12 V supply gave out: which happenings belong to one case, and when
//! each step of it was made.
//!
//! A case opens with a flood put down to the supply or with a vehicle that did not start. A further
//! one belongs to the open case unless the supply had been restored [`Rules::case_days`] before. Each
//! step is dated by the first happening of its kind after the opening. Latched codes count as cleared
//! with the last clear after which no scan shows any. Trouble after the supply was restored is a
//! comeback: what was done before it did not help, and is to be done again.
//!
//! The case is proven, and over, by the first scan that shows no code of the supply, with all monitors
//! ready, long or far enough after the supply was restored and the codes were cleared; where no scan
//! showed a code there was nothing to clear. Orders do not tell everything: where they name no repair or
//! no clear, such a scan proves it too, long enough after the last trouble and the last code of the
//! supply, or far enough after a clear that followed both.
//!
//! Pure; nothing here fails. Which codes are of the supply, and which of them latched, is left to the
//! caller.

use crate::derived_words::RecoveryStep;

/// Microseconds since the epoch, UTC.
pub type Instant = i64;

const DAY: i64 = 86_400_000_000;

/// What counts as proof, and as a case of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    pub case_days: i64,
    pub proven_days: i64,
    pub proven_km: f64,
}

/// What a scan said that matters here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScanSeen {
    pub any_code: bool,
    pub supply_code: bool,
    /// A code of the supply that clears are known to leave behind.
    pub latched_code: bool,
    /// All readiness monitors complete; a vehicle that reports none counts as ready.
    pub monitors_ready: bool,
    pub km_since_clear: Option<f64>,
}

/// What happened; the order is that of happenings at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    Flood,
    NoStart,
    SupplyTested { fit: bool },
    SupplyRestored,
    CodesCleared,
    Scan(ScanSeen),
}

impl Event {
    fn place(&self) -> u8 {
        match self {
            Event::Flood => 0,
            Event::NoStart => 1,
            Event::SupplyTested { .. } => 2,
            Event::SupplyRestored => 3,
            Event::CodesCleared => 4,
            Event::Scan(_) => 5,
        }
    }
}

/// A happening: when it, or the order it stands on, began, and when it was over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Happening {
    pub began: Instant,
    pub done: Instant,
    pub event: Event,
}

/// One case with its steps; what was not made is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    pub opened: Instant,
    pub by_flood: bool,
    pub supply_tested: Option<Instant>,
    pub supply_restored: Option<Instant>,
    pub codes_saved: Option<Instant>,
    pub codes_cleared: Option<Instant>,
    pub latched_cleared: Option<Instant>,
    pub proven: Option<Instant>,
    /// A scan after a clear showed latched codes.
    pub latched_seen: bool,
    /// No clear since has been shown to end them.
    pub latched_standing: bool,
    /// Codes of the supply were shown by some scan.
    pub supply_codes_seen: bool,
    /// The first clear came before any scan had shown a code.
    pub cleared_unsaved: bool,
    /// The last flood or no-start.
    pub last_trouble: Instant,
    /// Floods and no-starts after the supply was restored.
    pub comebacks: u32,
    /// What was done since the opening or the last comeback.
    since: Done,
    last_supply_code: Option<Instant>,
    restored_done: Option<Instant>,
    last_clear: Option<(Instant, Instant)>,
}

/// What was done, whatever came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Done {
    tested: bool,
    found_fit: bool,
    restored: bool,
    saved: bool,
    cleared: bool,
}

impl Case {
    fn open(opened: Instant, by_flood: bool) -> Self {
        Self {
            opened,
            by_flood,
            supply_tested: None,
            supply_restored: None,
            codes_saved: None,
            codes_cleared: None,
            latched_cleared: None,
            proven: None,
            latched_seen: false,
            latched_standing: false,
            supply_codes_seen: false,
            cleared_unsaved: false,
            last_trouble: opened,
            comebacks: 0,
            since: Done::default(),
            last_supply_code: None,
            restored_done: None,
            last_clear: None,
        }
    }

    fn holds(&self, at: Instant, rules: &Rules) -> bool {
        self.proven.is_none()
            && self
                .restored_done
                .is_none_or(|restored| at - restored <= rules.case_days * DAY)
    }

    fn step(&mut self, happening: &Happening, rules: &Rules) {
        let began = happening.began;
        match happening.event {
            Event::Flood | Event::NoStart => {
                self.last_trouble = happening.done;
                if self.restored_done.take().is_some() {
                    self.comebacks += 1;
                    self.since = Done::default();
                    self.last_clear = None;
                }
            }
            Event::SupplyTested { fit } => {
                self.since.tested = true;
                self.since.found_fit |= fit;
                self.supply_tested.get_or_insert(began);
            }
            Event::SupplyRestored => {
                self.since.restored = true;
                self.supply_restored.get_or_insert(began);
                self.restored_done.get_or_insert(happening.done);
            }
            Event::CodesCleared => {
                self.cleared_unsaved |= self.codes_cleared.is_none() && self.codes_saved.is_none();
                self.since.cleared = true;
                self.codes_cleared.get_or_insert(began);
                self.last_clear = Some((began, happening.done));
            }
            Event::Scan(scan) => self.scanned(began, &scan, rules),
        }
    }

    fn scanned(&mut self, at: Instant, scan: &ScanSeen, rules: &Rules) {
        if scan.any_code {
            self.since.saved = true;
            self.codes_saved.get_or_insert(at);
        }
        self.supply_codes_seen |= scan.supply_code;
        if scan.latched_code && self.last_clear.is_some() {
            (self.latched_seen, self.latched_standing) = (true, true);
            self.latched_cleared = None;
        }
        if scan.supply_code {
            self.last_supply_code = Some(at);
            return;
        }
        if self.latched_standing {
            self.latched_standing = false;
            self.latched_cleared = self.last_clear.map(|(began, _)| began);
        }
        let last_clear = self.last_clear.map(|(_, done)| done);
        // By orders: the supply put right and the codes, if there were any, cleared.
        let ordered = match (self.restored_done, last_clear) {
            (Some(restored), Some(cleared)) => Some((restored, cleared)),
            (Some(restored), None) if !self.since.saved => Some((restored, restored)),
            _ => None,
        };
        let quiet_from = self
            .last_supply_code
            .map_or(self.last_trouble, |shown| shown.max(self.last_trouble));
        let (well_since, clear_counts_from) = match ordered {
            Some((restored, cleared)) => (restored.max(cleared), restored),
            None => (quiet_from.max(last_clear.unwrap_or(quiet_from)), quiet_from),
        };
        let days = at - well_since >= rules.proven_days * DAY;
        // The counter runs since the last clear, and stands still at its end stop.
        let km = last_clear.is_some_and(|cleared| cleared >= clear_counts_from)
            && scan.km_since_clear.is_some_and(|km| km >= rules.proven_km);
        if scan.monitors_ready && (days || km) {
            self.proven = Some(at);
        }
    }

    /// What is to be done next, in the order of a recovery; a comeback begins it anew. `None` once the
    /// case is proven.
    pub fn next_step(&self) -> Option<RecoveryStep> {
        let done = self.since;
        if self.proven.is_some() {
            return None;
        }
        Some(if !done.restored {
            match (done.tested, done.found_fit) {
                (false, _) => RecoveryStep::ChargeAndTest,
                (true, false) => RecoveryStep::RestoreSupply,
                (true, true) => RecoveryStep::CheckCharging,
            }
        } else if !done.saved && !done.cleared {
            RecoveryStep::SaveCodes
        } else if !done.cleared && self.supply_codes_seen {
            RecoveryStep::ClearCodes
        } else if self.latched_standing {
            RecoveryStep::ProtectedClear
        } else {
            RecoveryStep::ProveByScan
        })
    }

    /// Whether codes are to be saved before anybody clears them.
    pub fn save_first(&self) -> bool {
        !self.since.saved && !self.since.cleared
    }
}

/// The cases of one vehicle, in order of time.
pub fn cases(happenings: &[Happening], rules: &Rules) -> Vec<Case> {
    let mut ordered = happenings.to_vec();
    ordered.sort_by_key(|happening| (happening.done, happening.event.place(), happening.began));
    let mut cases: Vec<Case> = Vec::new();
    for happening in &ordered {
        let opens = matches!(happening.event, Event::Flood | Event::NoStart);
        if opens
            && !cases
                .last()
                .is_some_and(|case| case.holds(happening.done, rules))
        {
            cases.push(Case::open(happening.began, happening.event == Event::Flood));
        }
        if let Some(case) = cases.last_mut().filter(|case| case.proven.is_none()) {
            case.step(happening, rules);
        }
    }
    cases
}
