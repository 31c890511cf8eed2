//! How much may be asked, how fast, and how slowly.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// What a hall puts up with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Longest body of a request, in bytes.
    pub body_bytes: usize,
    /// Time in which a body must have come whole.
    pub body_time: Duration,
    /// Time in which the head of a request must have come.
    pub head_time: Duration,
    /// Connections at once.
    pub connections: usize,
    /// Requests of one sitting: at once, and each second.
    pub of_sitting: (f64, f64),
    /// Sittings begun of one test: at once, and each second.
    pub begins: (f64, f64),
    /// Sittings of one test in all.
    pub sittings: usize,
}

impl Limits {
    /// For an audience: a person answers every few seconds; a test page asks for its sounds at once.
    pub const STANDARD: Limits = Limits {
        body_bytes: 16 * 1024,
        body_time: Duration::from_secs(10),
        head_time: Duration::from_secs(10),
        connections: 4096,
        of_sitting: (60.0, 8.0),
        begins: (1500.0, 50.0),
        sittings: 20_000,
    };
}

/// Counts what was asked under each name; what stands idle is forgotten.
#[derive(Debug, Default)]
pub(crate) struct Rates {
    known: Mutex<HashMap<String, (f64, Instant)>>,
}

/// Names that are remembered at most.
const MOST_KNOWN: usize = 50_000;

impl Rates {
    /// Whether one more may come now, of `at_once` in a row and `each_second` on average.
    pub(crate) fn allows(&self, name: &str, (at_once, each_second): (f64, f64)) -> bool {
        let now = Instant::now();
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= MOST_KNOWN {
            let full =
                |(left, since): &(f64, Instant)| left + each_second * (now - *since).as_secs_f64() >= at_once;
            known.retain(|_, k| !full(k));
        }
        let (left, since) = known.get(name).copied().unwrap_or((at_once, now));
        let left = (left + each_second * (now - since).as_secs_f64()).min(at_once);
        let allowed = left >= 1.0;
        known.insert(name.to_string(), (if allowed { left - 1.0 } else { left }, now));
        allowed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn so_many_at_once_and_then_no_more_for_that_name_alone() {
        let rates = Rates::default();
        let n = (0..10).filter(|_| rates.allows("one", (4.0, 0.001))).count();
        assert_eq!(n, 4);
        assert!(rates.allows("other", (4.0, 0.001)));
    }
}
