//! The key: what is presented in each trial, drawn when a sitting is made and sealed before its first answer.

use crate::draw::{among, balanced_sides, hex, nonce, one_of, shuffle};
use crate::material::{Facing, Material, Paired};
use crate::plan::{Asked, Kind, Plan};
use rand_chacha::rand_core::CryptoRng;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// What a trial is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// It counts.
    Looked,
    /// Two passes of one microphone.
    Control,
    /// All excerpts are the same.
    Catch,
}

/// Where an excerpt is presented.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Slot {
    /// Place among the excerpts of the material.
    pub excerpt: usize,
    /// Name under which it is asked for: says nothing, and is never used again.
    pub name: String,
}

/// One trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trial {
    /// What it is for.
    pub role: Role,
    /// What is presented. Which of two: left, right, unknown. Which differs: three. Preference: left, right. Likeness: the
    /// named microphone and then the pebbles; liking: the pebbles.
    pub slots: Vec<Slot>,
    /// Place among the choices (of likeness: among the pebbles) of what is right, or of the hidden copy; `None` where
    /// nothing is. In a catch trial what counts as right was drawn too, and nobody can know it.
    pub right: Option<usize>,
}

/// Everything that a sitting presents.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Key {
    /// 256 bits that keep the seal from being guessed.
    pub nonce: String,
    /// The trials in order.
    pub trials: Vec<Trial>,
}

/// The first line of what is sealed.
const HEAD: &str = "fairtake key 1";

impl Key {
    /// Draws a key. What the unknown is is an independent fair draw in every trial; only the sides on which known ones and
    /// preferred ones are presented are balanced.
    ///
    /// The generator must be a cryptographic one: whoever could foretell it would know the answers.
    pub fn draw(plan: &Plan, rng: &mut impl CryptoRng) -> Key {
        let asked = plan.asked();
        let mut trials = Vec::new();
        let mut make = |role: Role, n: u32, rng: &mut _| {
            trials.extend(roles(plan, role, n as usize, rng));
        };
        make(Role::Looked, asked.n_trials, rng);
        make(Role::Control, asked.n_control, rng);
        make(Role::Catch, asked.n_catch, rng);
        shuffle(&mut trials, rng);
        Key { nonce: nonce(rng), trials }
    }

    /// What is sealed: plain text, line by line, with every excerpt by name. Ends with a line feed.
    pub fn text(&self, plan: &Plan) -> String {
        let mut out = format!("{HEAD}\nnonce {}\n", self.nonce);
        for (n, trial) in self.trials.iter().enumerate() {
            let role = match trial.role {
                Role::Looked => "looked at",
                Role::Control => "control",
                Role::Catch => "all the same",
            };
            // Writing to a string cannot fail.
            let _ = write!(out, "trial {}: {role}", n + 1);
            for (s, slot) in trial.slots.iter().enumerate() {
                let e = &plan.material().excerpts[slot.excerpt];
                let _ = write!(
                    out,
                    "; {} = {} placement {} performance {} excerpt {}",
                    slot_word(plan.kind(), s),
                    e.mic,
                    e.placement,
                    e.performance,
                    slot.excerpt + 1
                );
            }
            if let Some(right) = trial.right {
                let offset = usize::from(plan.kind() == Kind::Likeness);
                let _ = write!(out, "; right = {}", slot_word(plan.kind(), right + offset));
            }
            out.push('\n');
        }
        out
    }

    /// The seal: SHA-256 of [`Key::text`] in hexadecimal digits.
    pub fn seal(&self, plan: &Plan) -> String {
        hex(&Sha256::digest(self.text(plan).as_bytes()))
    }
}

/// True where a revealed text is the one that was sealed.
pub fn opens(seal: &str, text: &str) -> bool {
    hex(&Sha256::digest(text.as_bytes())) == seal
}

fn slot_word(kind: Kind, slot: usize) -> String {
    match (kind, slot) {
        (Kind::Which | Kind::Prefer, 0) => "left".into(),
        (Kind::Which | Kind::Prefer, 1) => "right".into(),
        (Kind::Which, _) => "unknown".into(),
        (Kind::Likeness, 0) => "named".into(),
        (Kind::Likeness, n) => format!("pebble {n}"),
        (_, n) => format!("{}", n + 1),
    }
}

fn roles(plan: &Plan, role: Role, n: usize, rng: &mut impl CryptoRng) -> Vec<Trial> {
    let (asked, material) = (plan.asked(), plan.material());
    let pairs: Vec<(&String, &String)> = (0..asked.mics.len())
        .flat_map(|i| (0..i).map(move |j| (j, i)))
        .map(|(j, i)| (&asked.mics[j], &asked.mics[i]))
        .collect();
    let sides = balanced_sides(n, rng);
    (0..n)
        .map(|k| {
            let name = |excerpts: Vec<usize>, right: Option<usize>, rng: &mut _| Trial {
                role,
                slots: excerpts.into_iter().map(|excerpt| Slot { excerpt, name: opaque(rng) }).collect(),
                right,
            };
            // A pair of microphones, or two passes of one.
            let faced = match role {
                Role::Control => {
                    let own: Vec<Facing> =
                        asked.mics.iter().flat_map(|mic| material.facing_itself(mic)).collect();
                    among(&own, rng).clone()
                }
                _ => {
                    let (mic, other) = pairs[k % pairs.len()];
                    among(&material.facing(mic, other), rng).clone()
                }
            };
            let mut scene = Scene { material, faced: &faced, catch: role == Role::Catch, swap: sides[k] };
            match asked.kind {
                Kind::Which => {
                    let (slots, right) = scene.which(rng);
                    name(slots, Some(right), rng)
                }
                Kind::OddOne => {
                    let (slots, right) = scene.odd_one(rng);
                    name(slots, Some(right), rng)
                }
                Kind::Prefer => name(scene.sides(rng), None, rng),
                Kind::Likeness | Kind::Liking => {
                    let (slots, right) = pebbles(asked, material, role == Role::Catch, rng);
                    name(slots, right, rng)
                }
            }
        })
        .collect()
}

/// Two passes, and how they stand.
struct Scene<'a> {
    material: &'a Material,
    faced: &'a Facing,
    catch: bool,
    /// The first of the two stands on the right.
    swap: bool,
}

impl Scene<'_> {
    /// One excerpt of each pass, and for each another of the same pass that may be the unknown.
    fn excerpts(&mut self, rng: &mut impl CryptoRng) -> [(usize, usize); 2] {
        let two = |pass: &[usize], rng: &mut _| {
            let first = one_of(pass.len(), rng);
            // Any other one, with equal chances.
            let step = if pass.len() > 1 { 1 + one_of(pass.len() - 1, rng) } else { 0 };
            (pass[first], pass[(first + step) % pass.len()])
        };
        let sides = match self.material.paired {
            Paired::SameSound => {
                let (a, b) = *among(&self.material.shared(self.faced), rng);
                [(a, a), (b, b)]
            }
            Paired::PlayedAgain => [two(&self.faced.one.excerpts, rng), two(&self.faced.other.excerpts, rng)],
        };
        if !self.catch {
            return sides;
        }
        let same = sides[one_of(2, rng)].0;
        [(same, same), (same, same)]
    }

    fn which(&mut self, rng: &mut impl CryptoRng) -> (Vec<usize>, usize) {
        let mut both = self.excerpts(rng);
        if self.swap {
            both.swap(0, 1);
        }
        let right = one_of(2, rng);
        (vec![both[0].0, both[1].0, both[right].1], right)
    }

    fn odd_one(&mut self, rng: &mut impl CryptoRng) -> (Vec<usize>, usize) {
        let both = self.excerpts(rng);
        let (odd, pair) = if one_of(2, rng) == 0 { (both[0], both[1]) } else { (both[1], both[0]) };
        let place = one_of(3, rng);
        let mut slots = vec![pair.0, pair.1];
        // Which of the pair comes first is drawn too: the second is never the one that was drawn first.
        shuffle(&mut slots, rng);
        slots.insert(place, odd.0);
        (slots, place)
    }

    fn sides(&mut self, rng: &mut impl CryptoRng) -> Vec<usize> {
        let [a, b] = self.excerpts(rng);
        if self.swap { vec![b.0, a.0] } else { vec![a.0, b.0] }
    }
}

/// Sounds of which every microphone has an excerpt, one excerpt of each.
pub(crate) fn common_sounds(asked: &Asked, material: &Material) -> Vec<Vec<usize>> {
    let of =
        |mic: &String, sound: u32| material.excerpts.iter().position(|e| e.mic == *mic && e.sound == sound);
    let mut sounds: Vec<u32> = material.excerpts.iter().map(|e| e.sound).collect();
    sounds.sort_unstable();
    sounds.dedup();
    sounds.into_iter().filter_map(|s| asked.mics.iter().map(|m| of(m, s)).collect()).collect()
}

/// A page of a rating; the first microphone is the named one.
fn pebbles(
    asked: &Asked,
    material: &Material,
    catch: bool,
    rng: &mut impl CryptoRng,
) -> (Vec<usize>, Option<usize>) {
    let mut of_mics: Vec<(usize, usize)> = match material.paired {
        Paired::SameSound => among(&common_sounds(asked, material), rng).iter().map(|e| (*e, *e)).collect(),
        Paired::PlayedAgain => asked
            .mics
            .iter()
            .map(|mic| {
                let group = among(&material.groups(mic), rng).excerpts.clone();
                let first = one_of(group.len(), rng);
                let step = if group.len() > 1 { 1 + one_of(group.len() - 1, rng) } else { 0 };
                (group[first], group[(first + step) % group.len()])
            })
            .collect(),
    };
    if catch {
        // Of likeness the named one, which is said by name.
        let likeness = asked.kind == Kind::Likeness;
        let same = if likeness { of_mics[0].0 } else { among(&of_mics, rng).0 };
        of_mics.iter_mut().for_each(|e| *e = (same, same));
    }
    let mut order: Vec<usize> = (0..of_mics.len()).collect();
    shuffle(&mut order, rng);
    // The hidden copy is the named microphone's own pebble.
    let hidden = order.iter().position(|i| *i == 0);
    let mut slots: Vec<usize> = order.iter().map(|i| of_mics[*i].1).collect();
    if asked.kind == Kind::Likeness {
        slots.insert(0, of_mics[0].0);
        return (slots, hidden);
    }
    (slots, None)
}

/// 128 bits that say nothing.
fn opaque(rng: &mut impl CryptoRng) -> String {
    let mut bytes = [0u8; 16];
    rng.fill_bytes(&mut bytes);
    hex(&bytes)
}

#[cfg(test)]
mod tests;
