//! An object store in memory that counts the bytes read of data files.

use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use futures::stream::BoxStream;
use object_store::memory::InMemory;
use object_store::path::Path;
use object_store::{
    CopyOptions, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta, ObjectStore,
    PutMultipartOptions, PutOptions, PutPayload, PutResult, Result,
};

#[derive(Debug, Default)]
pub struct CountedStore {
    store: InMemory,
    read: Arc<AtomicU64>,
}

impl CountedStore {
    /// Bytes of data files that were asked for so far.
    pub fn read(&self) -> u64 {
        self.read.load(Ordering::Relaxed)
    }
}

impl fmt::Display for CountedStore {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "counted {}", self.store)
    }
}

#[async_trait::async_trait]
impl ObjectStore for CountedStore {
    async fn get_opts(&self, location: &Path, options: GetOptions) -> Result<GetResult> {
        let is_head = options.head;
        let got = self.store.get_opts(location, options).await?;
        if !is_head && location.as_ref().ends_with(".parquet") {
            let bytes = got.range.end - got.range.start;
            self.read.fetch_add(bytes, Ordering::Relaxed);
        }
        Ok(got)
    }

    async fn put_opts(&self, to: &Path, bytes: PutPayload, how: PutOptions) -> Result<PutResult> {
        self.store.put_opts(to, bytes, how).await
    }

    async fn put_multipart_opts(
        &self,
        to: &Path,
        how: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        self.store.put_multipart_opts(to, how).await
    }

    fn delete_stream(
        &self,
        gone: BoxStream<'static, Result<Path>>,
    ) -> BoxStream<'static, Result<Path>> {
        self.store.delete_stream(gone)
    }

    fn list(&self, prefix: Option<&Path>) -> BoxStream<'static, Result<ObjectMeta>> {
        self.store.list(prefix)
    }

    async fn list_with_delimiter(&self, prefix: Option<&Path>) -> Result<ListResult> {
        self.store.list_with_delimiter(prefix).await
    }

    async fn copy_opts(&self, from: &Path, to: &Path, how: CopyOptions) -> Result<()> {
        self.store.copy_opts(from, to, how).await
    }
}
