//! The steps of recoveries, from happenings made by hand.

use voltwane::trade::derived_words::RecoveryStep;
use voltwane::trade::recovery::{Case, Event, Happening, Rules, ScanSeen, cases};

const HOUR: i64 = 3_600_000_000;
const DAY: i64 = 24 * HOUR;
const RULES: Rules = Rules {
    case_days: 30,
    proven_days: 14,
    proven_km: 500.0,
};

const TESTED: Event = Event::SupplyTested { fit: false };
const TESTED_FIT: Event = Event::SupplyTested { fit: true };

/// A happening on a day, over an hour after it began.
fn on(day: i64, event: Event) -> Happening {
    Happening {
        began: day * DAY,
        done: day * DAY + HOUR,
        event,
    }
}

fn scan(day: i64, supply_code: bool, latched_code: bool) -> Happening {
    let seen = ScanSeen {
        any_code: supply_code,
        supply_code,
        latched_code,
        monitors_ready: true,
        km_since_clear: None,
    };
    Happening {
        began: day * DAY,
        done: day * DAY,
        event: Event::Scan(seen),
    }
}

fn only(happenings: &[Happening]) -> Case {
    let found = cases(happenings, &RULES);
    assert_eq!(found.len(), 1, "{found:?}");
    found[0].clone()
}

#[test]
fn a_whole_case_has_every_step() {
    let case = only(&[
        on(2, Event::NoStart),
        scan(3, true, false),
        on(3, TESTED),
        on(4, Event::SupplyRestored),
        on(4, Event::CodesCleared),
        scan(6, true, true),
        on(7, Event::CodesCleared),
        scan(8, false, false),
        scan(30, false, false),
        on(40, TESTED),
    ]);
    assert!(!case.by_flood);
    assert_eq!(case.opened, 2 * DAY);
    assert_eq!(case.supply_tested, Some(3 * DAY));
    assert_eq!(case.supply_restored, Some(4 * DAY));
    assert_eq!(case.codes_saved, Some(3 * DAY));
    assert_eq!(case.codes_cleared, Some(4 * DAY));
    assert_eq!(case.latched_cleared, Some(7 * DAY));
    assert_eq!(case.proven, Some(30 * DAY));
    assert!(case.latched_seen && !case.latched_standing && !case.cleared_unsaved);
}

#[test]
fn proof_needs_time_and_monitors() {
    let well = [
        on(0, Event::Flood),
        scan(1, true, false),
        on(1, Event::SupplyRestored),
        on(1, Event::CodesCleared),
        scan(20, false, false),
    ];
    assert_eq!(only(&well).proven, Some(20 * DAY));
    let mut early = well.to_vec();
    early[4] = scan(10, false, false);
    assert_eq!(only(&early).proven, None);
    let mut unready = well.to_vec();
    if let Event::Scan(seen) = &mut unready[4].event {
        seen.monitors_ready = false;
    }
    assert_eq!(only(&unready).proven, None);
    let mut far = early.clone();
    if let Event::Scan(seen) = &mut far[4].event {
        seen.km_since_clear = Some(620.0);
    }
    assert_eq!(only(&far).proven, Some(10 * DAY));
}

/// Shops charge and clear without an order. A clean scan with monitors ready long after the last trouble
/// proves it all the same, and a distance only where it is known to be since then.
#[test]
fn what_no_order_tells_is_proven_by_a_quiet_time() {
    let quiet = [
        on(0, Event::Flood),
        scan(1, true, false),
        scan(20, false, false),
    ];
    assert_eq!(only(&quiet).proven, Some(20 * DAY));
    assert_eq!(
        only(&[quiet[0], quiet[1], scan(10, false, false)]).proven,
        None
    );
    // A code of the supply is trouble still there, and a no-start is trouble again.
    for trouble in [scan(15, true, false), on(15, Event::NoStart)] {
        let again = [quiet[0], quiet[1], trouble, quiet[2]];
        assert_eq!(only(&again).proven, None, "{trouble:?}");
        let later = [quiet[0], quiet[1], trouble, scan(31, false, false)];
        assert_eq!(only(&later).proven, Some(31 * DAY), "{trouble:?}");
    }
    // A counter at its end stop says nothing of a clear nobody wrote down, and enough of a known one.
    let mut end_stop = scan(10, false, false);
    if let Event::Scan(seen) = &mut end_stop.event {
        seen.km_since_clear = Some(65_535.0);
    }
    assert_eq!(only(&[quiet[0], quiet[1], end_stop]).proven, None);
    let cleared = [quiet[0], quiet[1], on(2, Event::CodesCleared), end_stop];
    assert_eq!(only(&cleared).proven, Some(10 * DAY));
}

#[test]
fn the_next_step_is_the_first_that_was_not_made() {
    let mut happened = vec![on(0, Event::NoStart)];
    let mut next = |happening: Option<Happening>, step: RecoveryStep| {
        happened.extend(happening);
        assert_eq!(only(&happened).next_step(), Some(step), "{happened:?}");
    };
    next(None, RecoveryStep::ChargeAndTest);
    next(Some(on(1, TESTED)), RecoveryStep::RestoreSupply);
    next(Some(on(2, TESTED_FIT)), RecoveryStep::CheckCharging);
    next(Some(on(3, Event::SupplyRestored)), RecoveryStep::SaveCodes);
    next(Some(scan(4, true, false)), RecoveryStep::ClearCodes);
    next(Some(on(5, Event::CodesCleared)), RecoveryStep::ProveByScan);
    next(Some(scan(6, true, true)), RecoveryStep::ProtectedClear);
    happened.extend([on(7, Event::CodesCleared), scan(40, false, false)]);
    assert_eq!(only(&happened).next_step(), None);
}

#[test]
fn a_comeback_moves_the_step_back() {
    let mut happened = vec![
        on(0, Event::NoStart),
        on(1, TESTED_FIT),
        on(2, Event::SupplyRestored),
        scan(2, true, false),
        on(3, Event::CodesCleared),
    ];
    assert_eq!(only(&happened).next_step(), Some(RecoveryStep::ProveByScan));
    happened.push(on(10, Event::NoStart));
    let back = only(&happened);
    assert_eq!((back.comebacks, back.last_trouble), (1, 10 * DAY + HOUR));
    assert_eq!(back.next_step(), Some(RecoveryStep::ChargeAndTest));
    assert_eq!(back.supply_restored, Some(2 * DAY), "the first is kept");
    // What was done before it proves nothing.
    happened.push(scan(18, false, false));
    assert_eq!(only(&happened).proven, None);
    happened.extend([
        on(19, TESTED),
        on(19, Event::SupplyRestored),
        on(22, Event::Flood),
    ]);
    let again = only(&happened);
    assert_eq!(again.comebacks, 2);
    assert_eq!(again.next_step(), Some(RecoveryStep::ChargeAndTest));
}

#[test]
fn without_codes_there_is_nothing_to_clear() {
    let case = only(&[
        on(0, Event::NoStart),
        on(1, Event::SupplyRestored),
        scan(2, false, false),
        scan(18, false, false),
    ]);
    assert_eq!((case.codes_saved, case.codes_cleared), (None, None));
    assert_eq!(case.proven, Some(18 * DAY));
}

#[test]
fn a_clear_before_any_scan_is_told() {
    let case = only(&[
        on(0, Event::NoStart),
        on(1, Event::CodesCleared),
        scan(3, true, false),
    ]);
    assert!(case.cleared_unsaved);
}

#[test]
fn a_flood_long_after_the_supply_was_restored_is_another_case() {
    let near = [
        on(0, Event::NoStart),
        on(1, Event::SupplyRestored),
        on(20, Event::Flood),
    ];
    assert_eq!(cases(&near, &RULES).len(), 1);
    let far = [
        on(0, Event::NoStart),
        on(1, Event::SupplyRestored),
        on(60, Event::Flood),
    ];
    let found = cases(&far, &RULES);
    assert_eq!(found.len(), 2);
    assert!(found[1].by_flood && found[1].supply_restored.is_none());
    let unrestored = [on(0, Event::NoStart), on(90, Event::Flood)];
    assert_eq!(cases(&unrestored, &RULES).len(), 1);
}

#[test]
fn the_order_of_rows_says_nothing() {
    let mut happenings = vec![
        on(2, Event::NoStart),
        scan(3, true, false),
        on(4, Event::SupplyRestored),
        on(4, Event::CodesCleared),
        scan(30, false, false),
    ];
    let forwards = cases(&happenings, &RULES);
    happenings.reverse();
    assert_eq!(cases(&happenings, &RULES), forwards);
    assert!(cases(&[], &RULES).is_empty());
    assert!(cases(&[scan(1, true, false)], &RULES).is_empty());
}
