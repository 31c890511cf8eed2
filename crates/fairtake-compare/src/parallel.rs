//! Work on several items at once.

use crate::ReadError;
use std::convert::Infallible;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Maps over items on as many threads as there are cores, keeping their order. A thread that is done takes the next item;
/// every item is worked on by itself, so that what comes of it depends on no timing.
pub(crate) fn in_parallel<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(&T) -> Result<R, ReadError> + Sync,
) -> Result<Vec<R>, ReadError> {
    in_parallel_with(items, || (), |_, item| work(item))
}

/// The same where nothing is read: what is made of each item, in their order, on as many threads as there are cores.
pub fn each_in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let made: Result<Vec<R>, Infallible> = in_parallel_with(items, || (), |_, item| Ok(work(item)));
    match made {
        Ok(made) => made,
        Err(never) => match never {},
    }
}

/// The same where each thread has room of its own, which is kept from one item to the next and carries nothing over.
pub(crate) fn in_parallel_with<T: Sync, R: Send, E: Send, Room>(
    items: &[T],
    room: impl Fn() -> Room + Sync,
    work: impl Fn(&mut Room, &T) -> Result<R, E> + Sync,
) -> Result<Vec<R>, E> {
    let n_threads = thread::available_parallelism().map_or(1, |n| n.get()).min(items.len());
    let next = AtomicUsize::new(0);
    let work_on = || -> Vec<(usize, Result<R, E>)> {
        let (mut room, mut done) = (room(), Vec::new());
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(i) else { return done };
            done.push((i, work(&mut room, item)));
        }
    };
    let mut done: Vec<(usize, Result<R, E>)> = thread::scope(|scope| {
        // The calling thread works too.
        let others: Vec<_> = (1..n_threads).map(|_| scope.spawn(work_on)).collect();
        let own = work_on();
        let theirs = others.into_iter().flat_map(|w| w.join().expect("measuring does not panic"));
        own.into_iter().chain(theirs).collect()
    });
    done.sort_unstable_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, result)| result).collect()
}

/// Something that is known, or worked out on a thread of its own.
pub(crate) enum Later<'scope, T> {
    Known(T),
    Spawned(thread::ScopedJoinHandle<'scope, T>),
}

impl<'scope, T: Send + 'scope> Later<'scope, T> {
    pub(crate) fn unless<'env>(
        scope: &'scope thread::Scope<'scope, 'env>,
        known: Option<T>,
        work: impl FnOnce() -> T + Send + 'scope,
    ) -> Later<'scope, T> {
        match known {
            Some(known) => Later::Known(known),
            None => Later::Spawned(scope.spawn(work)),
        }
    }

    /// Waited for.
    pub(crate) fn value(self) -> T {
        match self {
            Later::Known(known) => known,
            Later::Spawned(work) => work.join().expect("judging and aligning do not panic"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_more_work_is_done_at_once_than_there_are_cores() {
        let n_cores = thread::available_parallelism().map_or(1, |n| n.get());
        let (at_once, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let items: Vec<usize> = (0..16 * n_cores).collect();
        each_in_parallel(&items, |_| {
            most.fetch_max(at_once.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
            thread::sleep(std::time::Duration::from_millis(2));
            at_once.fetch_sub(1, Ordering::SeqCst);
        });
        let most = most.into_inner();
        assert!((1..=n_cores).contains(&most), "{most} at once on {n_cores} cores");
    }

    #[test]
    fn results_keep_the_order_of_the_items_and_the_first_failure_is_told() {
        let items: Vec<u64> = (0..23).collect();
        assert_eq!(in_parallel(&items, |i| Ok(i * i)), Ok(items.iter().map(|i| i * i).collect()));
        assert_eq!(in_parallel(&[], |i: &u64| Ok(*i)), Ok(Vec::new()));
        let failing = |i: &u64| match i {
            7 | 11 => Err(ReadError { file: i.to_string(), what: String::new(), hint: String::new() }),
            _ => Ok(()),
        };
        assert_eq!(each_in_parallel(&items, |i| i + 1), (1..24).collect::<Vec<u64>>());
        assert_eq!(in_parallel(&items, failing).map_err(|e| e.file), Err("7".to_string()));
    }
}
