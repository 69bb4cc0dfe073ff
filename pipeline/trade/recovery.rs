//! A vehicle's way back after its 12 V supply gave out: which happenings belong to one case, and when
//! each step of it was made.
//!
//! A case opens with a flood put down to the supply or with a vehicle that did not start. A further
//! one belongs to the open case unless the supply had been restored [`Rules::case_days`] before. Each
//! step is dated by the first happening of its kind after the opening. Latched codes count as cleared
//! with the last clear after which no scan shows any. The case is proven, and over, by the first scan
//! that shows no code of the supply, with all monitors ready, long enough after the supply was
//! restored and the codes were cleared; where no scan showed a code there was nothing to clear.
//!
//! Pure; nothing here fails. Which codes are of the supply, and which of them latched, is left to the
//! caller.

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
    SupplyTested,
    SupplyRestored,
    CodesCleared,
    Scan(ScanSeen),
}

impl Event {
    fn place(&self) -> u8 {
        match self {
            Event::Flood => 0,
            Event::NoStart => 1,
            Event::SupplyTested => 2,
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
    restored_done: Option<Instant>,
    last_clear: Option<(Instant, Instant)>,
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
            Event::Flood | Event::NoStart => {}
            Event::SupplyTested => {
                self.supply_tested.get_or_insert(began);
            }
            Event::SupplyRestored => {
                self.supply_restored.get_or_insert(began);
                self.restored_done.get_or_insert(happening.done);
            }
            Event::CodesCleared => {
                self.cleared_unsaved |= self.codes_cleared.is_none() && self.codes_saved.is_none();
                self.codes_cleared.get_or_insert(began);
                self.last_clear = Some((began, happening.done));
            }
            Event::Scan(scan) => self.scanned(began, &scan, rules),
        }
    }

    fn scanned(&mut self, at: Instant, scan: &ScanSeen, rules: &Rules) {
        if scan.any_code {
            self.codes_saved.get_or_insert(at);
        }
        self.supply_codes_seen |= scan.supply_code;
        if scan.latched_code && self.last_clear.is_some() {
            (self.latched_seen, self.latched_standing) = (true, true);
            self.latched_cleared = None;
        }
        if scan.supply_code {
            return;
        }
        if self.latched_standing {
            self.latched_standing = false;
            self.latched_cleared = self.last_clear.map(|(began, _)| began);
        }
        let (Some(restored), Some(well_since)) = (self.restored_done, self.well_since()) else {
            return;
        };
        let days = at - well_since.max(restored) >= rules.proven_days * DAY;
        let km =
            well_since >= restored && scan.km_since_clear.is_some_and(|km| km >= rules.proven_km);
        if scan.monitors_ready && (days || km) {
            self.proven = Some(at);
        }
    }

    /// When the codes were gone: with the last clear, or with the supply where there were none.
    fn well_since(&self) -> Option<Instant> {
        match self.last_clear {
            Some((_, done)) => Some(done),
            None if self.codes_saved.is_some() => None,
            None => self.restored_done,
        }
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
