//! A finished report: its text, charts and tables, written as Markdown, as one page of HTML, as SVG,
//! as CSV and as one workbook.
//!
//! The folder is put in place whole, so a reader sees the old report or the new one. Where names are to
//! be replaced, everything that has the form of a vehicle identification number is replaced here once
//! more, whatever text it stood in.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use super::chart::Chart;
use super::manner::Manner;
use super::table_files::{Cell, Sheet, workbook};
use super::{ReportError, files, page};

/// A report in the making.
#[derive(Debug)]
pub struct Document {
    /// Its files are `NAME.md`, `NAME.html`, `NAME.xlsx`.
    pub name: &'static str,
    pub title: String,
    pub as_of: NaiveDate,
    pub markdown: String,
    pub charts: Vec<Chart>,
    pub tables: Vec<Sheet>,
}

impl Document {
    /// Writes everything into `folder` and answers where the Markdown is.
    pub fn write(mut self, folder: &Path, manner: &Manner) -> Result<PathBuf, ReportError> {
        self.replace_names(manner);
        let making = files::Folder::begin(folder)?;
        for chart in &self.charts {
            making.write(&chart.path(), chart.file().as_bytes())?;
        }
        for table in &self.tables {
            making.write(&format!("{}.csv", table.name), &table.csv()?)?;
        }
        if !self.tables.is_empty() {
            let book = workbook(&self.title, self.as_of, &self.tables)?;
            making.write(&format!("{}.xlsx", self.name), &book)?;
        }
        let html = page::html(&self.title, &self.markdown, &self.charts);
        making.write(&format!("{}.html", self.name), html.as_bytes())?;
        let report = format!("{}.md", self.name);
        making.write(&report, self.markdown.as_bytes())?;
        making.put_in_place()?;
        Ok(folder.join(report))
    }

    fn replace_names(&mut self, manner: &Manner) {
        let Some(pseudonyms) = &manner.pseudonyms else {
            return;
        };
        self.title = pseudonyms.sweep(&self.title);
        self.markdown = pseudonyms.sweep(&self.markdown);
        for chart in &mut self.charts {
            chart.svg = pseudonyms.sweep(&chart.svg);
            chart.alternative = pseudonyms.sweep(&chart.alternative);
        }
        for cell in self
            .tables
            .iter_mut()
            .flat_map(|table| &mut table.rows)
            .flatten()
        {
            if let Cell::Text(text) = cell {
                *text = pseudonyms.sweep(text);
            }
        }
    }
}
