//! A finished report: its text, charts and tables, written as Markdown, as one page of HTML, as SVG,
//! as CSV and as one workbook; its short version as plain text.
//!
//! The folder is put in place whole, so a reader sees the old report or the new one. Where names are to
//! be replaced, everything that has the form of a vehicle identification number is replaced here once
//! more, whatever text it stood in.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use super::chart::Chart;
use super::page;
use super::section::{Page, Part};
use super::style::ReportStyle;
use super::table_files::{Cell, Sheet, workbook};
use super::{ReportError, cells, files};

/// The name that leads to the newest of several reports.
pub const LATEST: &str = "latest";

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
    pub pages: Vec<Page>,
    /// Documents that the report leads to, each in a folder of its own within the report's.
    pub beside: Vec<(String, Document)>,
    /// The report in a few lines, for the terminal.
    pub short_version: Vec<String>,
}

/// What was written, and the report's short version for the terminal.
#[derive(Debug)]
pub struct Written {
    /// The report's Markdown.
    pub report: PathBuf,
    pub short_version: Vec<String>,
}

impl Document {
    /// The document of a report's sections.
    pub fn of(name: &'static str, title: String, as_of: NaiveDate, whole: Part) -> Self {
        Self {
            name,
            title,
            as_of,
            markdown: whole.markdown,
            charts: whole.charts,
            tables: whole.tables,
            pages: whole.pages,
            beside: Vec::new(),
            short_version: whole.short_version,
        }
    }

    /// Writes everything into `folder`.
    pub fn write(mut self, folder: &Path, style: &ReportStyle) -> Result<Written, ReportError> {
        self.replace_names(style);
        let making = files::Folder::begin(folder)?;
        self.write_files(&making, "")?;
        for (within, document) in &self.beside {
            document.write_files(&making, &format!("{within}/"))?;
        }
        making.put_in_place()?;
        Ok(Written {
            report: folder.join(format!("{}.md", self.name)),
            short_version: self.short_version,
        })
    }

    /// Writes its own files into the part of the folder that `within` names.
    fn write_files(&self, making: &files::Folder, within: &str) -> Result<(), ReportError> {
        let write = |name: &str, bytes: &[u8]| making.write(&format!("{within}{name}"), bytes);
        for chart in &self.charts {
            write(&chart.path(), chart.file().as_bytes())?;
        }
        for table in &self.tables {
            write(&format!("{}.csv", table.name), &table.csv()?)?;
        }
        if !self.tables.is_empty() {
            let book = workbook(&self.title, self.as_of, &self.tables)?;
            write(&format!("{}.xlsx", self.name), &book)?;
        }
        for page in &self.pages {
            let html = page::sheets(&page.title, &page.markdown, page.paper);
            write(&format!("{}.html", page.name), html.as_bytes())?;
            write(&format!("{}.md", page.name), page.markdown.as_bytes())?;
        }
        let html = page::html(&self.title, &self.markdown, &self.charts);
        write(&format!("{}.html", self.name), html.as_bytes())?;
        // To be sent as it is: what could move a reader's cursor is left out.
        let short: String = self
            .short_version
            .iter()
            .map(|line| cells::plain(line) + "\n")
            .collect();
        write(&format!("{}.txt", self.name), short.as_bytes())?;
        write(&format!("{}.md", self.name), self.markdown.as_bytes())
    }

    fn replace_names(&mut self, style: &ReportStyle) {
        let Some(pseudonyms) = &style.pseudonyms else {
            return;
        };
        for (_, document) in &mut self.beside {
            document.replace_names(style);
        }
        self.title = pseudonyms.sweep(&self.title);
        self.markdown = pseudonyms.sweep(&self.markdown);
        for line in &mut self.short_version {
            *line = pseudonyms.sweep(line);
        }
        for page in &mut self.pages {
            page.markdown = pseudonyms.sweep(&page.markdown);
        }
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
