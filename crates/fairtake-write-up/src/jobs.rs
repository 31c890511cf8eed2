//! Independent pieces of work, on as many threads as there are processors, with news of how far they have come.

use crate::WriteUpError;
use std::collections::VecDeque;
use std::sync::mpsc::{Sender, channel};
use std::sync::{Mutex, PoisonError};

/// How far a write-up has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Progress {
    /// What was made last.
    pub what: String,
    /// So many pieces are made.
    pub n: usize,
    /// Of so many.
    pub of: usize,
}

/// Says how far a piece of work by itself has come, in words.
pub(crate) struct Told(Sender<News>);

impl Told {
    pub fn so_far(&self, words: String) {
        // Nobody listens any more only where the work has failed elsewhere.
        let _ = self.0.send(News::SoFar(words));
    }
}

enum News {
    SoFar(String),
    Done(String),
}

/// What work returns: remarks for the user.
pub(crate) type Remarks = Result<Vec<String>, WriteUpError>;

/// A piece of work with its name in words.
pub(crate) struct Job<'a> {
    pub name: String,
    pub work: Box<dyn FnOnce(&Told) -> Remarks + Send + 'a>,
}

/// Does all of it; the remarks in the order of the jobs. After a failure no more is begun.
pub(crate) fn at_once(jobs: Vec<Job<'_>>, tell: &mut dyn FnMut(Progress)) -> Remarks {
    let of = jobs.len();
    let n_threads = std::thread::available_parallelism().map_or(1, |n| n.get()).min(of.max(1));
    let queue: Mutex<VecDeque<(usize, Job<'_>)>> = Mutex::new(jobs.into_iter().enumerate().collect());
    let done: Mutex<Vec<(usize, Remarks)>> = Mutex::new(Vec::new());
    let (news, heard) = channel();
    std::thread::scope(|scope| {
        for _ in 0..n_threads {
            let told = Told(news.clone());
            scope.spawn(|| {
                let told = told;
                loop {
                    let Some((place, job)) = lock(&queue).pop_front() else { break };
                    let made = (job.work)(&told);
                    if made.is_err() {
                        lock(&queue).clear();
                    }
                    lock(&done).push((place, made));
                    let _ = told.0.send(News::Done(job.name));
                }
            });
        }
        drop(news);
        let mut n = 0;
        for news in heard {
            let what = match news {
                News::SoFar(what) => what,
                News::Done(what) => {
                    n += 1;
                    what
                }
            };
            tell(Progress { what, n, of });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(place, _)| *place);
    let mut remarks = Vec::new();
    for (_, made) in done {
        remarks.extend(made?);
    }
    Ok(remarks)
}

fn lock<T>(of: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn job<'a>(name: &str, work: impl FnOnce(&Told) -> Remarks + Send + 'a) -> Job<'a> {
        Job { name: name.into(), work: Box::new(work) }
    }

    #[test]
    fn everything_is_done_once_and_told_and_remarks_keep_their_order() {
        let jobs = (0..20).map(|i| job("one", move |_| Ok(vec![i.to_string()]))).collect();
        let mut told = Vec::new();
        let remarks = at_once(jobs, &mut |p| told.push((p.n, p.of))).expect("done");
        assert_eq!(remarks, (0..20).map(|i: i32| i.to_string()).collect::<Vec<_>>());
        assert_eq!(told, (1..=20).map(|n| (n, 20)).collect::<Vec<_>>());
        assert!(at_once(Vec::new(), &mut |_| ()).expect("nothing").is_empty());
    }

    #[test]
    fn a_failure_ends_it() {
        let mut jobs = vec![job("bad", |_| Err(WriteUpError::Json("no".into())))];
        let n = std::sync::atomic::AtomicUsize::new(0);
        for _ in 0..100 {
            jobs.push(job("good", |told| {
                told.so_far("half".into());
                n.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                std::thread::sleep(std::time::Duration::from_millis(2));
                Ok(Vec::new())
            }));
        }
        assert_eq!(at_once(jobs, &mut |_| ()), Err(WriteUpError::Json("no".into())));
        assert!(n.load(std::sync::atomic::Ordering::Relaxed) < 100);
    }
}
