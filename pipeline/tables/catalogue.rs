//! What tables there are, what a row of each is, and what its columns mean.
//!
//! No table is made for it: every query is planned over tables without rows, and those that Rust makes
//! are made of nothing. What a column means stands in `queries/columns.toml`, once for all tables
//! where its name means the same, or under the table's name; a column of a fact passed on keeps the
//! meaning it has in the lake. Units are in the names.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use arrow::datatypes::{DataType, SchemaRef};
use datafusion::catalog::MemorySchemaProvider;
use datafusion::datasource::MemTable;

use super::as_of::KnownBy;
use super::derived::Derived;
use super::kept::KeptTable;
use super::making::promising_nothing;
use super::query_graph::COLUMNS;
use super::session::{register_views, session};
use super::{Analysis, AnalysisError, rust_tables};
use lake::tables::{KEPT_BESIDE, TABLES, Table};

/// A table, what its rows are, its columns.
#[derive(Debug, Clone)]
pub struct TableNote {
    pub name: String,
    pub about: String,
    pub columns: Vec<ColumnNote>,
}

/// A column, what kind of value it holds and what that means; the meaning is empty where nobody has
/// written it down yet.
#[derive(Debug, Clone)]
pub struct ColumnNote {
    pub name: String,
    pub kind: String,
    pub meaning: String,
}

impl Analysis {
    /// Every raw and derived table with its columns, or the one of that name: `lake.TABLE` is the raw
    /// table with all that it keeps.
    pub async fn list(&self, name: Option<&str>) -> Result<Vec<TableNote>, AnalysisError> {
        if let Some(name) = name {
            let (whole, raw) = match name.strip_prefix("lake.") {
                Some(raw) => (true, raw),
                None => (false, name),
            };
            if let Some(table) = lake::tables::table(raw) {
                return Ok(vec![raw_note(table, whole)]);
            }
            let derived = self.derived(name);
            let derived = derived.ok_or_else(|| AnalysisError::NoSuchTable(name.to_owned()))?;
            let schema = self.without_rows().await?.schema_of(derived).await?;
            return Ok(vec![note(derived, &schema)]);
        }
        let mut notes: Vec<TableNote> = TABLES.iter().map(|table| raw_note(table, false)).collect();
        let empty = self.without_rows().await?;
        let computed = rust_tables::COMPUTED
            .iter()
            .filter(|table| self.graph().get(table.name).is_none())
            .map(Derived::Computed);
        let queries = self.graph().iter().map(Derived::Query);
        for derived in computed.chain(queries) {
            notes.push(note(derived, &empty.schema_of(derived).await?));
        }
        Ok(notes)
    }

    /// The same analysis of a lake without a row.
    async fn without_rows(&self) -> Result<Analysis, AnalysisError> {
        let code_groups = Arc::clone(&self.code_groups);
        let context = session(Arc::clone(&code_groups), &self.settings.limits)?;
        let catalog = context
            .catalog("datafusion")
            .ok_or_else(|| AnalysisError::NoSuchTable("datafusion".to_owned()))?;
        catalog
            .register_schema("lake", Arc::new(MemorySchemaProvider::new()))
            .map_err(AnalysisError::query("lake"))?;
        for table in TABLES {
            let none = MemTable::try_new(table.lake_schema(), vec![vec![]]);
            let none = none.map_err(AnalysisError::query(table.name))?;
            context
                .register_table(format!("lake.{}", table.name), Arc::new(none))
                .map_err(AnalysisError::query(table.name))?;
        }
        let known_by = KnownBy {
            as_of: self.as_of,
            is_newest: true,
            loaded_by: None,
            corrected: &[],
        };
        register_views(&context, known_by).await?;
        Ok(Analysis {
            context,
            code_groups,
            graph: self.graph.clone(),
            as_of: self.as_of,
            known_by: self.known_by,
            newest_fact: self.newest_fact,
            parameters: self.parameters.clone(),
            maker: self.maker.clone().in_buckets(1),
            settings: self.settings.clone(),
            made: Default::default(),
            kept: Default::default(),
        })
    }

    /// The columns of a derived table, in an analysis without rows. Those below it are put in place,
    /// without rows too.
    async fn schema_of(&self, wanted: Derived<'_>) -> Result<SchemaRef, AnalysisError> {
        let mut waiting = vec![wanted];
        // The graph has no circles, so this ends: a table is finished once those below it are.
        while let Some(next) = waiting.last().copied() {
            let below: Vec<Derived<'_>> = next
                .reads()
                .filter_map(|table| self.derived(table))
                .filter(|table| !self.made.holds(table.name()))
                .collect();
            if !below.is_empty() {
                waiting.extend(below);
                continue;
            }
            waiting.pop();
            match next {
                _ if self.made.holds(next.name()) => {}
                Derived::Computed(_) | Derived::Raw(_) => self.make(next.name()).await?,
                Derived::Query(query) => {
                    let frame = self.plan(&query.file, &query.sql, &[]).await?;
                    let schema = promising_nothing(frame.schema().as_arrow());
                    let none = KeptTable::new(schema, None, Vec::new());
                    self.keep(&query.name, none)
                        .map_err(AnalysisError::query(&query.file))?;
                    self.made.once(&query.name).set(()).ok();
                }
            }
        }
        let table = self.context.table(wanted.name()).await;
        let table = table.map_err(AnalysisError::query(wanted.name()))?;
        Ok(Arc::new(table.schema().as_arrow().clone()))
    }
}

/// A raw table as queries see it, or the `whole` of it with what the lake keeps beside each row.
fn raw_note(table: &Table, whole: bool) -> TableNote {
    let columns = table.columns.iter().map(|column| ColumnNote {
        name: column.name.to_owned(),
        kind: kind(&column.kind.data_type()).to_owned(),
        meaning: column.about.to_owned(),
    });
    if !whole {
        return TableNote {
            name: table.name.to_owned(),
            about: format!("one row is {}", table.row_is),
            columns: columns.collect(),
        };
    }
    let schema = table.lake_schema();
    let kept = schema.fields().iter().skip(table.columns.len());
    let kept = kept.map(|field| ColumnNote {
        name: field.name().clone(),
        kind: kind(field.data_type()).to_owned(),
        meaning: KEPT_BESIDE
            .iter()
            .find(|(name, _)| name == field.name())
            .map_or_else(String::new, |(_, meaning)| (*meaning).to_owned()),
    });
    TableNote {
        name: format!("lake.{}", table.name),
        about: format!(
            "one row is {}, with those of later days and those that were corrected",
            table.row_is
        ),
        columns: columns.chain(kept).collect(),
    }
}

fn note(derived: Derived<'_>, schema: &SchemaRef) -> TableNote {
    let about = match derived {
        // What a row is, to the end of the sentence; then it says what it reads.
        Derived::Query(query) => {
            let lines: Vec<&str> = query
                .about
                .lines()
                .take_while(|line| !line.starts_with("Reads"))
                .collect();
            lines.join(" ")
        }
        Derived::Computed(table) => table.about.to_owned(),
        Derived::Raw(table) => table.row_is.to_owned(),
    };
    let columns = schema.fields().iter().map(|field| ColumnNote {
        name: field.name().clone(),
        kind: kind(field.data_type()).to_owned(),
        meaning: MEANINGS.of(derived.name(), field.name()),
    });
    TableNote {
        name: derived.name().to_owned(),
        about,
        columns: columns.collect(),
    }
}

/// The kind of a value, as people call it.
fn kind(data_type: &DataType) -> &'static str {
    match data_type {
        DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View => "text",
        DataType::Boolean => "true or false",
        DataType::Date32 | DataType::Date64 => "day",
        DataType::Timestamp(..) => "instant",
        DataType::Struct(_) => "struct",
        DataType::List(_) | DataType::LargeList(_) => "list",
        other if other.is_integer() => "whole number",
        other if other.is_numeric() => "number",
        _ => "value",
    }
}

/// What columns mean.
struct Meanings {
    /// Of any table.
    shared: BTreeMap<String, String>,
    /// By table, where the name means something else there.
    own: BTreeMap<String, BTreeMap<String, String>>,
}

static MEANINGS: LazyLock<Meanings> = LazyLock::new(|| {
    let mut meanings = Meanings {
        shared: BTreeMap::new(),
        own: BTreeMap::new(),
    };
    for column in TABLES.iter().flat_map(|table| table.columns) {
        let about = column.about.to_owned();
        meanings
            .shared
            .entry(column.name.to_owned())
            .or_insert(about);
    }
    // A test holds the file to be right; a program built with a wrong one knows less.
    for (name, value) in COLUMNS.parse::<toml::Table>().unwrap_or_default() {
        match value {
            toml::Value::String(meaning) => {
                meanings.shared.insert(name, meaning);
            }
            toml::Value::Table(own) => {
                let own = own
                    .into_iter()
                    .filter_map(|(name, value)| Some((name, value.as_str()?.to_owned())));
                meanings.own.insert(name, own.collect());
            }
            _ => {}
        }
    }
    meanings
});

impl Meanings {
    fn of(&self, table: &str, column: &str) -> String {
        let own = self.own.get(table).and_then(|own| own.get(column));
        own.or_else(|| self.shared.get(column))
            .cloned()
            .unwrap_or_default()
    }
}
