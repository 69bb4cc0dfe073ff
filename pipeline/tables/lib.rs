//! From raw facts to derived tables, for any day looked back from.
//!
//! This is the only folder that knows DataFusion. An [`Analysis`] holds one lake as it was known on
//! one day: the raw tables under their own names end with that day (`lake.battery_test` is the
//! whole table), so no query can see what came later. Derived tables are made when asked for, in
//! the order the query graph gives, and kept. It fails when the lake or a query does; what the
//! numbers are told as is left to the report.

mod answer;
mod as_of;
pub mod backtest;
mod bind;
mod catalogue;
pub mod functions;
pub mod query_graph;
mod raw_tables;
pub mod rust_tables;

use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{Date32Type, Schema, SchemaRef};
use chrono::NaiveDate;
use datafusion::common::ParamValues;
use datafusion::common::metadata::ScalarAndMetadata;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use datafusion::execution::context::SQLOptions;
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::prelude::{DataFrame, SessionConfig, SessionContext};
use datafusion::scalar::ScalarValue;
use datafusion::sql::parser::DFParser;
use serde::de::DeserializeOwned;

pub use answer::Answer;
use as_of::KnownBy;
pub use catalogue::{ColumnNote, TableNote};
use lake::tables::TABLES;
use lake::{self, Lake, LakeError};
use query_graph::{Query, QueryGraph, QueryGraphError, is_query, tables_read};
use rust_tables::Computed;
use settings::limits::bytes_of_mb;
use settings::{Limits, Settings};
use statistics::FitError;
use trade::code_group::CodeGroups;

/// Fixed rather than the machine's cores, so that a report is the same on any machine.
const PARTITIONS: usize = 4;

/// Why an analysis could not be made.
#[derive(Debug, thiserror::Error)]
pub enum AnalysisError {
    #[error(transparent)]
    Lake(#[from] LakeError),
    #[error(transparent)]
    Graph(#[from] QueryGraphError),
    #[error("{file}: {source}")]
    Query {
        file: String,
        #[source]
        source: Box<DataFusionError>,
    },
    #[error(
        "only queries are run here, the lake is never changed by SQL: begin with SELECT or WITH"
    )]
    NotAQuery,
    #[error("the code groups {path} are not right: {source}")]
    CodeGroups {
        path: PathBuf,
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    #[error("{table} could not be fitted: {source}")]
    Fit {
        table: &'static str,
        #[source]
        source: FitError,
    },
    #[error("the lake holds no facts yet: load some dumps first")]
    Empty,
    #[error("{what}; ask for less, or raise {setting} in voltwane.toml")]
    PastLimit { what: String, setting: &'static str },
    #[error("there is no table {0}: `voltwane sql --lake LAKE --list` shows all")]
    NoSuchTable(String),
    #[error(
        "rows of {table} do not have the columns they are read by: {source}. If the query was changed, keep its columns"
    )]
    Rows {
        table: String,
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

impl AnalysisError {
    fn fit(table: &'static str) -> impl FnOnce(FitError) -> Self {
        move |source| AnalysisError::Fit { table, source }
    }

    fn query(file: impl Into<String>) -> impl FnOnce(DataFusionError) -> Self {
        let file = file.into();
        move |source| match source.find_root() {
            DataFusionError::ResourcesExhausted(_) => AnalysisError::PastLimit {
                what: format!("{file} needs more memory than queries may take"),
                setting: "limits.query_memory_mb",
            },
            _ => AnalysisError::Query {
                file,
                source: Box::new(source),
            },
        }
    }
}

/// A lake as it was known on one day, with every derived table at hand.
pub struct Analysis {
    context: SessionContext,
    graph: QueryGraph,
    as_of: NaiveDate,
    known_by: Option<NaiveDate>,
    newest_fact: Option<NaiveDate>,
    settings: Settings,
    made: Mutex<BTreeSet<String>>,
    kept: rust_tables::week_frame::KeptFit,
}

impl Analysis {
    /// Opens the lake as it was known at the end of `as_of` (UTC). Without a day, it is the day of
    /// the newest fact, and `today` where there are no facts. The facts of the lakes `beside` it are
    /// read as if they stood in it; the lake itself is not touched. With `loaded_by` only what had been
    /// loaded or corrected by the end of that day is known.
    pub async fn new(
        lake: &Lake,
        beside: &[&Lake],
        as_of: Option<NaiveDate>,
        loaded_by: Option<NaiveDate>,
        today: NaiveDate,
        settings: Settings,
        queries: Option<&Path>,
    ) -> Result<Self, AnalysisError> {
        let context = session(code_groups(lake)?, &settings.limits)?;
        raw_tables::register(&context, lake, beside).await?;
        let given = rust_tables::given(TABLES.iter().map(|table| table.name.to_owned()));
        let graph = QueryGraph::new(queries, &given, settings.limits.expression_depth)?;
        let newest_fact = newest_fact(&context, loaded_by).await?;
        let as_of = as_of.or(newest_fact).unwrap_or(today);
        let corrected = corrected_tables(&context).await?;
        let known_by = KnownBy {
            as_of,
            is_newest: newest_fact.is_none_or(|newest| as_of >= newest),
            loaded_by,
            corrected: &corrected,
        };
        register_views(&context, known_by).await?;
        Ok(Self {
            context,
            graph,
            as_of,
            known_by: loaded_by,
            newest_fact,
            settings,
            made: Mutex::default(),
            kept: rust_tables::week_frame::KeptFit::default(),
        })
    }

    /// The day the analysis looks back from.
    pub fn as_of(&self) -> NaiveDate {
        self.as_of
    }

    /// The day by the end of which what is known had been loaded, where one is given.
    pub fn known_by(&self) -> Option<NaiveDate> {
        self.known_by
    }

    /// The day of the newest fact in the lake. Errors when there is none: nothing can be said then.
    pub fn newest_fact(&self) -> Result<NaiveDate, AnalysisError> {
        self.newest_fact.ok_or(AnalysisError::Empty)
    }

    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// All rows of a raw or derived table.
    pub async fn table(&self, name: &str) -> Result<Vec<RecordBatch>, AnalysisError> {
        self.make(name).await?;
        let frame = self
            .context
            .table(name)
            .await
            .map_err(|_| AnalysisError::NoSuchTable(name.to_owned()))?;
        frame.collect().await.map_err(AnalysisError::query(name))
    }

    /// The rows a query gives, read into `T` by column name. Days and instants come as text.
    pub async fn rows<T: DeserializeOwned>(&self, sql: &str) -> Result<Vec<T>, AnalysisError> {
        self.rows_with(sql, &[]).await
    }

    /// As [`Self::rows`], with further parameters of the query bound to texts.
    pub async fn rows_with<T: DeserializeOwned>(
        &self,
        sql: &str,
        given: &[(&str, &str)],
    ) -> Result<Vec<T>, AnalysisError> {
        let batches = self
            .frame(sql, given)
            .await?
            .collect()
            .await
            .map_err(AnalysisError::query("query"))?;
        let failed = |source: Box<dyn std::error::Error + Send + Sync>| AnalysisError::Rows {
            table: sql.to_owned(),
            source,
        };
        let mut writer = arrow::json::WriterBuilder::new()
            .with_explicit_nulls(true)
            .build::<_, arrow::json::writer::JsonArray>(Vec::new());
        for batch in &batches {
            writer.write(batch).map_err(|error| failed(error.into()))?;
        }
        writer.finish().map_err(|error| failed(error.into()))?;
        let bytes = writer.into_inner();
        if bytes.is_empty() {
            return Ok(Vec::new());
        }
        serde_json::from_slice(&bytes).map_err(|error| failed(error.into()))
    }

    /// Runs one read-only query over raw and derived tables; parameters are bound.
    pub async fn query(&self, sql: &str) -> Result<Vec<RecordBatch>, AnalysisError> {
        let frame = self.frame(sql, &[]).await?;
        frame.collect().await.map_err(AnalysisError::query("query"))
    }

    async fn frame(&self, sql: &str, given: &[(&str, &str)]) -> Result<DataFrame, AnalysisError> {
        let statements = DFParser::parse_sql(sql).map_err(AnalysisError::query("query"))?;
        let [statement] = &statements.into_iter().collect::<Vec<_>>()[..] else {
            return Err(AnalysisError::NotAQuery);
        };
        if !is_query(statement) {
            return Err(AnalysisError::NotAQuery);
        }
        for table in tables_read("query", statement)? {
            let raw = table.strip_prefix("lake.").unwrap_or(&table);
            if lake::tables::table(raw).is_none() && self.derived(&table).is_none() {
                return Err(AnalysisError::NoSuchTable(table));
            }
            self.make(&table).await?;
        }
        self.plan("query", sql, given).await
    }

    async fn plan(
        &self,
        file: &str,
        sql: &str,
        given: &[(&str, &str)],
    ) -> Result<DataFrame, AnalysisError> {
        let read_only = SQLOptions::new()
            .with_allow_ddl(false)
            .with_allow_dml(false)
            .with_allow_statements(false);
        let values: HashMap<String, ScalarAndMetadata> =
            bind::parameters(&self.settings, self.as_of)
                .into_iter()
                .chain(given.iter().map(|(name, text)| {
                    (
                        (*name).to_owned(),
                        ScalarValue::Utf8(Some((*text).to_owned())),
                    )
                }))
                .map(|(name, value)| (name, ScalarAndMetadata::from(value)))
                .collect();
        self.context
            .sql_with_options(sql, read_only)
            .await
            .and_then(|frame| frame.with_param_values(ParamValues::Map(values)))
            .map_err(AnalysisError::query(file))
    }

    /// Makes a derived table and those below it, where they are not there yet.
    async fn make(&self, name: &str) -> Result<(), AnalysisError> {
        let mut wanted = vec![name.to_owned()];
        // The graph has no circles, so this ends: a table is finished once those below it are.
        while let Some(next) = wanted.last().cloned() {
            let Some(derived) = self.derived(&next) else {
                wanted.pop();
                continue;
            };
            if self.is_made(&next) {
                wanted.pop();
                continue;
            }
            let below: Vec<String> = derived
                .reads()
                .filter(|table| self.derived(table).is_some() && !self.is_made(table))
                .map(str::to_owned)
                .collect();
            if below.is_empty() {
                self.make_one(derived).await?;
                wanted.pop();
            } else {
                wanted.extend(below);
            }
        }
        Ok(())
    }

    fn derived(&self, name: &str) -> Option<Derived<'_>> {
        match self.graph.get(name) {
            Some(query) => Some(Derived::Query(query)),
            None => rust_tables::computed(name).map(Derived::Computed),
        }
    }

    fn is_made(&self, name: &str) -> bool {
        self.made
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .contains(name)
    }

    fn is_now_made(&self, name: &str) {
        self.made
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
            .insert(name.to_owned());
    }

    async fn make_one(&self, derived: Derived<'_>) -> Result<(), AnalysisError> {
        let started = std::time::Instant::now();
        let name = derived.name();
        match derived {
            Derived::Computed(table) => {
                let (schema, batches) = (table.make)(self).await?;
                self.keep(name, schema, vec![batches])
                    .map_err(AnalysisError::query(name))?;
            }
            Derived::Query(query) => {
                let frame = self.plan(&query.file, &query.sql, &[]).await?;
                if query.kept {
                    let schema = Arc::new(frame.schema().as_arrow().clone());
                    let partitions = frame
                        .collect_partitioned()
                        .await
                        .map_err(AnalysisError::query(&query.file))?;
                    self.keep(name, schema, partitions)
                        .map_err(AnalysisError::query(&query.file))?;
                } else {
                    self.context
                        .register_table(name, frame.into_view())
                        .map_err(AnalysisError::query(&query.file))?;
                }
            }
        }
        self.is_now_made(name);
        tracing::debug!(
            table = name,
            seconds = started.elapsed().as_secs_f64(),
            "made"
        );
        Ok(())
    }

    fn keep(
        &self,
        name: &str,
        schema: SchemaRef,
        partitions: Vec<Vec<RecordBatch>>,
    ) -> Result<(), DataFusionError> {
        // A plan may promise other than its rows keep (no nulls, one of two text types), so the kept
        // table promises nothing about nulls and its rows are brought to its types.
        let schema = Arc::new(Schema::new(
            schema
                .fields()
                .iter()
                .map(|field| field.as_ref().clone().with_nullable(true))
                .collect::<Vec<_>>(),
        ));
        let partitions = partitions
            .into_iter()
            .map(|batches| {
                batches
                    .into_iter()
                    .map(|batch| {
                        let columns = batch
                            .columns()
                            .iter()
                            .zip(schema.fields())
                            .map(|(column, field)| cast(column, field.data_type()))
                            .collect::<Result<Vec<_>, _>>()?;
                        RecordBatch::try_new(Arc::clone(&schema), columns)
                    })
                    .collect::<Result<Vec<_>, _>>()
            })
            .collect::<Result<Vec<_>, _>>()?;
        let table = MemTable::try_new(schema, partitions)?;
        self.context.register_table(name, Arc::new(table))?;
        Ok(())
    }

    /// The derived tables' queries.
    pub fn graph(&self) -> &QueryGraph {
        &self.graph
    }
}

/// The lake's own code groups, where its folder has a `code_groups.toml`.
fn code_groups(lake: &Lake) -> Result<CodeGroups, AnalysisError> {
    let Some(path) = lake.folder().map(|folder| folder.join("code_groups.toml")) else {
        return Ok(CodeGroups::builtin());
    };
    let failed = |source: Box<dyn std::error::Error + Send + Sync>| AnalysisError::CodeGroups {
        path: path.clone(),
        source,
    };
    if !path.exists() {
        return Ok(CodeGroups::builtin());
    }
    let text = settings::text_file::read(&path).map_err(|error| failed(error.into()))?;
    CodeGroups::with_table(&text).map_err(|error| failed(error.into()))
}

/// Registers each raw table under its own name, as it was known at the end of a day.
async fn register_views(
    context: &SessionContext,
    known_by: KnownBy<'_>,
) -> Result<(), AnalysisError> {
    for table in TABLES {
        let sql = as_of::view_sql(table, known_by);
        let view = context
            .sql(&sql)
            .await
            .map_err(AnalysisError::query(table.name))?
            .into_view();
        context
            .register_table(table.name, view)
            .map_err(AnalysisError::query(table.name))?;
    }
    Ok(())
}

/// A derived table: a query, or one that Rust makes. A query of the same name comes first, so that
/// a user can put SQL in the place of either.
#[derive(Clone, Copy)]
enum Derived<'a> {
    Query(&'a Query),
    Computed(&'static Computed),
}

impl<'a> Derived<'a> {
    fn name(self) -> &'a str {
        match self {
            Derived::Query(query) => &query.name,
            Derived::Computed(table) => table.name,
        }
    }

    fn reads(self) -> Box<dyn Iterator<Item = &'a str> + 'a> {
        match self {
            Derived::Query(query) => Box::new(query.reads.iter().map(String::as_str)),
            Derived::Computed(table) => Box::new(table.reads.iter().copied()),
        }
    }
}

fn session(groups: CodeGroups, limits: &Limits) -> Result<SessionContext, AnalysisError> {
    let memory = usize::try_from(bytes_of_mb(limits.query_memory_mb)).unwrap_or(usize::MAX);
    let runtime = RuntimeEnvBuilder::new()
        .with_memory_limit(memory, 1.0)
        .build_arc()
        .map_err(AnalysisError::query("session"))?;
    let config = SessionConfig::new()
        .with_target_partitions(PARTITIONS)
        .set_bool("datafusion.sql_parser.map_string_types_to_utf8view", false)
        .set_bool(
            "datafusion.execution.parquet.schema_force_view_types",
            false,
        );
    let context = SessionContext::new_with_config_rt(config, runtime);
    functions::register_all(&context, Arc::new(groups));
    Ok(context)
}

/// The tables in which a row is corrected by another.
async fn corrected_tables(context: &SessionContext) -> Result<Vec<&'static str>, AnalysisError> {
    let batches = context
        .sql(&as_of::corrected_tables_sql())
        .await
        .map_err(AnalysisError::query("corrections"))?
        .collect()
        .await
        .map_err(AnalysisError::query("corrections"))?;
    Ok(batches
        .iter()
        .flat_map(|batch| batch.column(0).as_string::<i32>().iter().flatten())
        .filter_map(|name| Some(lake::tables::table(name)?.name))
        .collect())
}

/// The day of the newest fact about a vehicle, none in an empty lake.
async fn newest_fact(
    context: &SessionContext,
    loaded_by: Option<NaiveDate>,
) -> Result<Option<NaiveDate>, AnalysisError> {
    let sql = as_of::newest_fact_sql(loaded_by);
    let batches = context
        .sql(&sql)
        .await
        .map_err(AnalysisError::query("newest fact"))?
        .collect()
        .await
        .map_err(AnalysisError::query("newest fact"))?;
    Ok(batches.first().and_then(|batch| {
        let days = batch.column(0).as_primitive::<Date32Type>();
        (!days.is_empty() && days.is_valid(0))
            .then(|| Date32Type::to_naive_date_opt(days.value(0)))?
    }))
}
