//! The options: every value a user may set, with its default, its bound, its unit and its meaning.
//!
//! The text above a field is its documentation for users too. Bounds keep out what cannot be meant,
//! such as 70 for a share; within them every value is taken.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::Given;
use super::declare::Bound::{Above, Day, DepotLimits, Number, Text, Whole, YesNo};
use super::declare::{Opt, Shape};

/// A century of days, or a number of things that no fleet reaches.
const MANY_DAYS: i64 = 36_525;
const MANY: i64 = 1_000_000;
/// A size that no machine has: counted in bytes it still fits.
const VAST: i64 = 1 << 40;
const ENDLESS: f64 = f64::INFINITY;
/// Money beyond any battery, shop or vehicle.
const MUCH: f64 = 1e9;

options! {
    /// What a run looks at.
    run: Run {
        /// Chances are chances of failing within this time.
        horizon_days: i64 = 56, One, Whole(7, 730), "days";
        /// First day on which failures would have been recorded. Without it, each depot's first work
        /// order marks the start.
        observation_start: Option<NaiveDate> = None, One, Day, "";
        /// A call put down to the supply is a battery failure when the battery is replaced within this
        /// time of it; without a replacement in that time the battery was only discharged.
        trouble_days: i64 = 60, One, Whole(0, 730), "days";
        /// Whether failures that are only doubtful count; false shows what rests on them.
        count_doubtful: bool = true, One, YesNo, "";
        /// Work within this time of other work is about the same trouble.
        same_trouble_days: i64 = 14, One, Whole(0, 365), "days";
        /// A depot of which nothing was heard for longer than this is silent.
        silent_days: i64 = 14, One, Whole(0, MANY_DAYS), "days";
        /// Share of cohorts that may be called out of the ordinary by chance, among those called so.
        cohort_false_share: f64 = 0.05, One, Number(0.0, 0.99), "share";
        /// Currency symbol in reports.
        currency: String = "$".to_owned(), One, Text, "";
    }

    /// How battery tests are read.
    test: Test {
        /// A test older than this no longer speaks for the battery.
        test_stale_days: i64 = 365, One, Whole(1, MANY_DAYS), "days";
        /// Share of rated cranking ability below which a charged battery is worn. Common practice in
        /// replacement programmes, no source.
        worn_below: f64 = 0.7, One, Number(0.05, 1.0), "share of the rating";
        /// A battery is new for this long: its readings are near its rating. Common practice, no source.
        new_battery_days: i64 = 120, One, Whole(0, 730), "days";
        /// Tests of one battery by two instruments tell them apart where they lie in the same stretch of
        /// this length, in which it wears little. Common practice, no source.
        scale_days: i64 = 91, One, Whole(1, 730), "days";
    }

    /// What counts as a flood of codes.
    flood: Flood {
        /// Scans of one vehicle at most this far apart are one session.
        session_gap_hours: i64 = 12, One, Whole(1, 8_760), "hours";
        /// Fewer new codes than this are never a flood: three modules that each miss the other two
        /// show this many.
        flood_min_codes: i64 = 6, One, Whole(1, MANY), "codes";
        /// New codes from fewer modules than this are never a flood: two may share one wire.
        flood_min_modules: i64 = 3, One, Whole(1, MANY), "modules";
        /// Share of floods that may be false among those reported in a week.
        flood_false_share: f64 = 0.05, One, Number(0.0, 0.99), "share";
        /// Sessions that what is usual for a model must rest on; below, what is usual for the scan's
        /// breadth in all models is taken.
        flood_baseline_sessions: i64 = 60, One, Whole(1, MANY), "sessions";
        /// A work order or test this near a flood is evidence about it.
        flood_evidence_days: i64 = 7, One, Whole(0, 365), "days";
        /// A supply below this during a scan speaks for trouble with it: the rest voltage of an empty
        /// flooded battery (the charge table printed as "Source: BCI"; 11.80 V for AGM).
        low_supply_v: f64 = 11.89, One, Number(6.0, 13.0), "V";
    }

    /// When a vehicle counts as well again.
    recovery: Recovery {
        /// Time without the trouble coming back before a recovery is proven.
        proven_days: i64 = 30, One, Whole(0, 3_650), "days";
        /// Or distance, whichever comes first.
        proven_km: f64 = 1_500.0, One, Number(0.0, 1e6), "km";
        /// Clears with a scan before and after that a code must have seen before it is called latched.
        latched_clears: i64 = 5, One, Whole(1, MANY), "clears";
        /// Share of plain clears that a latched code survives at the least.
        latched_share: f64 = 0.05, One, Number(0.0, 1.0), "share";
        /// A new flood or no-start this long after the supply was restored is a case of its own.
        case_days: i64 = 30, One, Whole(0, 3_650), "days";
        /// A recovery that nobody settled in this time after its last trouble is closed as not followed
        /// up. A round figure, no source.
        follow_up_days: i64 = 182, One, Whole(1, MANY_DAYS), "days";
    }

    /// When a repair counts as having come back.
    comeback: Comeback {
        /// Trouble of the same kind within this time of a repair is that repair come back.
        comeback_days: i64 = 30, One, Whole(1, 3_650), "days";
        /// And within this time it is a late comeback.
        comeback_late_days: i64 = 90, One, Whole(1, 3_650), "days";
        /// Beyond this distance since the repair it is new trouble.
        comeback_km: f64 = 5_000.0, One, Number(0.0, 1e6), "km";
        /// Rates are told of hand-overs in this time, and against as long a time before.
        rate_days: i64 = 364, One, Whole(28, 3_650), "days";
        /// An hour of labour on an order that came back. The default is a round figure to be edited, no
        /// source.
        labour_per_hour: f64 = 100.0, One, Number(0.0, MUCH), "money";
        /// Time a new battery is under warranty.
        warranty_months: i64 = 24, One, Whole(0, 240), "months";
    }

    /// How the risk model is fitted.
    risk: Risk {
        /// Time between two looks at a battery.
        row_weeks: i64 = 4, One, Whole(1, 104), "weeks";
        /// Looks without a failure that are drawn for the fit, where there are more.
        sample_rows: i64 = 100_000, One, Whole(1, 100_000_000), "looks";
        /// With fewer failures than this the fit leans on the prior at a fixed penalty.
        prior_failures: i64 = 30, One, Whole(0, MANY), "failures";
        /// The penalty; without it, cross-validation chooses one.
        ridge: Option<f64> = None, One, Above(0.0, 1e9), "";
    }

    /// What things cost, in the fleet's currency. The defaults are round figures to be edited, no
    /// source.
    cost: Cost {
        /// A planned replacement: part, labour, bay. The default is a round figure to be edited.
        planned_replacement: f64 = 260.0, One, Above(0.0, MUCH), "money";
        /// The same by chemistry, where it is not as above. The defaults are round figures to be edited.
        planned_by_chemistry: BTreeMap<String, f64> = usual_by_chemistry(), ByName, Above(0.0, MUCH), "money";
        /// A failure on the road or in the yard: tow, lost day, hurried part and labour. The default is
        /// a round figure to be edited.
        unplanned_failure: f64 = 1_150.0, One, Above(0.0, MUCH), "money";
        /// One battery test. The default is a round figure to be edited.
        battery_test: f64 = 18.0, One, Number(0.0, MUCH), "money";
        /// Bringing a vehicle in that is not due: the way there and back. The default is a round figure
        /// to be edited.
        special_visit_trip: f64 = 15.0, One, Number(0.0, MUCH), "money";
        /// And the half-day it does not work. The default is a round figure to be edited.
        special_visit_half_day: f64 = 30.0, One, Number(0.0, MUCH), "money";
        /// Mean life of a flooded battery, to price new life while few failures are on record; other
        /// chemistries in proportion to their usual lives. Starter batteries gave 55 months in 2010
        /// (Battery Council International, failure modes study of 2010, as commonly quoted).
        battery_life_months: f64 = 55.0, One, Number(1.0, 600.0), "months";
    }

    /// What a depot can do in a week, and what is worth doing.
    plan: Plan {
        /// Special visits a depot can take in a week, where it is not named below.
        bays_per_week: i64 = 6, One, Whole(0, MANY), "visits";
        /// Money a depot may spend on replacements in a week, where it is not named below; inf for no
        /// limit.
        budget_per_week: f64 = 2_500.0, One, Number(0.0, ENDLESS), "money";
        /// Tests a depot can make on special visits in a week.
        tests_per_week: i64 = 10, One, Whole(0, MANY), "tests";
        /// A special visit is asked for where it saves at least this. A quarter of an hour of a
        /// planner's and a driver's time; common practice, no source.
        least_saving: f64 = 10.0, One, Number(0.0, MUCH), "money";
        /// Depots with limits of their own; what is not given is as for every depot.
        depots: BTreeMap<String, DepotPlan> = BTreeMap::new(), ByName, DepotLimits, "";
    }

    /// What a vehicle for sale is held against. The costs are round figures to be edited, no source.
    screen: Screen {
        /// Codes were cleared shortly before a scan that counts at most so many warm-ups since. Common
        /// practice, no source.
        few_warm_ups: i64 = 10, One, Whole(0, 255), "warm-ups";
        /// Or at most so far since.
        few_km: f64 = 160.0, One, Number(0.0, 1e6), "km";
        /// Floods and reports of trouble older than this no longer speak for the vehicle.
        lookback_days: i64 = 182, One, Whole(1, MANY_DAYS), "days";
        /// Charging a battery fully and testing it again.
        recharge: f64 = 45.0, One, Number(0.0, MUCH), "money";
        /// Finding the cause of a code.
        diagnosis: f64 = 150.0, One, Number(0.0, MUCH), "money";
        /// Clearing what an ordinary clear leaves.
        protected_clear: f64 = 120.0, One, Number(0.0, MUCH), "money";
        /// Replacing a module, with its programming.
        module_replacement: f64 = 900.0, One, Number(0.0, MUCH), "money";
        /// Work on a traction battery.
        traction_repair: f64 = 2_400.0, One, Number(0.0, MUCH), "money";
    }

    /// Limits that keep a damaged or hostile file, or a query gone astray, from taking the machine. The
    /// defaults are round figures, far above what honest dumps of a fleet of 20,000 take. Past one of
    /// them the run says which, in a line, and goes on without what went past it, or ends.
    limits: Limits {
        /// Memory the whole program may hold; without it, half of what the machine, or the container it
        /// runs in, has. Three eighths are for queries at work and a quarter for derived tables; beyond
        /// those they use the disk. Past the whole the run ends. Looked at where the system tells (Linux).
        memory_mb: Option<i64> = None, One, Whole(128, VAST), "MiB";
        /// Time a query of `voltwane sql` may take, with the tables made for it.
        query_seconds: i64 = 900, One, Whole(1, VAST), "seconds";
        /// Rows that an answer of `voltwane sql` may have.
        answer_rows: i64 = 1_000_000, One, Whole(1, VAST), "rows";
        /// Size that an answer of `voltwane sql` may have.
        answer_mb: i64 = 512, One, Whole(1, VAST), "MiB";
        /// Operators and brackets that may stand within each other in one query; far beyond the bound
        /// the planner's stack would overflow.
        expression_depth: i64 = 400, One, Whole(10, 800), "levels";
        /// Steps that a report's template may take, loops counted each time round.
        template_steps: i64 = 20_000_000, One, Whole(1_000, VAST), "steps";
        /// What one compressed file may unpack to, all its members together.
        archive_mb: i64 = 16_384, One, Whole(1, VAST), "MiB";
        /// Members that an archive or a workbook may have.
        archive_members: i64 = 10_000, One, Whole(1, VAST), "members";
        /// Size of a workbook, which is read in memory.
        workbook_mb: i64 = 512, One, Whole(1, VAST), "MiB";
        /// What a workbook's members may unpack to, all together.
        workbook_unpacked_mb: i64 = 1_024, One, Whole(1, VAST), "MiB";
        /// Cells between the first and the last of each sheet, blank ones included, all sheets together.
        workbook_cells: i64 = 33_554_432, One, Whole(1, VAST), "cells";
        /// What a group of rows of a Parquet file may unpack to.
        row_group_mb: i64 = 1_024, One, Whole(1, VAST), "MiB";
        /// Length of a line or of a row's texts; a longer one goes to quarantine.
        line_kb: i64 = 1_024, One, Whole(1, MANY), "KiB";
        /// Objects within each other in a line of JSON; a line of more goes to quarantine.
        json_depth: i64 = 32, One, Whole(1, 100), "levels";
    }
}

fn usual_by_chemistry() -> BTreeMap<String, f64> {
    [
        ("flooded", 220.0),
        ("AGM", 320.0),
        ("gel", 340.0),
        ("lithium", 900.0),
    ]
    .into_iter()
    .map(|(chemistry, cost)| (chemistry.to_owned(), cost))
    .collect()
}

/// Limits of one depot; what is not given is as for every depot.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct DepotPlan {
    pub bays_per_week: Option<i64>,
    pub budget_per_week: Option<f64>,
    pub tests_per_week: Option<i64>,
}

/// What a depot can do in a week.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeekLimits {
    pub bays: usize,
    pub budget: f64,
    pub tests: usize,
}

impl Cost {
    /// What a planned replacement costs for a battery of this chemistry, or of one not known.
    pub fn planned(&self, chemistry: Option<&str>) -> f64 {
        self.planned_by_chemistry
            .get(chemistry.unwrap_or("not known"))
            .copied()
            .unwrap_or(self.planned_replacement)
    }

    /// What it costs to bring in a vehicle that is not due.
    pub fn special_visit(&self) -> f64 {
        self.special_visit_trip + self.special_visit_half_day
    }
}

impl Plan {
    /// Special visits a depot can take in a week, and the money for replacements.
    pub fn limits(&self, depot: &str) -> (usize, f64) {
        let limits = self.week_limits(depot);
        (limits.bays, limits.budget)
    }

    /// All that limits a depot's week.
    pub fn week_limits(&self, depot: &str) -> WeekLimits {
        let own = self.depots.get(depot).cloned().unwrap_or_default();
        let count =
            |own: Option<i64>, usual: i64| usize::try_from(own.unwrap_or(usual)).unwrap_or(0);
        WeekLimits {
            bays: count(own.bays_per_week, self.bays_per_week),
            budget: own.budget_per_week.unwrap_or(self.budget_per_week),
            tests: count(own.tests_per_week, self.tests_per_week),
        }
    }
}
