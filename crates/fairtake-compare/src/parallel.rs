//! Work on several items at once.
//!
//! What is computed inside this crate runs on threads that are made once and wait for work: one that is made anew may stand in
//! the line of the core that made it for milliseconds, beside a core that is idle. Nothing that runs on them may wait for a lock
//! or for a thread that may itself need one of them: with all of them waiting, nobody would be left to do what they wait for.
//! What others give to [`each_in_parallel`] may do both, and gets threads of its own.

use crate::ReadError;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Items, each of which is worked on once, by whichever thread is free. Every item is worked on by itself, so that what comes
/// of it depends on no timing.
struct Line<'a, T> {
    items: &'a [T],
    next: AtomicUsize,
}

impl<'a, T> Line<'a, T> {
    fn new(items: &'a [T]) -> Line<'a, T> {
        Line { items, next: AtomicUsize::new(0) }
    }

    /// Works on items until none is left; what came of them, with their places.
    fn work_on<R>(&self, mut work: impl FnMut(&T) -> R) -> Vec<(usize, R)> {
        let mut done = Vec::new();
        loop {
            let i = self.next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = self.items.get(i) else { return done };
            done.push((i, work(item)));
        }
    }
}

/// What came of the items, in their order.
fn in_order<R>(mut done: Vec<(usize, R)>) -> impl Iterator<Item = R> {
    done.sort_unstable_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, result)| result)
}

/// Maps over items, keeping their order, on threads of their own, as many as there are cores.
pub fn each_in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let n_threads = thread::available_parallelism().map_or(1, |n| n.get()).min(items.len());
    let line = Line::new(items);
    let work_on = || line.work_on(&work);
    let done = thread::scope(|scope| {
        // The calling thread works too.
        let others: Vec<_> = (1..n_threads).map(|_| scope.spawn(work_on)).collect();
        let own = work_on();
        let theirs = others.into_iter().flat_map(|w| w.join().expect("measuring does not panic"));
        own.into_iter().chain(theirs).collect()
    });
    in_order(done).collect()
}

/// Maps over items, keeping their order, on the threads that wait for work; tells the first failure.
pub(crate) fn in_parallel<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(&T) -> Result<R, ReadError> + Sync,
) -> Result<Vec<R>, ReadError> {
    in_parallel_with(items, || (), |(), item| work(item))
}

/// The same where each thread has room of its own, which is kept from one item to the next and carries nothing over.
pub(crate) fn in_parallel_with<T: Sync, R: Send, Room>(
    items: &[T],
    room: impl Fn() -> Room + Sync,
    work: impl Fn(&mut Room, &T) -> Result<R, ReadError> + Sync,
) -> Result<Vec<R>, ReadError> {
    let line = Line::new(items);
    let work_on = || {
        let mut room = room();
        line.work_on(|item| work(&mut room, item))
    };
    in_order(at_once(rayon::current_num_threads().min(items.len()), &work_on)).collect()
}

/// Runs the same on so many threads, and joins what they return.
fn at_once<R: Send>(n_threads: usize, work: &(impl Fn() -> Vec<R> + Sync)) -> Vec<R> {
    if n_threads <= 1 {
        return work();
    }
    let (mut done, others) = rayon::join(work, || at_once(n_threads - 1, work));
    done.extend(others);
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

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
    fn work_of_others_may_wait_for_a_lock_and_for_threads_that_compute() {
        // More of them than there are cores, each waiting for a thread that needs those that compute, under one lock.
        let n_cores = thread::available_parallelism().map_or(1, |n| n.get());
        let (items, numbers): (Vec<usize>, Vec<u64>) = ((0..4 * n_cores).collect(), (0..64).collect());
        let lock = Mutex::new(());
        let sums = each_in_parallel(&items, |_| {
            let sum = || in_parallel(&numbers, |n| Ok(*n)).map(|all| all.iter().sum::<u64>());
            let under_lock = || {
                let _held = lock.lock();
                sum()
            };
            thread::scope(|scope| (scope.spawn(sum).join().expect("sums"), under_lock()))
        });
        assert!(sums.iter().all(|both| *both == (Ok(2016), Ok(2016))), "{sums:?}");
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
