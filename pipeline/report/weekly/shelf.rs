//! The folder that all weeks' reports stand in: an `index.html` over them with their short versions, and
//! `latest`, which leads to the newest.
//!
//! The page is made from what stands in the folder, so a week that was taken away is gone from it. Only
//! folders named for a week that hold a report are shown; `latest` is a link that is put in place in one
//! step, and where something else of that name stands, or the system has no such links, it is left.

use std::fmt::Write;
use std::path::Path;

use crate::document::LATEST;
use crate::{ReportError, cells, files, page};

/// A week's report that stands in the folder.
struct Week {
    /// Its folder, such as 2026-W26.
    name: String,
    short_version: Vec<String>,
    pages: Vec<(&'static str, &'static str)>,
}

/// The pages of a week that are worth a link, as far as they are there.
const PAGES: [(&str, &str); 4] = [
    ("report.html", "the report"),
    ("depot_sheets.html", "depot sheets"),
    ("comebacks.html", "comebacks"),
    ("report.xlsx", "workbook"),
];

/// Makes the index and `latest` anew.
pub fn renew(out: &Path) -> Result<(), ReportError> {
    let weeks = weeks(out).map_err(files::failed(out))?;
    let index = page::html("12 V battery risk, all weeks", &markdown(&weeks), &[]);
    files::replace(&out.join("index.html"), index.as_bytes())?;
    if let Some(newest) = weeks.first() {
        files::link(&out.join(LATEST), Path::new(&newest.name))?;
    }
    Ok(())
}

/// The weeks with a report, the newest first.
fn weeks(out: &Path) -> std::io::Result<Vec<Week>> {
    let mut weeks = Vec::new();
    for entry in std::fs::read_dir(out)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let folder = entry.path();
        if !is_week(&name) || !entry.file_type()?.is_dir() || !folder.join("report.html").is_file()
        {
            continue;
        }
        // A report of before there was such a file is shown without its lines.
        let short = settings::text_file::read_within(&folder, &folder.join("report.txt"));
        let pages = PAGES
            .into_iter()
            .filter(|(file, _)| folder.join(file).is_file());
        weeks.push(Week {
            short_version: short
                .unwrap_or_default()
                .lines()
                .map(str::trim)
                .filter(|line| !line.is_empty())
                .map(str::to_owned)
                .collect(),
            pages: pages.collect(),
            name,
        });
    }
    weeks.sort_by(|a, b| b.name.cmp(&a.name));
    Ok(weeks)
}

/// Whether a folder is named for a week: 2026-W26.
fn is_week(name: &str) -> bool {
    name.len() == 8
        && name.bytes().enumerate().all(|(at, byte)| match at {
            4 => byte == b'-',
            5 => byte == b'W',
            _ => byte.is_ascii_digit(),
        })
}

fn markdown(weeks: &[Week]) -> String {
    let mut text = String::from("# 12 V battery risk, all weeks\n");
    for week in weeks {
        let links: Vec<String> = week
            .pages
            .iter()
            .map(|(file, words)| format!("[{words}]({}/{file})", week.name))
            .collect();
        // Writing into a String cannot fail.
        let _ = write!(text, "\n## {}\n\n{}\n\n", week.name, links.join(", "));
        for line in &week.short_version {
            let _ = writeln!(text, "- {}", cells::markdown(line));
        }
    }
    text
}
