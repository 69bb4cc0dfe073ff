//! Every report of one fleet, written by one analysis, and all that it holds as text.

use std::io::Read;
use std::path::Path;

use voltwane::lake::Lake;
use voltwane::report::style::ReportStyle;
use voltwane::report::{comebacks, history, screen, texts, weekly};
use voltwane::settings::Settings;
use voltwane::tables::Analysis;

use crate::command::small_fleet;
use crate::workplace::{NOW, Workplace};

/// Vehicles of the small fleet that are taken: enough for every section to have something to say.
const VEHICLES: usize = 60;

/// The small fleet's facts as dumps again, each cell made over, in files of these names.
pub fn made_over(
    file: &dyn Fn(&str) -> String,
    cell: &dyn Fn(&str, usize, &str, &str) -> String,
) -> Workplace {
    let place = Workplace::new();
    for table in [
        "vehicle",
        "battery_test",
        "code_scan",
        "trouble_code",
        "work_order",
        "depot_weather",
    ] {
        let query = format!("SELECT * FROM lake.{table}");
        let ask = ["sql", "--lake", "lake", "--format", "csv", &query];
        let text = small_fleet().run_expecting(0, &ask);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header = reader.headers().expect("a header").clone();
        let kept: Vec<usize> = (0..header.len())
            .filter(|at| !matches!(&header[*at], "load_id" | "row_hash" | "event_year"))
            .collect();
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer
            .write_record(kept.iter().map(|at| &header[*at]))
            .expect("a header");
        for (row, record) in reader.records().enumerate() {
            let record = record.expect("a record");
            writer
                .write_record(
                    kept.iter()
                        .map(|at| cell(table, row, &header[*at], &record[*at])),
                )
                .expect("a record");
        }
        let bytes = writer.into_inner().expect("a CSV");
        place.write(&format!("dumps/{}", file(table)), bytes);
    }
    place
}

/// The lake of a place with its analysis, and a vehicle of which there is much to tell.
pub struct Looked {
    lake: Lake,
    analysis: Analysis,
    busiest: String,
    inventory: screen::Inventory,
}

impl Looked {
    /// Looks at `lake` in this place; `list` is an inventory there.
    pub async fn at(place: &Workplace, list: &str) -> Looked {
        let folder = place.path().join("lake");
        let lake = Lake::open(&folder.to_string_lossy()).await.expect("a lake");
        let today = NOW[..10].parse().expect("a day");
        let day = "2026-06-28".parse().ok();
        let analysis = Analysis::new(&lake, &[], day, None, today, Settings::default(), None)
            .await
            .expect("an analysis");
        let busiest: Vec<serde_json::Map<String, serde_json::Value>> = analysis
            .rows(
                "SELECT vin FROM work_order WHERE module_address IS NOT NULL
                 GROUP BY vin ORDER BY COUNT(*) DESC, vin LIMIT 1",
            )
            .await
            .expect("a vehicle");
        let inventory = screen::read_inventory(&place.path().join(list)).expect("a list");
        assert!(inventory.lines.len() <= VEHICLES + 1);
        Looked {
            lake,
            analysis,
            busiest: busiest[0]["vin"].as_str().expect("a vin").to_owned(),
            inventory,
        }
    }

    pub fn lake(&self) -> &Lake {
        &self.lake
    }

    /// Writes every report below `out`; answers the lines each prints and all that is in it.
    pub async fn reports(&mut self, out: &Path, style: &ReportStyle) -> Vec<(String, String)> {
        let silent = &|_: &str| {};
        let templates = &texts::templates(style).expect("templates");
        let told = weekly::write(
            &mut self.lake,
            &self.analysis,
            out,
            style,
            templates,
            NOW.parse().expect("an instant"),
            silent,
        )
        .await;
        let mut all = vec![("weekly".to_owned(), told.expect("weekly").short_version)];
        let told = comebacks::write(&self.analysis, out, style, templates, silent).await;
        all.push((
            "comebacks".to_owned(),
            told.expect("comebacks").short_version,
        ));
        let told = screen::write(&self.analysis, &self.inventory, out, style, templates).await;
        all.push(("screen".to_owned(), told.expect("screen").short_version));
        let told = history::write(&self.analysis, &self.busiest, out, style, templates).await;
        all.push(("history".to_owned(), told.expect("history").short_version));
        let mut all: Vec<(String, String)> = all
            .into_iter()
            .map(|(name, lines)| (name, lines.join("\n")))
            .collect();
        all.extend(texts(out));
        all
    }
}

/// Everything below a folder that can be read as text, file by file; workbooks member by member. The
/// name of a file or folder is read as well.
pub fn texts(folder: &Path) -> Vec<(String, String)> {
    let mut texts = Vec::new();
    for entry in walkdir::WalkDir::new(folder) {
        let entry = entry.expect("an entry");
        let inside = entry.path().strip_prefix(folder).expect("below it");
        let name = inside.display().to_string();
        texts.push((name.clone(), name.clone()));
        if !entry.file_type().is_file() {
            continue;
        }
        let bytes = std::fs::read(entry.path()).expect("the file");
        if !name.ends_with(".xlsx") {
            texts.push((name, String::from_utf8_lossy(&bytes).into_owned()));
            continue;
        }
        let mut book = zip::ZipArchive::new(std::io::Cursor::new(bytes)).expect("a workbook");
        for at in 0..book.len() {
            let mut member = book.by_index(at).expect("a member");
            let mut text = String::new();
            member.read_to_string(&mut text).expect("text");
            texts.push((format!("{name}: {}", member.name()), text));
        }
    }
    texts
}
