//! Independent pieces of work on a few threads.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use engine::Fault;

/// Does every item's work on at most `threads` threads; the results come in the order of the items.
///
/// # Errors
/// The first fault in that order. No further item is begun once one has failed.
pub(crate) fn in_parallel<T: Send, R: Send>(
    threads: usize,
    items: impl IntoIterator<Item = T>,
    work: impl Fn(T) -> Result<R, Fault> + Sync,
) -> Result<Vec<R>, Fault> {
    let items: Vec<Mutex<Option<T>>> = items.into_iter().map(|item| Mutex::new(Some(item))).collect();
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut done = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(index) else { return done };
            let Some(item) = item.lock().unwrap_or_else(PoisonError::into_inner).take() else { continue };
            let result = work(item);
            if result.is_err() {
                next.store(items.len(), Ordering::Relaxed);
            }
            done.push((index, result));
        }
    };
    let mut results: Vec<(usize, Result<R, Fault>)> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.min(items.len())).map(|_| scope.spawn(worker)).collect();
        let mut results = worker();
        for other in others {
            results.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        results
    });
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}

/// Does two things, side by side if there is more than one thread.
pub(crate) fn both<A, B: Send>(threads: usize, first: impl FnOnce() -> A, second: impl FnOnce() -> B + Send) -> (A, B) {
    if threads < 2 {
        return (first(), second());
    }
    std::thread::scope(|scope| {
        let second = scope.spawn(second);
        let first = first();
        (first, second.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_whatever_finishes_first() {
        let items: Vec<u64> = (0..20).collect();
        for threads in [1, 3, 64] {
            let nap = |n: &u64| {
                std::thread::sleep(std::time::Duration::from_micros(400 - 20 * n));
                Ok(n * n)
            };
            let squares: Vec<u64> = items.iter().map(|n| n * n).collect();
            assert_eq!(in_parallel(threads, &items, nap).unwrap(), squares);
        }
    }

    #[test]
    fn the_first_fault_is_told_and_ends_the_work() {
        let fault = |n: &i32| match n {
            2 | 4 => Err(Fault::input("x", &n.to_string(), String::new(), String::new())),
            _ => Ok(()),
        };
        let begun = AtomicUsize::new(0);
        let counted = |n: &i32| {
            begun.fetch_add(1, Ordering::Relaxed);
            fault(n)
        };
        let fault = in_parallel(1, &[1, 2, 3, 4], counted).unwrap_err();
        assert_eq!((fault.into_problem().at.as_str(), begun.into_inner()), ("2", 2));
    }
}
