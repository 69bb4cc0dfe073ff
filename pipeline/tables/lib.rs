//! From raw facts to derived tables, for any day looked back from.
//!
//! This is the only folder that knows DataFusion. An [`Analysis`] holds one lake as it was known on
//! one day: the raw tables under their own names end with that day (`lake.battery_test` is the
//! whole table), so no query can see what came later. Derived tables are made when asked for, in
//! the order the query graph gives, and kept. It fails when the lake or a query does; what the
//! numbers are told as is left to the report.

mod answer;
mod as_of;
mod as_values;
pub mod backtest;
mod beside;
mod bind;
mod by_vehicle;
mod catalogue;
#[cfg(feature = "cluster")]
pub mod cluster;
mod derived;
pub mod functions;
mod kept;
mod making;
mod partial_sums;
pub mod query_graph;
mod raw_tables;
pub mod rust_tables;
mod session;
mod stages;
mod whole_windows;

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow::array::RecordBatch;
use chrono::NaiveDate;
use datafusion::common::ParamValues;
use datafusion::common::metadata::ScalarAndMetadata;
use datafusion::error::DataFusionError;
use datafusion::execution::context::SQLOptions;
use datafusion::prelude::{DataFrame, SessionContext};
use datafusion::scalar::ScalarValue;
use datafusion::sql::parser::DFParser;
use serde::de::DeserializeOwned;

pub use answer::Answer;
use as_of::KnownBy;
use as_values::each;
use beside::beside;
pub use catalogue::{ColumnNote, TableNote};
pub use kept::Chunk;
use kept::Shelf;
use lake::tables::TABLES;
use lake::{self, Lake, LakeError};
pub use making::Elsewhere;
use making::Maker;
use query_graph::{QueryGraph, QueryGraphError, is_query, tables_read};
use session::{code_groups, corrected_tables, newest_fact, register_views, session};
use settings::Settings;
use statistics::FitError;
use trade::code_group::CodeGroups;

/// Facts of the vehicles that lie in one bucket, so that what is made of them stays small.
const FACTS_OF_A_BUCKET: usize = 100_000;

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
            DataFusionError::ResourcesExhausted(why) => {
                tracing::debug!(file, why, "out of memory");
                AnalysisError::PastLimit {
                    what: format!("{file} needs more memory than queries may take"),
                    setting: "limits.memory_mb",
                }
            }
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
    code_groups: Arc<CodeGroups>,
    graph: QueryGraph,
    as_of: NaiveDate,
    known_by: Option<NaiveDate>,
    newest_fact: Option<NaiveDate>,
    parameters: BTreeMap<String, ScalarValue>,
    settings: Settings,
    maker: Maker,
    made: derived::Made,
    kept: rust_tables::week_frame::StoredFit,
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
        let code_groups = Arc::new(code_groups(lake)?);
        let context = session(Arc::clone(&code_groups), &settings.limits)?;
        let facts = raw_tables::register(&context, lake, beside).await?;
        let buckets = facts.div_ceil(FACTS_OF_A_BUCKET).max(1);
        tracing::debug!(facts, buckets, "opened");
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
            code_groups,
            graph,
            as_of,
            known_by: loaded_by,
            newest_fact,
            parameters: bind::parameters(&settings, as_of),
            maker: Maker::new(Shelf::new(settings.limits.kept_memory()), buckets),
            settings,
            made: Default::default(),
            kept: rust_tables::week_frame::StoredFit::default(),
        })
    }

    /// The same with vehicles in so many buckets; by itself it takes as many as there are facts for.
    pub fn in_buckets(mut self, buckets: usize) -> Self {
        self.maker = self.maker.in_buckets(buckets.max(1));
        self
    }

    /// The same with what is of each vehicle by itself made by other machines, which see that folder too.
    pub fn made_elsewhere(
        self,
        machines: Arc<dyn Elsewhere>,
        folder: &Path,
    ) -> Result<Self, AnalysisError> {
        let maker = self.maker.elsewhere(machines, folder);
        let maker = maker.map_err(|error| AnalysisError::query("shared folder")(error.into()))?;
        Ok(Self { maker, ..self })
    }

    /// The same with tables made where another analysis has them made.
    fn made_where(self, other: &Self) -> Result<Self, AnalysisError> {
        let maker = self.maker.where_makes(&other.maker);
        let maker = maker.map_err(|error| AnalysisError::query("shared folder")(error.into()))?;
        Ok(Self { maker, ..self })
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
        let rows = self.maker.answer(frame).await;
        rows.map_err(AnalysisError::query(name))
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
        let mut rows = Vec::new();
        self.each_with(sql, given, |row| rows.push(row)).await?;
        Ok(rows)
    }

    /// Gives each row of a query, as [`Self::rows`] reads it: of very many no more than is wanted is kept.
    pub async fn each<T: DeserializeOwned>(
        &self,
        sql: &str,
        take: impl FnMut(T),
    ) -> Result<(), AnalysisError> {
        self.each_with(sql, &[], take).await
    }

    async fn each_with<T: DeserializeOwned>(
        &self,
        sql: &str,
        given: &[(&str, &str)],
        take: impl FnMut(T),
    ) -> Result<(), AnalysisError> {
        let frame = self.frame(sql, given).await?;
        let batches = self.maker.answer(frame).await;
        let batches = batches.map_err(AnalysisError::query("query"))?;
        each(batches, take).map_err(|source| AnalysisError::Rows {
            table: sql.to_owned(),
            source,
        })
    }

    /// Runs one read-only query over raw and derived tables; parameters are bound.
    pub async fn query(&self, sql: &str) -> Result<Vec<RecordBatch>, AnalysisError> {
        let frame = self.frame(sql, &[]).await?;
        let rows = self.maker.answer(frame).await;
        rows.map_err(AnalysisError::query("query"))
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
        let values: HashMap<String, ScalarAndMetadata> = self
            .parameters
            .clone()
            .into_iter()
            .chain(given.iter().map(|(name, text)| {
                (
                    (*name).to_owned(),
                    ScalarValue::Utf8(Some((*text).to_owned())),
                )
            }))
            .map(|(name, value)| (name, ScalarAndMetadata::from(value)))
            .collect();
        let (context, sql) = (self.context.clone(), sql.to_owned());
        let planned = beside(async move {
            let frame = context.sql_with_options(&sql, read_only).await?;
            frame.with_param_values(ParamValues::Map(values))
        });
        planned.await.map_err(AnalysisError::query(file))
    }

    /// The derived tables' queries.
    pub fn graph(&self) -> &QueryGraph {
        &self.graph
    }
}
