//! Preferences: pairs, worths, and how consistent listeners are.

use super::Tally;
use super::hits::interval;
use crate::key::Role;
use crate::plan::{ALPHA, CONFIDENCE, Plan};
use crate::sitting::{Given, Sitting};
use fairtake_stats::binomial::tail_at_least;
use fairtake_stats::consistency::consistency;
use fairtake_stats::paired::{Judged, Order, worths_of_listeners};
use serde::Serialize;

/// Two microphones that were judged against each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// Key of the one that was preferred more often (of equals the first one).
    pub mic: String,
    /// Key of the other.
    pub other: String,
    /// How often it was preferred, among how many judgements.
    pub preferred: Tally,
    /// Interval of the share, wide enough that all pairs together are covered in 95 % of tests.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// The interval lies above one half.
    pub is_shown: bool,
}

/// Worth of one microphone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Worth {
    /// Key of the microphone.
    pub mic: String,
    /// Worths sum to one.
    pub share: f64,
    /// Natural logarithm relative to the mean of all: estimate, low, high.
    pub log_worth: [f64; 3],
}

/// How much one listener's judgements hang together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Own {
    /// Coefficient of consistence, 1 for none that goes round in circles; `None` with two microphones, or where a pair has no
    /// majority.
    pub consistence: Option<f64>,
    /// How often a pair that came again was answered as the first time: times, and of how many.
    pub repeated: Tally,
    /// How often the left one was chosen.
    pub left: Tally,
}

/// Preferences of all sittings that came to their end.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Preference {
    /// Every pair.
    pub pairs: Vec<Pair>,
    /// Worths, the greatest first; empty where one was always or never preferred, so that its worth has no bound.
    pub worths: Vec<Worth>,
    /// Preferred to every other one, as far as shown; `None`: none was.
    pub best: Option<String>,
    /// Each sitting by itself, in their order.
    pub each: Vec<Own>,
    /// How often a pair that came again in a sitting was answered as the first time: times, and of how many.
    pub repeated: Tally,
    /// How often the left one was chosen where both were the same excerpt.
    pub left_of_same: Tally,
    /// How often the left one was chosen in all judgements.
    pub left: Tally,
}

/// One judgement: microphones left and right, and whether left was chosen.
struct One {
    left: usize,
    right: usize,
    chose_left: bool,
}

fn judgements(plan: &Plan, sitting: &Sitting, role: Role) -> Vec<One> {
    let mic = |excerpt: usize| {
        let key = &plan.material().excerpts[excerpt].mic;
        plan.mics().iter().position(|m| m == key).unwrap_or(0)
    };
    let answered = sitting.key().trials.iter().zip(sitting.answers()).filter(|(t, _)| t.role == role);
    answered
        .map(|(t, a)| One {
            left: mic(t.slots[0].excerpt),
            right: mic(t.slots[1].excerpt),
            chose_left: a.given == Given::Choice(0),
        })
        .collect()
}

impl Preference {
    pub(crate) fn of(plan: &Plan, done: &[&Sitting]) -> Preference {
        let n = plan.mics().len();
        let listeners: Vec<Vec<One>> = done.iter().map(|s| judgements(plan, s, Role::Looked)).collect();
        let n_pairs = (n * (n - 1) / 2) as f64;
        let pairs: Vec<Pair> = (0..n)
            .flat_map(|i| (0..i).map(move |j| (j, i)))
            .map(|(i, j)| pair(plan, &listeners, i, j, 1.0 - ALPHA / n_pairs))
            .collect();
        let judged: Vec<Vec<Judged>> = listeners
            .iter()
            .map(|l| {
                l.iter()
                    .map(|o| Judged {
                        first: o.left,
                        second: o.right,
                        n_first: u64::from(o.chose_left),
                        n_second: u64::from(!o.chose_left),
                    })
                    .collect()
            })
            .collect();
        let mut worths: Vec<Worth> = worths_of_listeners(n, &judged, Order::Ignored)
            .map(|found| {
                let shares = found.shares();
                (0..n)
                    .map(|i| {
                        let (low, high) = found.interval(i, CONFIDENCE);
                        let log_worth = [found.log_worth[i], low, high];
                        Worth { mic: plan.mics()[i].clone(), share: shares[i], log_worth }
                    })
                    .collect()
            })
            .unwrap_or_default();
        worths.sort_by(|a, b| b.share.total_cmp(&a.share));
        let beats_all =
            |mic: &&String| pairs.iter().filter(|p| p.mic == **mic && p.is_shown).count() == n - 1;
        let lefts = |role: Role| {
            let all: Vec<One> = done.iter().flat_map(|s| judgements(plan, s, role)).collect();
            Tally { hits: all.iter().filter(|o| o.chose_left).count() as u64, trials: all.len() as u64 }
        };
        let each: Vec<Own> = listeners.iter().map(|l| own(n, l)).collect();
        Preference {
            best: plan.mics().iter().find(beats_all).cloned(),
            repeated: sum(each.iter().map(|own| own.repeated)),
            left_of_same: lefts(Role::Catch),
            left: lefts(Role::Looked),
            each,
            pairs,
            worths,
        }
    }

    /// How often tossing a coin prefers one side so strongly where both were the same; 1 where nothing was.
    pub fn p_side(&self) -> f64 {
        let Tally { hits, trials } = self.left_of_same;
        let more = hits.max(trials - hits);
        (2.0 * tail_at_least(more, trials, 0.5)).min(1.0)
    }
}

/// Wins of i over j of one listener, and judgements.
fn wins(listener: &[One], i: usize, j: usize) -> Tally {
    let of_pair: Vec<bool> = listener
        .iter()
        .filter(|o| (o.left, o.right) == (i, j) || (o.left, o.right) == (j, i))
        .map(|o| o.chose_left == (o.left == i))
        .collect();
    Tally { hits: of_pair.iter().filter(|w| **w).count() as u64, trials: of_pair.len() as u64 }
}

fn pair(plan: &Plan, listeners: &[Vec<One>], i: usize, j: usize, confidence: f64) -> Pair {
    let of = |i: usize, j: usize| -> Vec<Tally> { listeners.iter().map(|l| wins(l, i, j)).collect() };
    let total = |all: &[Tally]| {
        let (hits, trials) = all.iter().fold((0, 0), |a, t| (a.0 + t.hits, a.1 + t.trials));
        Tally { hits, trials }
    };
    let all = total(&of(i, j));
    let (i, j) = if 2 * all.hits >= all.trials { (i, j) } else { (j, i) };
    let each = of(i, j);
    let found = interval(&each, confidence);
    Pair {
        mic: plan.mics()[i].clone(),
        other: plan.mics()[j].clone(),
        preferred: total(&each),
        low: found.low,
        high: found.high,
        is_shown: found.low > 0.5,
    }
}

fn consistence(n: usize, listener: &[One]) -> Option<f64> {
    let prefers = |i: usize, j: usize| {
        let own = wins(listener, i, j);
        2 * own.hits > own.trials
    };
    let table: Vec<Vec<bool>> = (0..n).map(|i| (0..n).map(|j| i != j && prefers(i, j)).collect()).collect();
    consistency(&table).map(|c| c.coefficient)
}

/// One sitting by itself.
fn own(n: usize, listener: &[One]) -> Own {
    let left = listener.iter().filter(|o| o.chose_left).count() as u64;
    Own {
        consistence: consistence(n, listener).filter(|_| n > 2),
        repeated: repeated(n, listener),
        left: Tally { hits: left, trials: listener.len() as u64 },
    }
}

fn sum(all: impl Iterator<Item = Tally>) -> Tally {
    all.fold(Tally { hits: 0, trials: 0 }, |a, t| Tally {
        hits: a.hits + t.hits,
        trials: a.trials + t.trials,
    })
}

/// Judgements after the first of a pair that agree with the first.
fn repeated(n: usize, listener: &[One]) -> Tally {
    let mut out = Tally { hits: 0, trials: 0 };
    for (i, j) in (0..n).flat_map(|i| (0..i).map(move |j| (j, i))) {
        let own: Vec<bool> = listener
            .iter()
            .filter(|o| (o.left.min(o.right), o.left.max(o.right)) == (i, j))
            .map(|o| o.chose_left == (o.left == i))
            .collect();
        let Some((first, again)) = own.split_first() else { continue };
        out.hits += again.iter().filter(|w| *w == first).count() as u64;
        out.trials += again.len() as u64;
    }
    out
}
