//! A mapping's `form` and `[report]`: what a text is that has no header.

use regex::Regex;
use toml::de::DeTable;

use super::mapping_file::MappingFile;
use super::shop_mapping::{ColumnRule, Mapping, TextForm};
use crate::error::MappingError;
use crate::fields::dump::DumpKind;
use crate::forms::report_text::ReportPattern;
use crate::forms::scan_log;

const REPORT_KEYS: &[&str] = &["starts", "lines", "row"];

impl<'t> MappingFile<'t> {
    /// The patterns of a report, or a diagnostic log; their columns are fields by name where no
    /// `[columns]` says otherwise.
    pub fn form(&self, table: &DeTable<'t>, mapping: &mut Mapping) -> Result<(), MappingError> {
        let report = self.find(table, "report");
        let columns = match (self.text_of(table, "form")?, report) {
            (None, None) | (Some((_, "table")), None) => return Ok(()),
            (None | Some((_, "report")), Some((at, settings))) => {
                let Some(settings) = settings.as_table() else {
                    return Err(self.error(
                        at,
                        "report",
                        "is no table".to_owned(),
                        "make it a [report]",
                    ));
                };
                let pattern = self.report(at, settings)?;
                let columns = pattern.columns();
                mapping.form = TextForm::Report(pattern);
                columns
            }
            (Some((_, "diagnostic log")), None) if mapping.kind == DumpKind::CodeScan => {
                mapping.form = TextForm::DiagnosticLog;
                scan_log::COLUMNS
                    .iter()
                    .map(|name| (*name).to_owned())
                    .collect()
            }
            (Some((at, form)), _) => {
                let problem =
                    format!("\"{form}\" does not go with the kind and sections of this mapping");
                let remedy = "say \"table\", \"diagnostic log\" for kind code_scan, or \"report\" with a [report]";
                return Err(self.error(at, "form", problem, remedy));
            }
        };
        for column in columns {
            if mapping.columns.iter().any(|rule| rule.is_column(&column)) {
                continue;
            }
            let at = self.find(table, "report").map_or(0, |(at, _)| at);
            let field = self.field(
                mapping.kind,
                at,
                &format!("report, group {column}"),
                &column,
            )?;
            mapping
                .columns
                .push(ColumnRule::plain(&column, Some(field)));
        }
        Ok(())
    }

    fn report(&self, at: usize, settings: &DeTable<'t>) -> Result<ReportPattern, MappingError> {
        for setting in settings.keys() {
            self.known_key(
                setting.span().start,
                "report.",
                setting.get_ref(),
                REPORT_KEYS,
            )?;
        }
        let patterns = |key: &str| -> Result<Vec<Regex>, MappingError> {
            let texts = self.texts_of(settings, key)?;
            let at = self.find(settings, key).map_or(0, |(at, _)| at);
            let wrong = |error: regex::Error| {
                let problem = error
                    .to_string()
                    .lines()
                    .last()
                    .unwrap_or_default()
                    .to_owned();
                self.error(
                    at,
                    &format!("report.{key}"),
                    problem,
                    "mend the regular expression",
                )
            };
            texts
                .iter()
                .map(|text| Regex::new(text).map_err(wrong))
                .collect()
        };
        let pattern = ReportPattern {
            starts: patterns("starts")?.into_iter().next(),
            lines: patterns("lines")?,
            row: patterns("row")?.into_iter().next(),
        };
        if pattern.columns().is_empty() {
            let remedy = "name groups like the fields: 'VIN: (?<vin>\\S+)'";
            return Err(self.error(
                at,
                "report",
                "has no pattern with a named group".to_owned(),
                remedy,
            ));
        }
        Ok(pattern)
    }
}
