//! What is read or worked out once for all sections of a report that ask for it.

use std::any::Any;
use std::collections::HashMap;
use std::future::Future;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::OnceCell;

type Found = Arc<OnceCell<Arc<dyn Any + Send + Sync>>>;

/// What was found, each under a name of its own.
#[derive(Default)]
pub struct Once(Mutex<HashMap<&'static str, Found>>);

impl Once {
    /// What `find` gives, asked for once under that name; of those who ask at a time the others wait. What
    /// failed is tried again by the next.
    pub async fn of<T: Any + Send + Sync, E, F: Future<Output = Result<T, E>> + Send>(
        &self,
        name: &'static str,
        find: impl Fn() -> F,
    ) -> Result<Arc<T>, E> {
        let cell = {
            let mut found = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(found.entry(name).or_default())
        };
        let any = cell
            .get_or_try_init(|| {
                let finding = find();
                async { Ok(Arc::new(finding.await?) as Arc<dyn Any + Send + Sync>) }
            })
            .await?;
        match Arc::clone(any).downcast::<T>() {
            Ok(found) => Ok(found),
            // Another kind of thing of the same name.
            Err(_) => find().await.map(Arc::new),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[tokio::test]
    async fn several_who_ask_are_told_what_was_found_once() {
        let (once, asked) = (Once::default(), AtomicUsize::new(0));
        let find = || async {
            tokio::task::yield_now().await;
            match asked.fetch_add(1, Ordering::Relaxed) {
                0 => Err("not yet"),
                found => Ok(found),
            }
        };
        assert_eq!(once.of("it", find).await, Err("not yet"));
        let (a, b) = tokio::join!(once.of("it", find), once.of("it", find));
        assert_eq!((a, b), (Ok(Arc::new(1)), Ok(Arc::new(1))));
        let other: Result<_, &str> = once.of("it", || async { Ok("a text") }).await;
        assert_eq!(other, Ok(Arc::new("a text")));
        assert_eq!(asked.load(Ordering::Relaxed), 2);
    }
}
