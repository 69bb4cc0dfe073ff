//! The one configuration: typed, every value with a documented default, all of it optional.
//!
//! It is read from `voltwane.toml` in the lake's folder or from the file the user names. A key that
//! is not known is an error, so a misspelt one does not silently keep its default. Every plain value
//! is also a parameter of the SQL queries under its own name (`horizon_days` is `$horizon_days`).

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Why a configuration could not be used.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    #[error("the configuration {path} could not be read: {source}")]
    Read {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("the configuration {path} is not right: {source}")]
    Parse {
        path: PathBuf,
        #[source]
        source: Box<toml::de::Error>,
    },
    #[error("the configuration's {key} is {value}: {must}")]
    Value {
        key: &'static str,
        value: String,
        must: &'static str,
    },
}

/// Every setting of a run.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    pub run: Run,
    pub test: Test,
    pub flood: Flood,
    pub recovery: Recovery,
    pub comeback: Comeback,
    pub risk: Risk,
    pub cost: Cost,
    pub plan: Plan,
    pub screen: Screen,
}

/// What a run looks at.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Run {
    /// Chances are chances of failing within this many days.
    pub horizon_days: i64,
    /// First day on which failures would have been recorded. Without it, each depot's first work
    /// order marks the start.
    pub observation_start: Option<NaiveDate>,
    /// A call put down to the supply is a battery failure when the battery is replaced within this
    /// many days of it; without a replacement in that time the battery was only discharged.
    pub trouble_days: i64,
    /// Whether failures that are only doubtful count; false shows what rests on them.
    pub count_doubtful: bool,
    /// Work within this many days of another is about the same trouble.
    pub same_trouble_days: i64,
    /// A depot of which nothing was heard for longer than this is silent.
    pub silent_days: i64,
    /// Share of cohorts that may be called out of the ordinary by chance, among those called so.
    pub cohort_false_share: f64,
    /// Currency symbol in reports.
    pub currency: String,
}

impl Default for Run {
    fn default() -> Self {
        Self {
            horizon_days: 56,
            observation_start: None,
            trouble_days: 60,
            count_doubtful: true,
            same_trouble_days: 14,
            silent_days: 14,
            cohort_false_share: 0.05,
            currency: "$".to_owned(),
        }
    }
}

/// How battery tests are read.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Test {
    /// A test older than this no longer speaks for the battery.
    pub test_stale_days: i64,
    /// Share of rated cranking ability below which a charged battery is worn. Common practice in
    /// replacement programmes, no source.
    pub worn_below: f64,
}

impl Default for Test {
    fn default() -> Self {
        Self {
            test_stale_days: 365,
            worn_below: 0.7,
        }
    }
}

/// What counts as a flood of codes.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Flood {
    /// Scans of one vehicle at most this far apart are one session.
    pub session_gap_hours: i64,
    /// Fewer distinct codes than this are never a flood.
    pub flood_min_codes: i64,
    /// Codes from fewer modules than this are never a flood.
    pub flood_min_modules: i64,
    /// Share of floods that may be false among those reported in a week.
    pub flood_false_share: f64,
    /// Sessions that what is usual for a model must rest on; below, what is usual for the scan's
    /// breadth in all models is taken.
    pub flood_baseline_sessions: i64,
    /// A work order or test this near a flood is evidence about it.
    pub flood_evidence_days: i64,
}

impl Default for Flood {
    fn default() -> Self {
        Self {
            session_gap_hours: 12,
            flood_min_codes: 6,
            flood_min_modules: 3,
            flood_false_share: 0.05,
            flood_baseline_sessions: 60,
            flood_evidence_days: 7,
        }
    }
}

/// When a vehicle counts as well again.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Recovery {
    /// Days without the trouble coming back before a recovery is proven.
    pub proven_days: i64,
    /// Or kilometres, whichever comes first.
    pub proven_km: f64,
    /// Clears with a scan before and after that a code must have seen before it is called latched.
    pub latched_clears: i64,
    /// Share of plain clears that a latched code survives at the least.
    pub latched_share: f64,
    /// A new flood or no-start this long after the supply was restored is a case of its own.
    pub case_days: i64,
}

impl Default for Recovery {
    fn default() -> Self {
        Self {
            proven_days: 30,
            proven_km: 1_500.0,
            latched_clears: 5,
            latched_share: 0.05,
            case_days: 30,
        }
    }
}

/// When a repair counts as having come back.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Comeback {
    pub comeback_days: i64,
    pub comeback_late_days: i64,
    pub comeback_km: f64,
    /// Months a new battery is under warranty.
    pub warranty_months: i64,
}

impl Default for Comeback {
    fn default() -> Self {
        Self {
            comeback_days: 30,
            comeback_late_days: 90,
            comeback_km: 5_000.0,
            warranty_months: 24,
        }
    }
}

/// How the risk model is fitted.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Risk {
    /// Weeks between two looks at a battery.
    pub row_weeks: i64,
    /// Looks without a failure that are drawn for the fit, where there are more.
    pub sample_rows: i64,
    /// With fewer failures than this the fit leans on the prior at a fixed penalty.
    pub prior_failures: i64,
    /// The penalty; without it, cross-validation chooses one.
    pub ridge: Option<f64>,
}

impl Default for Risk {
    fn default() -> Self {
        Self {
            row_weeks: 4,
            sample_rows: 100_000,
            prior_failures: 30,
            ridge: None,
        }
    }
}

/// What things cost, in the fleet's currency. The defaults are round figures to be edited, no
/// source.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Cost {
    /// A planned replacement: part, labour, bay.
    pub planned_replacement: f64,
    /// The same by chemistry, where it is not as above.
    pub planned_by_chemistry: BTreeMap<String, f64>,
    /// A failure on the road or in the yard: tow, lost day, hurried part and labour.
    pub unplanned_failure: f64,
    /// One battery test.
    pub battery_test: f64,
    /// Life a battery is expected to give, to value what is thrown away by replacing early, months.
    pub battery_life_months: f64,
}

impl Cost {
    /// What a planned replacement costs for a battery of this chemistry, or of one not known.
    pub fn planned(&self, chemistry: Option<&str>) -> f64 {
        self.planned_by_chemistry
            .get(chemistry.unwrap_or("not known"))
            .copied()
            .unwrap_or(self.planned_replacement)
    }
}

impl Default for Cost {
    fn default() -> Self {
        Self {
            planned_replacement: 260.0,
            planned_by_chemistry: [
                ("flooded", 220.0),
                ("AGM", 320.0),
                ("gel", 340.0),
                ("lithium", 900.0),
            ]
            .into_iter()
            .map(|(chemistry, cost)| (chemistry.to_owned(), cost))
            .collect(),
            unplanned_failure: 1_150.0,
            battery_test: 18.0,
            battery_life_months: 60.0,
        }
    }
}

/// What a depot can do in a week.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Plan {
    /// Replacements a depot can make in a week, where it is not named below.
    pub bays_per_week: i64,
    /// Money a depot may spend on replacements in a week, where it is not named below.
    pub budget_per_week: f64,
    /// A replacement that does not pay yet is looked at again at the next service where the chance is
    /// this share or more of the one it pays from. A round figure, no source.
    pub nearly_pays: f64,
    /// Tests a depot can make in a week.
    pub tests_per_week: i64,
    /// Depots with limits of their own.
    pub depots: BTreeMap<String, DepotPlan>,
}

impl Default for Plan {
    fn default() -> Self {
        Self {
            bays_per_week: 6,
            budget_per_week: 2_500.0,
            nearly_pays: 0.7,
            tests_per_week: 10,
            depots: BTreeMap::new(),
        }
    }
}

impl Plan {
    /// Replacements a depot can make in a week, and the money for them.
    pub fn limits(&self, depot: &str) -> (usize, f64) {
        let own = self.depots.get(depot);
        let bays = own
            .and_then(|own| own.bays_per_week)
            .unwrap_or(self.bays_per_week);
        let budget = own
            .and_then(|own| own.budget_per_week)
            .unwrap_or(self.budget_per_week);
        (usize::try_from(bays).unwrap_or(0), budget)
    }
}

/// Limits of one depot; what is not given is as for every depot.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct DepotPlan {
    pub bays_per_week: Option<i64>,
    pub budget_per_week: Option<f64>,
}

/// What a vehicle for sale is held against. The costs are round figures to be edited, no source.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Screen {
    /// Codes were cleared shortly before a scan that counts at most so many warm-ups since. Common
    /// practice, no source.
    pub few_warm_ups: i64,
    /// Or at most so many kilometres since.
    pub few_km: f64,
    /// Floods and reports of trouble older than this no longer speak for the vehicle.
    pub lookback_days: i64,
    /// Charging a battery fully and testing it again.
    pub recharge: f64,
    /// Finding the cause of a code.
    pub diagnosis: f64,
    /// Clearing what an ordinary clear leaves.
    pub protected_clear: f64,
    /// Replacing a module, with its programming.
    pub module_replacement: f64,
    /// Work on a traction battery.
    pub traction_repair: f64,
}

impl Default for Screen {
    fn default() -> Self {
        Self {
            few_warm_ups: 10,
            few_km: 160.0,
            lookback_days: 182,
            recharge: 45.0,
            diagnosis: 150.0,
            protected_clear: 120.0,
            module_replacement: 900.0,
            traction_repair: 2_400.0,
        }
    }
}

impl Settings {
    /// Reads a configuration file.
    pub fn read(path: &Path) -> Result<Self, SettingsError> {
        let text = std::fs::read_to_string(path).map_err(|source| SettingsError::Read {
            path: path.to_owned(),
            source,
        })?;
        let settings: Self = toml::from_str(&text).map_err(|source| SettingsError::Parse {
            path: path.to_owned(),
            source: Box::new(source),
        })?;
        settings.validate()?;
        Ok(settings)
    }

    /// The named file, else the lake's own `voltwane.toml`, else the defaults.
    pub fn find(named: Option<&Path>, lake_folder: Option<&Path>) -> Result<Self, SettingsError> {
        if let Some(path) = named {
            return Self::read(path);
        }
        match lake_folder.map(|folder| folder.join("voltwane.toml")) {
            Some(path) if path.is_file() => Self::read(&path),
            _ => Ok(Self::default()),
        }
    }

    fn validate(&self) -> Result<(), SettingsError> {
        let positive = [
            ("run.horizon_days", self.run.horizon_days as f64),
            ("risk.row_weeks", self.risk.row_weeks as f64),
            ("risk.sample_rows", self.risk.sample_rows as f64),
            ("risk.ridge", self.risk.ridge.unwrap_or(1.0)),
            ("test.test_stale_days", self.test.test_stale_days as f64),
            (
                "flood.session_gap_hours",
                self.flood.session_gap_hours as f64,
            ),
            ("cost.planned_replacement", self.cost.planned_replacement),
            ("cost.unplanned_failure", self.cost.unplanned_failure),
            ("cost.battery_life_months", self.cost.battery_life_months),
        ];
        let by_chemistry = self.cost.planned_by_chemistry.values();
        let positive = positive
            .into_iter()
            .chain(by_chemistry.map(|cost| ("cost.planned_by_chemistry", *cost)));
        for (key, value) in positive {
            if value.is_nan() || value <= 0.0 {
                return Err(SettingsError::Value {
                    key,
                    value: value.to_string(),
                    must: "it must be greater than zero",
                });
            }
        }
        let shares = [
            ("run.cohort_false_share", self.run.cohort_false_share),
            ("flood.flood_false_share", self.flood.flood_false_share),
            ("plan.nearly_pays", self.plan.nearly_pays),
        ];
        for (key, value) in shares {
            if !(0.0..1.0).contains(&value) {
                return Err(SettingsError::Value {
                    key,
                    value: value.to_string(),
                    must: "it must lie between 0 and 1",
                });
            }
        }
        Ok(())
    }
}
