//! Planning done on a thread of its own: many tables are planned at a time, and each keeps a thread busy.

use datafusion::error::DataFusionError;

/// What the work gives; what waits beside it goes on meanwhile.
pub async fn beside<T: Send + 'static>(
    work: impl Future<Output = Result<T, DataFusionError>> + Send + 'static,
) -> Result<T, DataFusionError> {
    match tokio::spawn(work).await {
        Ok(done) => done,
        Err(broken) => Err(DataFusionError::ExecutionJoin(Box::new(broken))),
    }
}
