//! What every command that writes a report can be told.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use lake::Lake;
use report::ReportError;
use report::pseudonym::Pseudonyms;
use report::style::{ReportStyle, Units};
use tables::Analysis;

/// Where a report goes and how it is told.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Where to write the report
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub out: PathBuf,

    /// Units of temperature and distance
    #[arg(long, value_enum, default_value = "metric", value_name = "UNITS")]
    units: UnitsArg,

    /// Name vehicles and people by pseudonyms and leave out what was typed, so that the report can
    /// leave the house
    ///
    /// Vehicles, units, technicians, shops and orders get pseudonyms; complaints and the like are
    /// left out, because they may name people. Depots, makes and models stay. The same key gives the same pseudonyms every week. It is LAKE/share.key, made on first use,
    /// or the environment's VOLTWANE_SHARE_KEY. Keep it: whoever has it can undo the pseudonyms.
    #[arg(long)]
    share: bool,

    /// Use the templates of this folder before the built-in ones of the same name
    #[arg(long, value_name = "DIR")]
    templates: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum UnitsArg {
    /// degrees Celsius, kilometres
    Metric,
    /// degrees Fahrenheit, miles
    Us,
}

impl ReportArgs {
    /// How the report is told.
    pub fn style(&self, lake: &Lake, analysis: &Analysis) -> Result<ReportStyle, ReportError> {
        let pseudonyms = match self.share {
            true => Some(Pseudonyms::find(lake.folder().as_deref())?),
            false => None,
        };
        Ok(ReportStyle {
            units: match self.units {
                UnitsArg::Metric => Units::Metric,
                UnitsArg::Us => Units::Us,
            },
            currency: analysis.settings().run.currency.clone(),
            templates: self.templates.clone(),
            limits: analysis.settings().limits.clone(),
            pseudonyms,
        })
    }
}
