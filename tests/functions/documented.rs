//! Every function is in the list once, says what it is, and stands in the book for developers.

use std::collections::BTreeSet;
use std::sync::Arc;

use voltwane::tables::functions::{aggregates, scalars, windows};
use voltwane::trade::code_group::CodeGroups;

/// Name, signature and description of every function.
fn all() -> Vec<(String, &'static str, &'static str)> {
    let of_groups = aggregates()
        .into_iter()
        .map(|one| (one.function.name().to_owned(), one.signature, one.about));
    let of_rows = scalars(Arc::new(CodeGroups::builtin()))
        .into_iter()
        .map(|one| (one.function.name().to_owned(), one.signature, one.about));
    let of_windows = windows()
        .into_iter()
        .map(|one| (one.function.name().to_owned(), one.signature, one.about));
    of_groups.chain(of_rows).chain(of_windows).collect()
}

#[test]
fn no_two_functions_have_one_name() {
    let all = all();
    let names: BTreeSet<&String> = all.iter().map(|(name, ..)| name).collect();
    assert!(names.len() > 15, "the list has {}", names.len());
    assert_eq!(names.len(), all.len());
}

#[test]
fn every_function_says_what_it_is() {
    for (name, signature, about) in all() {
        assert!(
            signature.starts_with(&format!("{name}(")) && signature.ends_with(')'),
            "{name} is documented as {signature}"
        );
        assert!(about.len() > 20, "{name} is described by {about:?}");
    }
}

#[test]
fn every_function_stands_in_the_book() {
    let book = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
    let book = std::fs::read_to_string(book).expect("DEVELOPERS.md can be read");
    for (_, signature, _) in all() {
        assert!(
            book.contains(&format!("`{signature}`")),
            "DEVELOPERS.md does not have `{signature}`"
        );
    }
}
