//! Which mapping a header asks for.
//!
//! A mapping fits when the header has all its columns; of several that fit the one with most
//! columns is taken, and two equal ones are an error, since the choice would be a guess. Without a
//! mapping a header is recognised by the lake's own column names. A dump that fits nothing is an
//! error that names the mapping that came nearest.

use std::sync::Arc;

use super::mappings::Mappings;
use super::names::{is_added_by_loads, likely_field, own_field};
use super::shop_mapping::{ColumnRule, Mapping};
use crate::error::IntakeError;
use crate::fault::quoted;
use crate::fields::dump::DumpKind;
use crate::files::container::HEAD_BYTES;
use crate::forms::text::Layout;

/// Finds the mapping for a header. `header_by` gives the header as a mapping's layout shows it, or
/// `None` where the layout shows none; `file_name` is matched with the mappings' patterns.
pub fn recognise(
    file: &str,
    file_name: &str,
    mappings: &Mappings,
    header_by: &dyn Fn(&Layout) -> Option<Vec<String>>,
) -> Result<Arc<Mapping>, IntakeError> {
    let mut best: Option<(usize, &Arc<Mapping>)> = None;
    let mut rival = None;
    let mut nearest: Option<(usize, String)> = None;
    for mapping in mappings
        .iter()
        .filter(|mapping| mapping.is_for_tables() && mapping.is_for_file(file_name))
    {
        let Some(header) = header_by(&mapping.layout) else {
            continue;
        };
        let missing = mapping.missing_in(&header);
        let fit = mapping.fit(&header);
        if missing.is_empty() && fit > 0 {
            // A pattern of file names decides between two that fit alike.
            let weight = fit * 2 + usize::from(!mapping.files.is_empty());
            match best {
                Some((known, _)) if known > weight => {}
                Some((known, _)) if known == weight => rival = Some(mapping),
                _ => {
                    best = Some((weight, mapping));
                    rival = None;
                }
            }
        } else if fit > 0
            && nearest
                .as_ref()
                .is_none_or(|(lacking, _)| missing.len() < *lacking)
        {
            let columns: Vec<String> = missing.iter().take(5).map(|name| quoted(name)).collect();
            let words = format!(
                "the mapping {} lacks only {}; ",
                quoted(&mapping.name),
                columns.join(", ")
            );
            nearest = Some((missing.len(), words));
        }
    }
    match (best, rival) {
        (Some((_, mapping)), Some(other)) => Err(IntakeError::TwoMappings {
            file: file.to_owned(),
            first: mapping.name.clone(),
            second: other.name.clone(),
        }),
        (Some((_, mapping)), None) => Ok(Arc::clone(mapping)),
        (None, _) => {
            let Some(header) = header_by(&Layout::default()) else {
                return Err(IntakeError::NoHeader {
                    file: file.to_owned(),
                    bytes: HEAD_BYTES,
                });
            };
            by_own_names(&header)
                .map(Arc::new)
                .ok_or_else(|| IntakeError::UnknownKind {
                    file: file.to_owned(),
                    header: shown_header(&header),
                    nearest: nearest.map(|(_, words)| words).unwrap_or_default(),
                })
        }
    }
}

/// Finds the mapping for a text that is no table, by what fits it; `None` if nothing does.
pub fn recognise_text(
    file: &str,
    file_name: &str,
    mappings: &Mappings,
    fits: &dyn Fn(&Mapping) -> bool,
) -> Result<Option<Arc<Mapping>>, IntakeError> {
    let mut fitting: Vec<&Arc<Mapping>> = mappings
        .iter()
        .filter(|mapping| mapping.is_for_file(file_name) && fits(mapping))
        .collect();
    if fitting.iter().any(|mapping| !mapping.files.is_empty()) {
        fitting.retain(|mapping| !mapping.files.is_empty());
    }
    match fitting.as_slice() {
        [] => Ok(None),
        [mapping] => Ok(Some(Arc::clone(mapping))),
        [first, second, ..] => Err(IntakeError::TwoMappings {
            file: file.to_owned(),
            first: first.name.clone(),
            second: second.name.clone(),
        }),
    }
}

/// The mapping of a header in the lake's own column names and their plain synonyms.
fn by_own_names(header: &[String]) -> Option<Mapping> {
    let fitting = DumpKind::ALL.iter().filter_map(|kind| {
        let mapping = own_mapping(*kind, header);
        let has = |name: &str| mapping.columns.iter().any(|rule| rule.field == Some(name));
        let complete = kind
            .fields()
            .iter()
            .all(|field| !kind.must_have(field) || has(field.name));
        let has_code = has("code") || (has("spn") && has("fmi"));
        // A scan is told from a test or an order by something only scans have.
        let is_kind = match kind {
            DumpKind::TroubleCode => has_code,
            DumpKind::CodeScan => {
                has_code || has("modules_asked") || has("supply_voltage_v") || has("scan_id")
            }
            _ => true,
        };
        (complete && is_kind).then_some(mapping)
    });
    // Of kinds with equally many columns the plainer one: codes alone are no scans.
    fitting.max_by_key(|mapping| (mapping.fit(header), mapping.kind == DumpKind::TroubleCode))
}

/// The columns of a header that are fields of that kind by their names.
pub fn own_mapping(kind: DumpKind, header: &[String]) -> Mapping {
    let mut mapping = Mapping::new("own column names", kind);
    for name in header {
        let found = own_field(kind, name);
        // A synonym beside the field's own name stands for something else.
        let taken = |field| {
            mapping
                .columns
                .iter()
                .any(|rule: &ColumnRule| rule.field == Some(field))
        };
        if let Some((field, unit)) = found.filter(|(field, _)| !taken(field)) {
            let mut rule = ColumnRule::plain(name, Some(field));
            rule.unit = unit.map(str::to_owned);
            mapping.columns.push(rule);
        } else if is_added_by_loads(name) {
            mapping.columns.push(ColumnRule::plain(name, None));
        }
    }
    mapping
}

/// The kind a header comes nearest to when its columns are taken for what they most likely are,
/// with that many columns.
pub fn likely_kind(header: &[String]) -> (DumpKind, usize) {
    let likely = |kind: DumpKind| {
        let mut fields: Vec<&str> = header
            .iter()
            .filter_map(|name| likely_field(kind, name))
            .map(|(field, _)| field)
            .collect();
        fields.sort_unstable();
        fields.dedup();
        (kind, fields.len())
    };
    let kinds = DumpKind::ALL.iter().map(|kind| likely(*kind));
    kinds
        .max_by_key(|(kind, count)| (*count, *kind == DumpKind::TroubleCode))
        .unwrap_or((DumpKind::Vehicle, 0))
}

/// The header for a message, cut to a line.
pub fn shown_header(header: &[String]) -> String {
    const LONGEST: usize = 200;
    let joined = header.join(", ");
    match joined.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &joined[..end]),
        None => joined,
    }
}
