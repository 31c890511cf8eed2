//! Stopping early by a rule that is fixed beforehand and keeps the error rate.
//!
//! Hits are looked at after certain numbers of trials only. At each look the test ends with "shown" where the hits reach a
//! bound; the bounds are set by exact counting so that guessing passes at any look, all together, no more often than
//! alpha. What may be spent up to a look grows with the square of the share of trials: early looks are strict, so that
//! the last is nearly as good as a test that never looked.

use crate::binomial::ProportionInterval;
use crate::trials::{Question, bisect};

/// One look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// After so many trials.
    pub n_trials: u64,
    /// The test ends as "shown" with this many hits or more; `None`: it goes on whatever was heard.
    pub fewest_hits: Option<u64>,
}

/// What a rule says after a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// The next trial comes.
    GoOn,
    /// It ends: more hits than guessing gives.
    Shown,
    /// It ends with its last trial: not shown.
    NotShown,
}

/// A rule, with its looks in ascending order; the last is the last trial.
#[derive(Debug, Clone, PartialEq)]
pub struct StoppingRule {
    question: Question,
    looks: Vec<Look>,
}

impl StoppingRule {
    /// A rule that looks after these numbers of trials; the greatest is the number of trials. One number alone is the
    /// plain exact test.
    ///
    /// # Errors
    /// In words, where the numbers do not ascend from 1, or are none.
    ///
    /// # Source
    /// Group-sequential test with spending function α·t² (Kim and DeMets 1987, Biometrika 74; from memory), bounds by exact
    /// binomial recursion. Error rate by exact recursion and by simulation in the tests.
    pub fn new(question: Question, look_after: &[u64]) -> Result<StoppingRule, String> {
        let ascends = look_after.windows(2).all(|w| w[0] < w[1]);
        let Some(most) = look_after.last().filter(|_| ascends && look_after[0] > 0) else {
            return Err(format!("looks must ascend from 1 trial on, not {look_after:?}"));
        };
        let mut spent = 0.0;
        let mut looks = Vec::new();
        let mut going = Going::begin(question.guess);
        for n_trials in look_after {
            going.to(*n_trials);
            let share = *n_trials as f64 / *most as f64;
            let may_spend = question.alpha * share * share - spent;
            let fewest_hits = going.bound(may_spend);
            if let Some(fewest) = fewest_hits {
                spent += going.end(fewest);
            }
            looks.push(Look { n_trials: *n_trials, fewest_hits });
        }
        Ok(StoppingRule { question, looks })
    }

    /// The looks with their bounds.
    pub fn looks(&self) -> &[Look] {
        &self.looks
    }

    /// Trials at most.
    pub fn most_trials(&self) -> u64 {
        self.looks.last().map_or(0, |l| l.n_trials)
    }

    /// What the rule says after `n_trials` trials with `n_hits` hits.
    pub fn says(&self, n_trials: u64, n_hits: u64) -> Says {
        match self.looks.iter().find(|l| l.n_trials == n_trials) {
            Some(look) if look.fewest_hits.is_some_and(|fewest| n_hits >= fewest) => Says::Shown,
            _ if n_trials >= self.most_trials() => Says::NotShown,
            _ => Says::GoOn,
        }
    }

    /// Chance that the test ends as "shown", and trials on average, where each trial is a hit with chance `hit`.
    pub fn outcome(&self, hit: f64) -> (f64, f64) {
        let (mut shown, mut n_average) = (0.0, 0.0);
        let mut going = Going::begin(hit);
        for look in &self.looks {
            going.to(look.n_trials);
            if let Some(fewest) = look.fewest_hits {
                let ends = going.end(fewest);
                shown += ends;
                n_average += ends * look.n_trials as f64;
            }
        }
        (shown, n_average + going.total() * self.most_trials() as f64)
    }

    /// Interval for the chance of a hit after the test ended at `n_trials` with `n_hits`, or stands there. Outcomes are
    /// ordered by how early they ended as "shown", then by hits; a plain interval would be too narrow after an early end.
    /// `None` where the rule cannot end there.
    ///
    /// # Source
    /// Stage-wise ordering: Jennison and Turnbull (1983), Technometrics 25 (from memory). One look gives Clopper and
    /// Pearson's interval, by test.
    pub fn interval(&self, n_trials: u64, n_hits: u64, confidence: f64) -> Option<ProportionInterval> {
        let at = self.looks.iter().position(|l| l.n_trials == n_trials)?;
        if n_hits > n_trials {
            return None;
        }
        let tail = (1.0 - confidence) / 2.0;
        let low = bisect(0.0, 1.0, |hit| self.at_least_as_far(at, n_hits, hit) >= tail);
        // What lies below is the complement of the outcomes beyond this one.
        let high = bisect(0.0, 1.0, |hit| 1.0 - self.at_least_as_far(at, n_hits + 1, hit) < tail);
        let low = if n_hits == 0 { 0.0 } else { low };
        let all = n_hits == n_trials && self.looks[..at].iter().all(|l| l.fewest_hits.is_none());
        Some(ProportionInterval { low, high: if all { 1.0 } else { high } })
    }

    /// Evidence against guessing of an end at `n_trials` with `n_hits`: how often guessing gets as far or farther.
    pub fn p_value(&self, n_trials: u64, n_hits: u64) -> Option<f64> {
        let at = self.looks.iter().position(|l| l.n_trials == n_trials)?;
        Some(self.at_least_as_far(at, n_hits, self.question.guess))
    }

    fn at_least_as_far(&self, at: usize, n_hits: u64, hit: f64) -> f64 {
        let mut going = Going::begin(hit);
        let mut far = 0.0;
        for look in &self.looks[..at] {
            going.to(look.n_trials);
            if let Some(fewest) = look.fewest_hits {
                far += going.end(fewest);
            }
        }
        going.to(self.looks[at].n_trials);
        far + going.end(n_hits)
    }
}

/// Distribution of hits among tests that have not ended.
struct Going {
    hit: f64,
    /// Chance of each number of hits.
    chance: Vec<f64>,
}

impl Going {
    fn begin(hit: f64) -> Going {
        Going { hit, chance: vec![1.0] }
    }

    fn to(&mut self, n_trials: u64) {
        while (self.chance.len() as u64) < n_trials + 1 {
            let mut next = vec![0.0; self.chance.len() + 1];
            for (n_hits, chance) in self.chance.iter().enumerate() {
                next[n_hits] += chance * (1.0 - self.hit);
                next[n_hits + 1] += chance * self.hit;
            }
            self.chance = next;
        }
    }

    fn total(&self) -> f64 {
        self.chance.iter().sum()
    }

    /// Fewest hits that as many or more have with chance `may_spend` at most.
    fn bound(&self, may_spend: f64) -> Option<u64> {
        let (mut beyond, mut fewest) = (0.0, None);
        for (n_hits, chance) in self.chance.iter().enumerate().rev() {
            beyond += chance;
            // Ends that cannot be reached any more are none.
            if beyond > may_spend {
                break;
            }
            if beyond > 0.0 {
                fewest = Some(n_hits as u64);
            }
        }
        fewest
    }

    /// Ends the tests with so many hits or more, and returns how many those are.
    fn end(&mut self, fewest: u64) -> f64 {
        let from = (fewest as usize).min(self.chance.len());
        self.chance[from..].iter_mut().map(std::mem::take).sum()
    }
}

#[cfg(test)]
mod tests;
