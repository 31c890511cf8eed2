//! Work on several items at once.

use crate::ReadError;
use std::thread;

/// Maps over items on as many threads as there are cores, keeping their order. Every item is worked on by itself, so that
/// what comes of it depends on no timing.
pub(crate) fn in_parallel<T: Sync, R: Send>(
    items: &[T],
    work: impl Fn(&T) -> Result<R, ReadError> + Sync,
) -> Result<Vec<R>, ReadError> {
    let n_threads = thread::available_parallelism().map_or(1, |n| n.get()).min(items.len());
    if n_threads <= 1 {
        return items.iter().map(work).collect();
    }
    let every = |from: usize| -> Vec<Result<R, ReadError>> {
        items.iter().skip(from).step_by(n_threads).map(&work).collect()
    };
    let every = &every;
    let mut done: Vec<_> = thread::scope(|scope| {
        // The calling thread works too.
        let others: Vec<_> = (1..n_threads).map(|from| scope.spawn(move || every(from))).collect();
        let mut done = vec![every(0).into_iter()];
        done.extend(others.into_iter().map(|w| w.join().expect("measuring does not panic").into_iter()));
        done
    });
    (0..items.len()).map(|i| done[i % n_threads].next().expect("every item is worked on")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_items_and_the_first_failure_is_told() {
        let items: Vec<u64> = (0..23).collect();
        assert_eq!(in_parallel(&items, |i| Ok(i * i)), Ok(items.iter().map(|i| i * i).collect()));
        assert_eq!(in_parallel(&[], |i: &u64| Ok(*i)), Ok(Vec::new()));
        let failing = |i: &u64| match i {
            7 | 11 => Err(ReadError { file: i.to_string(), what: String::new(), hint: String::new() }),
            _ => Ok(()),
        };
        assert_eq!(in_parallel(&items, failing).map_err(|e| e.file), Err("7".to_string()));
    }
}
