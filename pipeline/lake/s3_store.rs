//! Lakes in a store that speaks the S3 protocol, at an address such as `s3://bucket/lakes/north`.
//!
//! Credentials, region and endpoint come from the environment, under the names that clients of that protocol
//! share (`AWS_ACCESS_KEY_ID`, `AWS_SECRET_ACCESS_KEY`, `AWS_SESSION_TOKEN`, `AWS_REGION`, `AWS_ENDPOINT_URL`;
//! `AWS_ALLOW_HTTP=true` for an endpoint without TLS). No lock is held there: a commit's entry is put only where
//! none of its version is yet (`If-None-Match`), which the store must know. Fails where the address names no bucket
//! or the environment makes no sense; that the store cannot be reached is told by whoever reads it first.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, Once, PoisonError};
use std::time::Duration;

use deltalake::logstore::{
    ObjectStoreFactory, ObjectStoreRef, StorageConfig, logstore_factories, object_store_factories,
};
use deltalake::{DeltaResult, DeltaTableError};
use object_store::aws::AmazonS3Builder;
use object_store::path::Path;
use object_store::{BackoffConfig, RetryConfig};
use url::Url;

/// The scheme of their addresses.
const SCHEME: &str = "s3://";

/// A request is tried again for so long, and so often: a wrong address is told within a minute.
const PATIENCE: Duration = Duration::from_secs(40);
const TRIES: usize = 6;

/// The stores that were opened, by bucket: the tables of a lake share one, and its connections.
#[derive(Default)]
struct S3Stores(Mutex<HashMap<String, ObjectStoreRef>>);

impl ObjectStoreFactory for S3Stores {
    fn parse_url_opts(&self, url: &Url, _: &StorageConfig) -> DeltaResult<(ObjectStoreRef, Path)> {
        let bucket = url.host_str().unwrap_or_default();
        if bucket.is_empty() {
            return Err(DeltaTableError::InvalidTableLocation(url.to_string()));
        }
        let mut stores = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let store = match stores.get(bucket) {
            Some(store) => Arc::clone(store),
            None => {
                let store = AmazonS3Builder::from_env()
                    .with_bucket_name(bucket)
                    .with_retry(RetryConfig {
                        backoff: BackoffConfig::default(),
                        max_retries: TRIES,
                        retry_timeout: PATIENCE,
                    })
                    .build()?;
                let store: ObjectStoreRef = Arc::new(store);
                stores.insert(bucket.to_owned(), Arc::clone(&store));
                store
            }
        };
        Ok((store, Path::from_url_path(url.path())?))
    }
}

/// What is wrong with an address that is not in a folder, before anything is read of it.
pub fn fault(address: &Url) -> Option<String> {
    register();
    let stores = object_store_factories();
    if !stores
        .iter()
        .any(|known| known.key().scheme() == address.scheme())
    {
        return Some(format!(
            "a lake lies in a folder or at an address that starts with {SCHEME}"
        ));
    }
    (SCHEME.starts_with(address.scheme()) && address.host_str().is_none_or(str::is_empty))
        .then(|| format!("it names no bucket: {SCHEME}BUCKET/LAKE"))
}

/// What the store refused, by the code in its answer; the answer itself is a page of XML.
pub fn refusal(answer: &str) -> Option<&'static str> {
    let codes = [
        ("NoSuchBucket", "the store has no bucket of that name"),
        ("AccessDenied", "the store refuses it to these credentials"),
        (
            "InvalidAccessKeyId",
            "the store does not know these credentials",
        ),
        (
            "SignatureDoesNotMatch",
            "the store refuses these credentials",
        ),
    ];
    let found = codes.into_iter().find(|(code, _)| answer.contains(code));
    found.map(|(_, told)| told)
}

/// Makes addresses in such a store known. The entries of their logs are put by the store itself, as in a folder.
fn register() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let logs = logstore_factories();
        let of_folders = logs.iter().find(|known| known.key().scheme() == "file");
        let of_folders = of_folders.map(|known| Arc::clone(known.value()));
        if let (Ok(scheme), Some(of_folders)) = (Url::parse(SCHEME), of_folders) {
            object_store_factories().insert(scheme.clone(), Arc::new(S3Stores::default()));
            logs.insert(scheme, of_folders);
        }
    });
}
