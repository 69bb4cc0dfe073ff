//! The true steps of every recovery, found from what the vehicle left in the dumps.
//!
//! A case opens with the first scan that shows a supply flood, or with a no-start, jump start or tow
//! that is not put down to something other than the supply. A further one belongs to the open case
//! unless the case is proven or its supply was restored more than 30 days before. Each step is the
//! first after the opening and not after the proof; latched codes count as cleared with the last clear
//! after which no scan shows them, and have no row if none stayed. Proven is the first scan, after the
//! supply was restored and the codes, if there were any, were cleared, that shows no code of the
//! supply, all monitors ready, and 14 days since both or 500 km since the clear. Where no order tells of
//! one of them, it is the first such scan 14 days after the last trouble and the last code of the supply, or
//! 500 km after a clear that followed both. Trouble after a restored supply begins the steps anew.
//!
//! The rules are those of `trade::recovery`, said a second time on purpose: they are found here from what
//! was hidden (why codes flooded, which of them were latched), so that cases made of records alone can be
//! held against them. A truth that called the function it is to try could not find it wrong.
//!
//! Nothing here fails.

use super::facts::{Fact, Minute, Scan, Work};
use super::life::Life;
use trade::derived_words::FloodCause;
use trade::words::{Operation, OrderCause};

/// Days after a restored supply in which a new flood still belongs to the old case.
const CASE_DAYS: i64 = 30;
/// A scan proves a recovery after so long or so far since the clear.
pub const PROVEN_AFTER_DAYS: i64 = 14;
pub const PROVEN_AFTER_KM: f64 = 500.0;

/// One step of a recovery.
#[derive(Debug, PartialEq)]
pub struct Step {
    pub case: usize,
    pub what: &'static str,
    pub at: Minute,
    pub id: String,
}

/// A case while its steps are being found.
#[derive(Debug, Default)]
struct Case {
    steps: Vec<Step>,
    restored: Option<Minute>,
    /// The last flood or no-start, and the last scan with a code of the supply.
    last_trouble: Minute,
    last_supply_code: Option<Minute>,
    /// Codes were shown since the opening, or since the trouble came back.
    shown_since: bool,
    /// The last clear: when, where its order began, its order.
    last_clear: Option<(Minute, Minute, String)>,
    latched_seen: bool,
    latched_gone: bool,
    proven: bool,
}

impl Case {
    fn step(&mut self, case: usize, what: &'static str, at: Minute, id: &str) {
        if self.steps.iter().all(|step| step.what != what) {
            self.steps.push(Step {
                case,
                what,
                at,
                id: id.to_owned(),
            });
        }
    }

    fn trouble_again(&mut self, at: Minute) {
        self.last_trouble = at;
        if self.restored.take().is_some() {
            self.last_clear = None;
            self.shown_since = false;
        }
    }

    fn belongs(&self, at: Minute) -> bool {
        !self.proven
            && self
                .restored
                .is_none_or(|restored| at - restored <= CASE_DAYS * 1440)
    }
}

/// The steps of every case of a vehicle, by the rules at the top of this file.
pub fn recoveries(life: &Life) -> Vec<Step> {
    let supply_scans: Vec<&str> = life
        .floods
        .iter()
        .filter(|flood| flood.cause == FloodCause::Supply)
        .flat_map(|flood| flood.scan_ids.iter().map(String::as_str))
        .collect();
    let mut facts: Vec<(Minute, &Fact)> = life
        .facts
        .iter()
        .filter_map(|fact| done(fact).map(|at| (at, fact)))
        .collect();
    facts.sort_by_key(|(at, _)| *at);

    let mut steps = Vec::new();
    let mut open: Option<Case> = None;
    let mut cases = 0;
    for (at, fact) in facts {
        if let Some((began, id)) = trigger(fact, &supply_scans) {
            match open.as_mut().filter(|case| case.belongs(at)) {
                Some(case) => case.trouble_again(at),
                None => {
                    steps.extend(open.take().into_iter().flat_map(|case| case.steps));
                    cases += 1;
                    let mut case = Case {
                        last_trouble: at,
                        ..Case::default()
                    };
                    case.step(cases, "opened", began, id);
                    open = Some(case);
                }
            }
        }
        let Some(case) = open.as_mut().filter(|case| !case.proven) else {
            continue;
        };
        match fact {
            Fact::Test(test) => case.step(cases, "supply tested", test.at, ""),
            Fact::Work(work) => work_step(case, cases, work),
            Fact::Scan(scan) => scan_step(case, cases, scan),
            Fact::Snapshot(_) => {}
        }
    }
    steps.extend(open.into_iter().flat_map(|case| case.steps));
    steps
}

fn done(fact: &Fact) -> Option<Minute> {
    match fact {
        Fact::Test(test) => Some(test.at),
        Fact::Scan(scan) => Some(scan.at),
        Fact::Work(work) => Some(work.done),
        Fact::Snapshot(_) => None,
    }
}

/// When what opens a case began, and its number.
fn trigger<'f>(fact: &'f Fact, supply_scans: &[&str]) -> Option<(Minute, &'f str)> {
    match fact {
        Fact::Scan(scan) if supply_scans.contains(&scan.scan_id.as_str()) => {
            Some((scan.at, &scan.scan_id))
        }
        Fact::Work(work) => {
            let stranded = matches!(
                work.operation,
                Operation::NoStartCall | Operation::JumpStart | Operation::Tow
            );
            let of_supply = matches!(work.cause, None | Some(OrderCause::Supply));
            (stranded && of_supply).then_some((work.opened, work.order_no.as_str()))
        }
        _ => None,
    }
}

fn work_step(case: &mut Case, number: usize, work: &Work) {
    match work.operation {
        Operation::BatteryReplaced | Operation::BatteryCharged => {
            case.restored.get_or_insert(work.done);
            case.step(number, "supply restored", work.opened, &work.order_no);
        }
        Operation::CodesCleared | Operation::ProtectedClear => {
            case.last_clear = Some((work.done, work.opened, work.order_no.clone()));
            case.step(number, "codes cleared", work.opened, &work.order_no);
        }
        _ => {}
    }
}

fn scan_step(case: &mut Case, number: usize, scan: &Scan) {
    if !scan.codes.is_empty() {
        case.shown_since = true;
        case.step(number, "codes saved", scan.at, &scan.scan_id);
    }
    if scan.codes.iter().any(|code| code.of_supply) {
        case.last_supply_code = Some(scan.at);
        // Latched is what a clear left behind, not what was there before.
        if case.last_clear.is_some() && scan.codes.iter().any(|code| code.latched) {
            case.latched_seen = true;
            case.latched_gone = false;
            case.steps
                .retain(|step| step.what != "latched codes cleared");
        }
        return;
    }
    if let Some((_, began, order_no)) = case.last_clear.clone()
        && case.latched_seen
        && !case.latched_gone
    {
        case.latched_gone = true;
        case.step(number, "latched codes cleared", began, &order_no);
    }
    let last_clear = case.last_clear.as_ref().map(|(done, _, _)| *done);
    let quiet_from = case
        .last_supply_code
        .map_or(case.last_trouble, |shown| shown.max(case.last_trouble));
    let (well_since, clear_counts_from) = match (case.restored, last_clear) {
        (Some(restored), Some(cleared)) => (restored.max(cleared), restored),
        // Without codes there is nothing to clear, and the supply alone has to hold.
        (Some(restored), None) if !case.shown_since => (restored, restored),
        (_, cleared) => (quiet_from.max(cleared.unwrap_or(quiet_from)), quiet_from),
    };
    let ready = scan
        .monitors
        .is_none_or(|(ready, supported)| ready == supported);
    let long_enough = scan.at - well_since >= PROVEN_AFTER_DAYS * 1440
        || (scan.km_since_clear >= PROVEN_AFTER_KM
            && last_clear.is_some_and(|cleared| cleared >= clear_counts_from));
    if ready && long_enough {
        case.proven = true;
        case.step(number, "proven", scan.at, &scan.scan_id);
    }
}
