//! How rows that lie in the shared folder, and the work to be done with them, are told to other machines.

use std::sync::Arc;

use arrow::datatypes::{Schema, SchemaRef};
use arrow::error::ArrowError;
use arrow::ipc::reader::StreamReader;
use arrow::ipc::writer::StreamWriter;
use datafusion::common::internal_datafusion_err;
use datafusion::error::DataFusionError;

use crate::kept::{Chunk, Lies};

/// A plan to be worked through for some buckets.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub struct Work {
    #[prost(bytes = "vec", tag = "1")]
    pub plan: Vec<u8>,
    /// The schema under which its rows are kept.
    #[prost(bytes = "vec", tag = "2")]
    pub schema: Vec<u8>,
    /// The folder that all machines see.
    #[prost(string, tag = "3")]
    pub folder: String,
    #[prost(string, optional, tag = "4")]
    pub code_groups: Option<String>,
}

/// Where rows lie, a list for each table that is read.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub struct Lists {
    #[prost(message, repeated, tag = "1")]
    lists: Vec<List>,
}

#[derive(Clone, PartialEq, Eq, prost::Message)]
pub struct List {
    #[prost(message, repeated, tag = "1")]
    places: Vec<Place>,
}

#[derive(Clone, PartialEq, Eq, prost::Message)]
struct Place {
    #[prost(string, tag = "1")]
    path: String,
    #[prost(uint64, tag = "2")]
    from: u64,
    #[prost(uint64, tag = "3")]
    rows: u64,
    #[prost(uint64, tag = "4")]
    held: u64,
    /// How many bytes each column takes.
    #[prost(uint64, repeated, tag = "5")]
    columns: Vec<u64>,
}

impl Lists {
    pub fn of<'a>(lists: impl Iterator<Item = &'a [Chunk]>) -> Result<Self, DataFusionError> {
        let lists = lists.map(List::of).collect::<Result<_, _>>()?;
        Ok(Self { lists })
    }

    pub fn chunks(&self) -> Vec<Vec<Chunk>> {
        self.lists.iter().map(List::chunks).collect()
    }
}

impl List {
    pub fn of(chunks: &[Chunk]) -> Result<Self, DataFusionError> {
        let place = |chunk: &Chunk| {
            let (path, lies) = chunk.lies_shared()?;
            Some(Place {
                path: path.to_str()?.to_owned(),
                from: lies.from,
                rows: chunk.rows as u64,
                held: chunk.held as u64,
                columns: lies.columns.iter().map(|bytes| *bytes as u64).collect(),
            })
        };
        let places = chunks.iter().map(place).collect::<Option<_>>();
        let places = places.ok_or_else(|| {
            internal_datafusion_err!("rows for the cluster do not lie in its folder")
        })?;
        Ok(Self { places })
    }

    pub fn chunks(&self) -> Vec<Chunk> {
        let of = |number: u64| usize::try_from(number).unwrap_or(usize::MAX);
        let chunk = |place: &Place| {
            let path = place.path.clone().into();
            let lies = Lies {
                from: place.from,
                columns: place.columns.iter().map(|bytes| of(*bytes)).collect(),
            };
            Chunk::shared(of(place.rows), of(place.held), path, lies)
        };
        self.places.iter().map(chunk).collect()
    }
}

/// A schema as the head of a stream of the Arrow format.
pub fn schema_bytes(schema: &Schema) -> Vec<u8> {
    let stream = StreamWriter::try_new(Vec::new(), schema);
    stream
        .and_then(StreamWriter::into_inner)
        .unwrap_or_default()
}

pub fn schema_of(bytes: &[u8]) -> Result<SchemaRef, ArrowError> {
    Ok(Arc::clone(&StreamReader::try_new(bytes, None)?.schema()))
}
