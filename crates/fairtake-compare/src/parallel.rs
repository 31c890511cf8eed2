//! Work on several items at once.
//!
//! Threads are made once and wait for work: one that is made anew may stand in the line of the core that made it for
//! milliseconds, beside a core that is idle.

use crate::ReadError;
use std::convert::Infallible;
use std::sync::atomic::{AtomicUsize, Ordering};

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
    let next = AtomicUsize::new(0);
    let work_on = || -> Vec<(usize, Result<R, E>)> {
        let (mut room, mut done) = (room(), Vec::new());
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(i) else { return done };
            done.push((i, work(&mut room, item)));
        }
    };
    let mut done = at_once(rayon::current_num_threads().min(items.len()), &work_on);
    done.sort_unstable_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, result)| result).collect()
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
    use std::thread;

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
