//! One sitting: answers once, in order, and none after the end.

use crate::key::{Key, Role, Trial};
use crate::plan::{Kind, Plan};
use fairtake_stats::stopping::Says;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Longest comment, in characters.
pub const MOST_COMMENT: usize = 500;

/// What a listener answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Given {
    /// Place of what was chosen: 0 left, 1 right; of three 0, 1 or 2.
    Choice(usize),
    /// One rating per pebble, 0 to 100.
    Ratings(Vec<u8>),
}

/// One answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// What was answered.
    pub given: Given,
    /// What the listener wrote beside it; may be empty.
    pub comment: String,
}

/// Where a sitting stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Answers are awaited.
    Open,
    /// The last answer was given, or the rule ended it.
    Done,
    /// The listener left before the end.
    Left,
}

/// Why an answer is not taken. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refused {
    /// That trial was answered already.
    Again {
        /// The trial, counted from 0.
        trial: usize,
    },
    /// Another trial comes first.
    NotYet {
        /// The trial, counted from 0.
        trial: usize,
        /// The one that is awaited.
        awaited: usize,
    },
    /// The sitting has ended.
    Ended,
    /// It is no answer to this kind of question.
    NoAnswer {
        /// Why, in words.
        why: String,
    },
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refused::Again { trial } => {
                write!(f, "trial {} was answered already; the first answer stands", trial + 1)
            }
            Refused::NotYet { trial, awaited } => {
                write!(f, "trial {} comes later; trial {} is awaited", trial + 1, awaited + 1)
            }
            Refused::Ended => f.write_str("this sitting has ended; no more answers are taken"),
            Refused::NoAnswer { why } => write!(f, "this is no answer: {why}"),
        }
    }
}

impl std::error::Error for Refused {}

/// A sitting as far as it has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Sitting {
    key: Key,
    answers: Vec<Answer>,
    state: State,
}

impl Sitting {
    /// A sitting before its first answer.
    pub fn begin(key: Key) -> Sitting {
        let state = if key.trials.is_empty() { State::Done } else { State::Open };
        Sitting { key, answers: Vec::new(), state }
    }

    /// A sitting as it was stored: its answers are taken again one by one.
    ///
    /// # Errors
    /// When they are not answers to this key.
    pub fn resume(plan: &Plan, key: Key, answers: Vec<Answer>, left: bool) -> Result<Sitting, Refused> {
        let mut sitting = Sitting::begin(key);
        for (trial, answer) in answers.into_iter().enumerate() {
            sitting.check(plan, trial, &answer)?;
            sitting.take(plan, answer);
        }
        if left {
            sitting.leave();
        }
        Ok(sitting)
    }

    /// What it presents.
    pub fn key(&self) -> &Key {
        &self.key
    }

    /// Where it stands.
    pub fn state(&self) -> State {
        self.state
    }

    /// Answers so far, in the order of trials.
    pub fn answers(&self) -> &[Answer] {
        &self.answers
    }

    /// The trial that is awaited, counted from 0; `None` after the end.
    pub fn awaited(&self) -> Option<usize> {
        (self.state == State::Open).then_some(self.answers.len())
    }

    /// Whether an answer may be taken now.
    ///
    /// # Errors
    /// When it may not; nothing changes either way.
    pub fn check(&self, plan: &Plan, trial: usize, answer: &Answer) -> Result<(), Refused> {
        if trial < self.answers.len() {
            return Err(Refused::Again { trial });
        }
        let awaited = self.awaited().ok_or(Refused::Ended)?;
        if trial != awaited {
            return Err(Refused::NotYet { trial, awaited });
        }
        if answer.comment.chars().count() > MOST_COMMENT {
            return Err(Refused::NoAnswer {
                why: format!("a comment holds up to {MOST_COMMENT} characters"),
            });
        }
        let n_slots = self.key.trials[trial].slots.len();
        match (plan.kind(), &answer.given) {
            (Kind::Which | Kind::Prefer, Given::Choice(n)) if *n < 2 => Ok(()),
            (Kind::OddOne, Given::Choice(n)) if *n < 3 => Ok(()),
            (Kind::Likeness | Kind::Liking, Given::Ratings(all)) => {
                let n_pebbles = n_slots - usize::from(plan.kind() == Kind::Likeness);
                if all.len() != n_pebbles {
                    let why = format!("{} ratings for {n_pebbles} excerpts", all.len());
                    return Err(Refused::NoAnswer { why });
                }
                match all.iter().find(|r| **r > 100) {
                    Some(over) => {
                        Err(Refused::NoAnswer { why: format!("{over} lies beyond the scale of 0 to 100") })
                    }
                    None => Ok(()),
                }
            }
            _ => Err(Refused::NoAnswer { why: "the question has other answers".into() }),
        }
    }

    /// Takes an answer that was checked (and, by whoever keeps it, stored).
    pub fn take(&mut self, plan: &Plan, answer: Answer) {
        self.answers.push(answer);
        let all = self.answers.len() == self.key.trials.len();
        if all || self.ends_early(plan) {
            self.state = State::Done;
        }
    }

    /// The listener goes before the end. A sitting that has ended stays as it is.
    pub fn leave(&mut self) {
        if self.state == State::Open {
            self.state = State::Left;
        }
    }

    /// Answered trials with a role: hits and trials. Of a kind without right answers all are misses.
    pub fn tally(&self, role: Role) -> (u64, u64) {
        let answered = self.key.trials.iter().zip(&self.answers).filter(|(t, _)| t.role == role);
        answered.fold((0, 0), |(hits, n), (trial, answer)| (hits + u64::from(is_hit(trial, answer)), n + 1))
    }

    /// The first answered trials that count, at most so many: hits and trials.
    pub fn first_looked(&self, most: u64) -> (u64, u64) {
        let first = usize::try_from(most).unwrap_or(usize::MAX);
        let looked = self.key.trials.iter().zip(&self.answers).filter(|(t, _)| t.role == Role::Looked);
        looked
            .take(first)
            .fold((0, 0), |(hits, n), (trial, answer)| (hits + u64::from(is_hit(trial, answer)), n + 1))
    }

    fn ends_early(&self, plan: &Plan) -> bool {
        let Some(rule) = plan.rule() else { return false };
        // Catch trials do not count; a rule that ends the counted ones ends the sitting.
        let last = &self.key.trials[self.answers.len() - 1];
        let (n_hits, n_trials) = self.tally(Role::Looked);
        last.role == Role::Looked && rule.says(n_trials, n_hits) == Says::Shown
    }
}

fn is_hit(trial: &Trial, answer: &Answer) -> bool {
    matches!((&answer.given, trial.right), (Given::Choice(c), Some(right)) if *c == right)
}

#[cfg(test)]
mod tests;
