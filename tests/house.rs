//! The house rules that a reader can rely on, kept by reading the sources.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files_below(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = walkdir::WalkDir::new(folder)
        .into_iter()
        .filter_map(Result::ok)
        .map(walkdir::DirEntry::into_path)
        .filter(|path| path.to_string_lossy().ends_with(ending))
        .collect();
    files.sort();
    assert!(
        !files.is_empty(),
        "no {ending} files in {}",
        folder.display()
    );
    files
}

/// The crates each room names in its manifest; the compiler keeps a room to them.
fn manifest(room: &str) -> toml::Table {
    let path = root().join("pipeline").join(room).join("Cargo.toml");
    let text = std::fs::read_to_string(&path).expect("a manifest");
    text.parse().expect("a manifest in TOML")
}

fn depends_on(room: &str, other: &str) -> bool {
    manifest(room)["dependencies"]
        .as_table()
        .is_some_and(|named| named.contains_key(other))
}

const ROOMS: [&str; 10] = [
    "trade",
    "statistics",
    "lake",
    "settings",
    "intake",
    "risk",
    "tables",
    "report",
    "synthetic",
    "rehearse",
];

#[test]
fn only_one_room_knows_each_engine() {
    for (engine, rooms) in [
        ("deltalake", &["lake"][..]),
        // The lake hands its tables to the engine, so it names one trait of it.
        ("datafusion", &["tables", "lake"][..]),
        ("calamine", &["intake"][..]),
        ("rust_xlsxwriter", &["report"][..]),
    ] {
        let knowing: Vec<&str> = ROOMS
            .into_iter()
            .filter(|room| depends_on(room, engine))
            .collect();
        assert!(
            knowing.iter().all(|room| rooms.contains(room)) && !knowing.is_empty(),
            "{engine} is known to {knowing:?}"
        );
    }
}

#[test]
fn the_room_of_a_lower_floor_names_none_above() {
    for (room, others) in [
        ("trade", &[][..]),
        ("statistics", &[][..]),
        ("lake", &["trade"][..]),
        ("settings", &["trade"][..]),
        ("intake", &["lake", "settings", "trade"][..]),
        ("risk", &["statistics", "trade"][..]),
        ("synthetic", &["trade"][..]),
        (
            "rehearse",
            &[
                "intake",
                "lake",
                "settings",
                "statistics",
                "synthetic",
                "tables",
                "trade",
            ][..],
        ),
        (
            "tables",
            &["lake", "risk", "settings", "statistics", "trade"][..],
        ),
        (
            "report",
            &["tables", "risk", "lake", "settings", "statistics", "trade"][..],
        ),
    ] {
        for other in ROOMS {
            assert!(
                others.contains(&other) || !depends_on(room, other),
                "{room} names {other}, which lies above or beside it"
            );
        }
    }
}

type Imports = BTreeMap<String, BTreeSet<String>>;

/// The paths that a use tree names: `a::{b, c::{d, e}}` is a::b, a::c::d and a::c::e.
fn paths_of(tree: &str) -> Vec<String> {
    let tree = tree.trim();
    let Some(open) = tree.find('{') else {
        let path = tree.split(" as ").next().unwrap_or_default().trim();
        return vec![path.to_owned()];
    };
    let inside = tree[open + 1..].strip_suffix('}').unwrap_or_default();
    let mut depth = 0;
    let branches = inside.split(|letter| {
        match letter {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        letter == ',' && depth == 0
    });
    branches
        .filter(|branch| !branch.trim().is_empty())
        .flat_map(paths_of)
        .map(|path| format!("{}{path}", &tree[..open]))
        .collect()
}

/// The file of a room that a path leads to, seen from the module of `from`; none where it is of another
/// crate, of the room's root or of the module itself.
fn file_named(
    modules: &BTreeMap<Vec<String>, String>,
    from: &[String],
    path: &str,
) -> Option<String> {
    let mut names = path.split("::").map(str::trim).peekable();
    let mut module: Vec<String> = match names.peek() {
        Some(&"crate") => {
            names.next();
            Vec::new()
        }
        Some(&"super" | &"self") => from.to_vec(),
        // A module's own child.
        Some(child) if modules.contains_key(&[from, &[(*child).to_owned()]].concat()) => {
            from.to_vec()
        }
        _ => return None,
    };
    for name in names {
        match name {
            "super" => {
                module.pop();
            }
            "self" => {}
            _ => {
                module.push(name.to_owned());
                if !modules.contains_key(&module) {
                    module.pop();
                    break;
                }
            }
        }
    }
    modules.get(&module).filter(|_| module != from).cloned()
}

/// Which files of a room each of its files names, all by their paths in the room. Its root, which says what
/// there is, is left out.
fn imports_within(room: &str) -> Imports {
    let folder = root().join("pipeline").join(room);
    // What a folder's own file hands on of its children is no need of its own.
    let handed_on = regex::Regex::new(r"\bpub use\s+([^;]+);").expect("a pattern");
    let named_in_use = regex::Regex::new(r"\buse\s+([^;]+);").expect("a pattern");
    let named_in_code = regex::Regex::new(r"\b(?:crate|super)(?:::\w+)+").expect("a pattern");
    let comment = regex::Regex::new(r"(?m)//.*$").expect("a pattern");
    let mut modules = BTreeMap::new();
    for file in files_below(&folder, ".rs") {
        let inside = file.strip_prefix(&folder).expect("below the room");
        let mut module: Vec<String> = inside
            .with_extension("")
            .iter()
            .map(|name| name.to_string_lossy().into_owned())
            .collect();
        if module.last().is_some_and(|name| name == "mod") {
            module.pop();
        }
        if !matches!(
            module[..].first().map(String::as_str),
            None | Some("lib" | "main")
        ) {
            modules.insert(module, inside.display().to_string());
        }
    }
    let mut imports = Imports::new();
    for (module, file) in &modules {
        let text = std::fs::read_to_string(folder.join(file)).expect("a readable file");
        let text = comment.replace_all(&text, "");
        let product = text.split("#[cfg(test)]").next().unwrap_or_default();
        let product = handed_on.replace_all(product, "");
        let uses = named_in_use
            .captures_iter(&product)
            .flat_map(|found| paths_of(&found[1]));
        let code = named_in_use.replace_all(&product, "");
        let mentions = named_in_code.find_iter(&code);
        let paths = uses.chain(mentions.map(|found| found.as_str().to_owned()));
        let named = paths.filter_map(|path| file_named(&modules, module, &path));
        imports.insert(file.clone(), named.collect());
    }
    imports
}

/// The names on a way that runs into a circle: the last stands in it before, too.
fn circle(imports: &Imports) -> Option<Vec<String>> {
    let mut cleared = BTreeSet::new();
    fn walk(
        name: &str,
        imports: &Imports,
        way: &mut Vec<String>,
        cleared: &mut BTreeSet<String>,
    ) -> bool {
        way.push(name.to_owned());
        if way[..way.len() - 1].iter().any(|earlier| earlier == name) {
            return true;
        }
        if !cleared.contains(name) {
            for other in imports.get(name).into_iter().flatten() {
                if walk(other, imports, way, cleared) {
                    return true;
                }
            }
            cleared.insert(name.to_owned());
        }
        way.pop();
        false
    }
    imports.keys().find_map(|name| {
        let mut way = Vec::new();
        walk(name, imports, &mut way, &mut cleared).then_some(way)
    })
}

#[test]
fn no_circle_of_imports_inside_a_room() {
    let mut all = 0;
    // The generator stands beside the way from dump to report; its lives, desks and habits know each other.
    for room in ROOMS.into_iter().filter(|room| *room != "synthetic") {
        let files = imports_within(room);
        all += files.values().map(BTreeSet::len).sum::<usize>();
        assert_eq!(circle(&files), None, "between the files of {room}");
    }
    assert!(all > 600, "the test no longer finds the imports: {all}");
}

#[test]
fn no_circle_of_folders_inside_intake_and_statistics() {
    for room in ["intake", "statistics"] {
        // A file beside the folders stands for itself.
        let folder = |file: &String| file.split('/').next().unwrap_or_default().to_owned();
        let mut folders = Imports::new();
        for (file, others) in &imports_within(room) {
            let own = folder(file);
            let others = others.iter().map(folder).filter(|other| *other != own);
            folders.entry(own.clone()).or_default().extend(others);
        }
        assert_eq!(circle(&folders), None, "between the folders of {room}");
    }
}

#[test]
fn a_use_tree_is_read_branch_by_branch() {
    let paths = paths_of("super::{a, b::{self, C as D},\n e::F}");
    assert_eq!(
        paths,
        ["super::a", "super::b::self", "super::b::C", "super::e::F"]
    );
}

#[test]
fn a_circle_is_found() {
    let imports = |pairs: &[(&str, &str)]| {
        let mut imports = Imports::new();
        for (from, to) in pairs {
            let named = imports.entry((*from).to_owned()).or_default();
            named.insert((*to).to_owned());
        }
        imports
    };
    let straight = imports(&[("a", "b"), ("a", "c"), ("b", "d"), ("c", "d")]);
    assert_eq!(circle(&straight), None);
    let round = imports(&[("a", "b"), ("b", "c"), ("c", "d"), ("d", "b")]);
    let way = circle(&round).expect("a circle");
    assert_eq!(way, ["a", "b", "c", "d", "b"]);
}

#[test]
fn trade_statistics_and_risk_are_pure() {
    for folder in ["trade", "statistics", "risk"] {
        for file in files_below(&root().join("pipeline").join(folder), ".rs") {
            let text = std::fs::read_to_string(&file).expect("a readable file");
            for forbidden in ["std::fs", "std::io", "std::net", "arrow::", "Utc::now"] {
                assert!(
                    !text.contains(forbidden),
                    "{} uses {forbidden}",
                    file.display()
                );
            }
        }
    }
}

#[test]
fn every_source_file_opens_by_saying_what_it_is() {
    for file in files_below(&root().join("pipeline"), ".rs") {
        let text = std::fs::read_to_string(&file).expect("a readable file");
        assert!(
            text.starts_with("//! ") || text.starts_with("#!["),
            "{} does not open with a //! comment",
            file.display()
        );
    }
}

#[test]
fn every_query_documents_its_row_and_what_it_reads() {
    for file in files_below(&root().join("queries"), ".sql") {
        let text = std::fs::read_to_string(&file).expect("a readable file");
        let opening: Vec<&str> = text
            .lines()
            .take_while(|line| line.starts_with("--"))
            .collect();
        let name = file.display();
        assert!(
            opening
                .first()
                .is_some_and(|line| line.starts_with("-- One row is ")),
            "{name} does not open with `-- One row is …`"
        );
        assert!(
            opening.iter().any(|line| line.contains("Reads ")),
            "{name} does not say what it reads"
        );
    }
}

#[test]
fn the_top_level_stays_as_it_is() {
    let mut found: Vec<String> = std::process::Command::new("git")
        .args(["ls-tree", "--name-only", "HEAD"])
        .current_dir(root())
        .output()
        .map(|output| {
            String::from_utf8_lossy(&output.stdout)
                .lines()
                .map(str::to_owned)
                .collect()
        })
        .unwrap_or_default();
    found.retain(|name| !name.starts_with('.'));
    if found.is_empty() {
        // Not a checkout: look at the folder itself.
        found = std::fs::read_dir(root())
            .expect("a readable folder")
            .filter_map(Result::ok)
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .filter(|name| !name.starts_with('.') && name != "target")
            .collect();
    }
    let known = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pipeline",
        "queries",
        "tests",
        "sample-lake",
        "reports",
    ];
    for name in found {
        assert!(
            known.contains(&name.as_str()),
            "{name} has no place at the top level"
        );
    }
}

/// Nothing of the machine that made it is in what is committed: text files name no folder of a person or
/// of a build.
#[test]
fn committed_files_name_no_place_of_the_machine_that_made_them() {
    let listed = std::process::Command::new("git")
        .args(["ls-files", "-z"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output();
    // A copy without its history has nothing committed.
    let Ok(listed) = listed else { return };
    let places = ["file:///", "/home/", "/root/", "/Users/", "C:\\Users"];
    let mut found = Vec::new();
    for name in String::from_utf8_lossy(&listed.stdout).split('\0') {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
        // This test and the reader of such places name them on purpose.
        if name.is_empty() || name == "tests/house.rs" || !path.is_file() {
            continue;
        }
        let text = String::from_utf8_lossy(&std::fs::read(&path).expect("readable")).into_owned();
        if let Some(place) = places.iter().find(|place| text.contains(**place)) {
            found.push(format!("{name}: {place}"));
        }
    }
    assert_eq!(found, [] as [String; 0]);
}
