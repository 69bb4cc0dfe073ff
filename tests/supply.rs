//! What the program is built of: crates of the one registry, whose terms let anybody use them, and no
//! unsafe code of our own.

use std::process::Command;

use serde_json::Value;

/// Terms under which a crate may be used in a program under Apache-2.0.
const FREE: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "bzip2-1.0.6",
];

/// Whether the terms (an SPDX expression, or names with a slash for OR) can be met by free ones.
fn is_free(terms: &str) -> bool {
    let spaced = terms
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let free = any(&words, &mut at);
    free && at == words.len()
}

/// Terms joined by OR, of which one must be free; AND binds tighter.
fn any(words: &[&str], at: &mut usize) -> bool {
    let mut free = all(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        free |= all(words, at);
    }
    free
}

/// Terms joined by AND, of which each must be free.
fn all(words: &[&str], at: &mut usize) -> bool {
    let mut free = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        free &= one(words, at);
    }
    free
}

fn one(words: &[&str], at: &mut usize) -> bool {
    let Some(word) = words.get(*at) else {
        // Past the end for good, so that what breaks off is not taken.
        *at = words.len() + 1;
        return false;
    };
    *at += 1;
    if *word == "(" {
        let free = any(words, at);
        let is_closed = words.get(*at) == Some(&")");
        *at += 1;
        return free && is_closed;
    }
    match (words.get(*at), words.get(*at + 1)) {
        (Some(&"WITH"), Some(exception)) => {
            *at += 2;
            FREE.contains(&format!("{word} WITH {exception}").as_str())
        }
        _ => FREE.contains(word),
    }
}

#[test]
fn terms_are_read_as_they_are_meant() {
    for free in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0 OR MIT",
        "(MIT OR GPL-2.0) AND ISC",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(is_free(free), "{free}");
    }
    for other in [
        "",
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "MIT OR",
        "(MIT",
        "MIT WITH my-exception",
    ] {
        assert!(!is_free(other), "{other}");
    }
}

/// The crates that the program is built of here, by the lock file.
fn crates() -> Vec<Value> {
    let told = Command::new(env!("CARGO"))
        .args(["metadata", "--locked", "--offline", "--format-version", "1"])
        .args(["--filter-platform", HOST])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(
        told.status.success(),
        "{}",
        String::from_utf8_lossy(&told.stderr)
    );
    let mut told: Value = serde_json::from_slice(&told.stdout).expect("JSON");
    match told["packages"].take() {
        Value::Array(crates) => crates,
        other => panic!("no crates: {other}"),
    }
}

/// Other systems' crates need not be here.
const HOST: &str = if cfg!(windows) {
    "x86_64-pc-windows-msvc"
} else if cfg!(target_os = "macos") {
    "aarch64-apple-darwin"
} else if cfg!(target_arch = "aarch64") {
    "aarch64-unknown-linux-gnu"
} else {
    "x86_64-unknown-linux-gnu"
};

#[test]
fn every_crate_comes_from_the_registry_under_terms_that_let_anybody_use_it() {
    let crates = crates();
    assert!(crates.len() > 100, "{} crates", crates.len());
    let mut wrong = Vec::new();
    for found in &crates {
        let name = format!("{} {}", found["name"], found["version"]);
        let terms = found["license"].as_str().unwrap_or_default();
        if !is_free(terms) {
            wrong.push(format!("{name}: {terms}"));
        }
        let source = found["source"].as_str();
        if source
            .is_some_and(|source| source != "registry+https://github.com/rust-lang/crates.io-index")
        {
            wrong.push(format!("{name}: from {source:?}"));
        }
    }
    assert_eq!(wrong, [] as [String; 0]);
}

#[test]
fn no_crate_of_ours_may_hold_unsafe_code() {
    let ours: Vec<Value> = crates()
        .into_iter()
        .filter(|found| found["source"].is_null())
        .collect();
    assert!(ours.len() >= 10, "{} crates", ours.len());
    for found in ours {
        let path = found["manifest_path"].as_str().expect("a path");
        let manifest: toml::Table = std::fs::read_to_string(path)
            .expect("readable")
            .parse()
            .expect("TOML");
        assert_eq!(
            manifest["lints"]["workspace"].as_bool(),
            Some(true),
            "{path}"
        );
        if let Some(lints) = manifest.get("workspace").and_then(|all| all.get("lints")) {
            assert_eq!(
                lints["rust"]["unsafe_code"].as_str(),
                Some("forbid"),
                "{path}"
            );
        }
    }
}
