//! A mapping laid over one header: where each field's text stands and how it is read.

use std::sync::Arc;

use super::names::ORIGIN_COLUMN;
use super::shop_mapping::{ColumnRule, Mapping, same_name};
use crate::error::IntakeError;
use crate::fields::dump::DumpKind;
use crate::fields::field_plan::{CellPlan, FieldPlan};
use crate::fields::meaning::meaning;
use crate::fields::moment::Formats;
use lake::tables::Column;

/// How the lines under one header are read.
#[derive(Debug, Clone)]
pub struct HeaderLayout {
    pub mapping: Arc<Mapping>,
    pub header: Vec<String>,
    /// Every field of the kind, in its order.
    pub fields: Vec<FieldPlan>,
    /// Columns of the header that no field is read from and no mapping ignores.
    pub unused: Vec<String>,
}

impl HeaderLayout {
    /// Lays the mapping over the header. `file` is for messages.
    pub fn new(
        file: &str,
        mapping: Arc<Mapping>,
        header: &[String],
    ) -> Result<HeaderLayout, IntakeError> {
        let rules: Vec<Option<&ColumnRule>> = header
            .iter()
            .map(|name| mapping.columns.iter().find(|rule| rule.is_column(name)))
            .collect();
        for (index, rule) in rules.iter().enumerate() {
            let used = rule.is_some_and(|rule| rule.field.is_some());
            if used
                && header[..index]
                    .iter()
                    .any(|earlier| same_name(earlier, &header[index]))
            {
                return Err(IntakeError::ColumnTwice {
                    file: file.to_owned(),
                    column: header[index].clone(),
                });
            }
        }
        let fields = mapping
            .kind
            .fields()
            .into_iter()
            .map(|column| field_plan(&mapping, &rules, column))
            .collect();
        let unused = header
            .iter()
            .zip(&rules)
            .filter(|(name, rule)| rule.is_none() && !name.is_empty() && *name != ORIGIN_COLUMN);
        let unused = unused.map(|(name, _)| name.clone()).collect();
        Ok(HeaderLayout {
            header: header.to_vec(),
            fields,
            unused,
            mapping,
        })
    }

    pub fn kind(&self) -> DumpKind {
        self.mapping.kind
    }

    /// The place of a field among the layout's fields.
    pub fn place(&self, field: &str) -> Option<usize> {
        self.fields
            .iter()
            .position(|plan| plan.column.name == field)
    }
}

fn field_plan(
    mapping: &Mapping,
    rules: &[Option<&ColumnRule>],
    column: &'static Column,
) -> FieldPlan {
    let name = column.name;
    let own = |(index, rule): (usize, &Option<&ColumnRule>)| {
        let rule = (*rule)?;
        (rule.field == Some(name)).then_some((index, rule.clone()))
    };
    let found: Vec<(usize, ColumnRule)> = rules.iter().enumerate().filter_map(own).collect();
    let formats = match found.as_slice() {
        [] => Formats::default(),
        [(_, rule)] => rule.formats.clone(),
        several => Formats::joined(
            &several
                .iter()
                .map(|(_, rule)| &rule.formats)
                .collect::<Vec<_>>(),
        ),
    };
    let shop = (name == "shop").then(|| mapping.shop.clone()).flatten();
    FieldPlan {
        column,
        meaning: meaning(name),
        cells: found
            .into_iter()
            .map(|(index, rule)| CellPlan {
                index,
                unit: rule.unit,
                hexadecimal: rule.hexadecimal,
                measured_kind: rule.measured_kind,
            })
            .collect(),
        formats,
        constant: mapping.constants.get(name).cloned().or(shop),
        words: mapping.words.get(name).cloned().unwrap_or_default(),
        required: mapping.kind.must_have(column),
    }
}
