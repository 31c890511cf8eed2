//! What blind tests showed, beside what was measured.

use fairtake_compare::ComparisonFindings;
use fairtake_listen::Score;

/// A blind test with its result.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// What its listeners read.
    pub title: String,
    /// Key of the source.
    pub source: String,
    /// How equalisers among its microphones were set, in words.
    pub equalisers: Vec<String>,
    /// Its result.
    pub score: Score,
}

impl Heard {
    /// Two microphones were asked about: those of a comparison.
    pub fn is_of(&self, c: &ComparisonFindings) -> bool {
        let mics = &self.score.mics;
        self.source == c.source && mics.len() == 2 && mics.contains(&c.reference) && mics.contains(&c.against)
    }

    /// A sitting has come to its end.
    pub fn is_done(&self) -> bool {
        self.score.shown.is_some()
    }
}

/// Tests of the two microphones of a comparison that say something.
pub(crate) fn of_pair<'h>(c: &ComparisonFindings, heard: &'h [Heard]) -> Vec<&'h Heard> {
    heard.iter().filter(|h| h.is_done() && h.is_of(c)).collect()
}
