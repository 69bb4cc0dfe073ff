//! Work of the same kind done by as many threads as there are.

use std::sync::atomic::{AtomicUsize, Ordering};

/// What each of them gives, in their order whatever thread was the first; it panics where one does.
pub fn together<T: Sync, R: Send>(all: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let one_by_one = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(one) = all.get(at) else {
                return done;
            };
            done.push((at, work(one)));
        }
    };
    let mut done = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.min(all.len()))
            .map(|_| scope.spawn(one_by_one))
            .collect();
        let mut done = one_by_one();
        for other in others {
            match other.join() {
                Ok(more) => done.extend(more),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_the_order_of_what_they_are_of() {
        let all: Vec<u64> = (0..100).collect();
        let squares = together(&all, |n| n * n);
        assert_eq!(squares, all.iter().map(|n| n * n).collect::<Vec<_>>());
        assert!(together(&[], |n: &u64| *n).is_empty());
    }
}
