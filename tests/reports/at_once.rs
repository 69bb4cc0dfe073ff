//! Reports written into one folder at once: it holds one of them whole, at any moment, and what stood
//! beside them.

use std::sync::atomic::{AtomicBool, Ordering};

use voltwane::report::document::Document;
use voltwane::report::style::ReportStyle;
use voltwane::report::table_files::{Kind, Sheet, column};

use crate::workplace::Workplace;

/// A report that says the same word in each of its files.
fn document(word: &str) -> Document {
    let rows = [word.to_owned()];
    Document {
        name: "report",
        title: format!("Report {word}"),
        as_of: "2026-06-28".parse().expect("a day"),
        markdown: format!("# Report {word}\n"),
        charts: Vec::new(),
        pages: Vec::new(),
        beside: Vec::new(),
        short_version: vec![format!("It says {word}.")],
        tables: vec![Sheet::new(
            "words",
            &rows,
            vec![column("word", Kind::Text, |word: &String| word.clone())],
        )],
    }
}

#[test]
fn two_reports_at_once_leave_one_whole_and_what_stood_there() {
    let place = Workplace::new();
    place.write("out/2026-W26/comebacks.md", "kept");
    place.write("out/2026-W26/charts/other.svg", "kept too");
    let folder = place.path().join("out/2026-W26");
    document("first")
        .write(&folder, &ReportStyle::default())
        .expect("written");
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let writers: Vec<_> = ["larch", "birch"]
            .into_iter()
            .map(|word| {
                let folder = &folder;
                scope.spawn(move || {
                    for _ in 0..40 {
                        let report = document(word).write(folder, &ReportStyle::default());
                        assert_eq!(report.expect("written").report, folder.join("report.md"));
                    }
                })
            })
            .collect();
        // Whoever reads meanwhile finds every file, always.
        let reader = scope.spawn(|| {
            let mut times = 0;
            while !over.load(Ordering::Relaxed) {
                for file in ["report.md", "words.csv", "comebacks.md", "charts/other.svg"] {
                    let text =
                        std::fs::read_to_string(folder.join(file)).expect("the file is there");
                    assert!(!text.is_empty());
                }
                times += 1;
            }
            times
        });
        for writer in writers {
            writer.join().expect("a writer");
        }
        over.store(true, Ordering::Relaxed);
        assert!(reader.join().expect("a reader") > 0);
    });
    let words: Vec<bool> = ["report.md", "report.html", "words.csv"]
        .into_iter()
        .map(|file| {
            place
                .read(&format!("out/2026-W26/{file}"))
                .contains("larch")
        })
        .collect();
    assert!(words.iter().all(|larch| *larch == words[0]), "{words:?}");
    assert_eq!(place.read("out/2026-W26/comebacks.md"), "kept");
    assert_eq!(place.read("out/2026-W26/charts/other.svg"), "kept too");
    let left = std::fs::read_dir(place.path().join("out")).expect("a folder");
    assert_eq!(left.count(), 1, "a temporary folder is left");
}
