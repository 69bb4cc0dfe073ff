//! Work that keeps a thread busy, done by another one, so that what waits beside it goes on: many tables are
//! planned and made at a time.

use datafusion::common::runtime::SpawnedTask;
use datafusion::error::DataFusionError;

/// What the work gives. It ends with whoever waits for it: past a limit of time nothing goes on unseen.
pub async fn beside<T: Send + 'static>(
    work: impl Future<Output = Result<T, DataFusionError>> + Send + 'static,
) -> Result<T, DataFusionError> {
    match SpawnedTask::spawn(work).await {
        Ok(done) => done,
        Err(broken) => Err(DataFusionError::ExecutionJoin(Box::new(broken))),
    }
}

#[cfg(test)]
mod tests {
    use std::future::pending;
    use std::time::Duration;

    use tokio::sync::oneshot;
    use tokio::time::timeout;

    use super::*;

    #[tokio::test]
    async fn work_ends_with_whoever_waits_for_it() {
        let (held, gone) = oneshot::channel::<()>();
        let endless = beside(async move {
            let _held = held;
            pending::<Result<(), DataFusionError>>().await
        });
        let waited = timeout(Duration::from_millis(50), endless).await;
        assert!(waited.is_err(), "it has no end of its own");
        let let_go = timeout(Duration::from_secs(10), gone).await;
        assert!(let_go.is_ok(), "it goes on though nobody waits");
    }
}
