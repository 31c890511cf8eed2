//! What can be presented: excerpts of one source by several microphones.

use serde::{Deserialize, Serialize};

/// What the excerpts of different microphones have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Paired {
    /// Excerpts with the same `sound` are the same playing, recorded at once or played back: they differ by microphone and
    /// placement alone.
    SameSound,
    /// Everything was played again: no two excerpts hold the same playing.
    PlayedAgain,
}

/// One excerpt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Excerpt {
    /// Key of the microphone.
    pub mic: String,
    /// Number of the placement.
    pub placement: u32,
    /// Number of the performance.
    pub performance: u32,
    /// Which playing it holds: equal numbers are one sound, heard through several microphones.
    pub sound: u32,
    /// What it is, in words for the owner.
    pub words: String,
}

/// All excerpts of one microphone at one placement in one performance: a pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// Number of the placement.
    pub placement: u32,
    /// Number of the performance.
    pub performance: u32,
    /// Places among the excerpts of the material.
    pub excerpts: Vec<usize>,
}

/// Excerpts of one source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// Key of the source.
    pub source: String,
    /// What they have in common.
    pub paired: Paired,
    /// All of them.
    pub excerpts: Vec<Excerpt>,
    /// The found difference was taken off one microphone: what is heard then is not the spectrum.
    #[serde(default)]
    pub has_equal_spectra: bool,
}

/// Two passes whose excerpts can be presented against each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Facing {
    pub(crate) one: Group,
    pub(crate) other: Group,
}

impl Material {
    /// The passes of a microphone, in order of placement and performance.
    pub fn groups(&self, mic: &str) -> Vec<Group> {
        let mut out: Vec<Group> = Vec::new();
        for (i, e) in self.excerpts.iter().enumerate().filter(|(_, e)| e.mic == mic) {
            match out.iter_mut().find(|g| (g.placement, g.performance) == (e.placement, e.performance)) {
                Some(group) => group.excerpts.push(i),
                None => {
                    out.push(Group { placement: e.placement, performance: e.performance, excerpts: vec![i] })
                }
            }
        }
        out.sort_by_key(|g| (g.placement, g.performance));
        out
    }

    /// Passes of two microphones that can face each other: such as hold the same sounds, or, where everything was played
    /// again, such as hold another excerpt of each to be the unknown.
    pub(crate) fn facing(&self, mic: &str, other: &str) -> Vec<Facing> {
        let others = self.groups(other);
        let all = self
            .groups(mic)
            .into_iter()
            .flat_map(|one| others.clone().into_iter().map(move |other| Facing { one: one.clone(), other }));
        all.filter(|f| self.can_face(f)).collect()
    }

    /// Passes of one microphone that can face each other, at two placements where there are such.
    pub(crate) fn facing_itself(&self, mic: &str) -> Vec<Facing> {
        let groups = self.groups(mic);
        let pairs = groups.iter().enumerate().flat_map(|(i, one)| {
            groups[i + 1..].iter().map(move |other| Facing { one: one.clone(), other: other.clone() })
        });
        let all: Vec<Facing> = pairs.filter(|f| self.can_face(f)).collect();
        let placed_again: Vec<Facing> =
            all.iter().filter(|f| f.one.placement != f.other.placement).cloned().collect();
        if placed_again.is_empty() { all } else { placed_again }
    }

    fn can_face(&self, f: &Facing) -> bool {
        match self.paired {
            Paired::SameSound => !self.shared(f).is_empty(),
            Paired::PlayedAgain => f.one.excerpts.len() >= 2 && f.other.excerpts.len() >= 2,
        }
    }

    /// Excerpts of the same sound on both sides.
    pub(crate) fn shared(&self, f: &Facing) -> Vec<(usize, usize)> {
        let of = |i: &usize| self.excerpts[*i].sound;
        let mate = |i: &usize| f.other.excerpts.iter().find(|j| of(j) == of(i)).map(|j| (*i, *j));
        f.one.excerpts.iter().filter_map(mate).collect()
    }
}
