//! What is asked, of which excerpts, in how many trials: parsed once, whole afterwards.

use crate::material::{Material, Paired};
use fairtake_stats::stopping::StoppingRule;
use fairtake_stats::trials::{Question, found_with, heard_share, trials_for};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How often guessing may pass, at most.
pub const ALPHA: f64 = 0.05;
/// Confidence of every interval.
pub const CONFIDENCE: f64 = 0.95;
/// Power with which "would have been found" is said.
pub const POWER: f64 = 0.8;
/// More trials than this are no sitting for human ears.
const MOST_TRIALS: u32 = 200;
/// Microphones in one test: more pebbles than this cannot be kept apart. Common practice, no source.
pub const MOST_MICS: usize = 12;
/// More sittings than this are not fixed beforehand.
const MOST_SITTINGS: u32 = 10_000;

/// Kinds of test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Which of two known microphones is the unknown one? (In the literature: the ABX method.)
    Which,
    /// Which of three differs from the other two? (In the literature: the triangle.)
    OddOne,
    /// Which of two do you prefer?
    Prefer,
    /// How like is each to a named microphone, of which a hidden copy is among them?
    Likeness,
    /// How much do you like each?
    Liking,
}

impl Kind {
    /// Share of right answers by guessing; `None` where no answer is right or wrong.
    pub fn guess(self) -> Option<f64> {
        match self {
            Kind::Which => Some(0.5),
            Kind::OddOne => Some(1.0 / 3.0),
            Kind::Prefer | Kind::Likeness | Kind::Liking => None,
        }
    }
}

/// What control trials pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Control {
    /// Two placements of one microphone.
    Placements,
    /// Two passes of one microphone at one placement.
    Passes,
}

/// A test as it is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    /// Kind of test.
    pub kind: Kind,
    /// Keys of the microphones: two where the question is which, two or more otherwise. The first is the one that the others
    /// are like or not.
    pub mics: Vec<String>,
    /// Trials (pages of a rating) that count.
    pub n_trials: u32,
    /// Trials that pair two passes of one microphone.
    pub n_control: u32,
    /// Trials in which all excerpts are the same.
    pub n_catch: u32,
    /// After so many trials the test may end early; empty: it runs to its end.
    pub look_after: Vec<u32>,
    /// Sittings that there will be, fixed before the first; `None`: not fixed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub n_sittings: Option<u32>,
}

/// A test that can be held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Parts", into = "Parts")]
pub struct Plan {
    asked: Asked,
    material: Material,
    control: Option<Control>,
    rule: Option<StoppingRule>,
}

/// A plan as it is stored.
#[derive(Serialize, Deserialize)]
struct Parts {
    asked: Asked,
    material: Material,
}

impl TryFrom<Parts> for Plan {
    type Error = PlanTrouble;
    fn try_from(parts: Parts) -> Result<Plan, PlanTrouble> {
        Plan::new(parts.asked, parts.material)
    }
}

impl From<Plan> for Parts {
    fn from(plan: Plan) -> Parts {
        Parts { asked: plan.asked, material: plan.material }
    }
}

/// Why a test cannot be held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanTrouble {
    what: What,
    /// What to do about it.
    pub hint: String,
}

/// What is wrong; of which microphones, by their keys.
#[derive(Debug, Clone, PartialEq, Eq)]
enum What {
    NoExcerpt(String),
    NotFacing(String, String),
    Other(String),
}

impl PlanTrouble {
    /// What is wrong; `names` gives the name for people of a microphone's key.
    pub fn said(&self, names: &dyn Fn(&str) -> String) -> String {
        match &self.what {
            What::NoExcerpt(mic) => format!("there is no excerpt by {}", names(mic)),
            What::NotFacing(one, other) => {
                format!("excerpts by {} and {} cannot be set against each other", names(one), names(other))
            }
            What::Other(what) => what.clone(),
        }
    }
}

impl fmt::Display for PlanTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.said(&str::to_string))
    }
}

impl std::error::Error for PlanTrouble {}

impl From<String> for What {
    fn from(what: String) -> What {
        What::Other(what)
    }
}

impl From<&str> for What {
    fn from(what: &str) -> What {
        What::Other(what.into())
    }
}

fn trouble<T>(what: impl Into<What>, hint: impl Into<String>) -> Result<T, PlanTrouble> {
    Err(PlanTrouble { what: what.into(), hint: hint.into() })
}

impl Plan {
    /// A plan of what is asked, with what there is to present.
    ///
    /// # Errors
    /// When the microphones, the numbers or the material do not make a test.
    pub fn new(asked: Asked, material: Material) -> Result<Plan, PlanTrouble> {
        let n_mics = asked.mics.len();
        let is_hits = asked.kind.guess().is_some();
        if (is_hits && n_mics != 2) || !(2..=MOST_MICS).contains(&n_mics) {
            let hint = format!("choose two microphones, or for preference and rating up to {MOST_MICS}");
            let what = match n_mics {
                1 => "one microphone does not make this test".to_string(),
                n => format!("{n} microphones do not make this test"),
            };
            return trouble(what, hint);
        }
        if (1..n_mics).any(|i| asked.mics[..i].contains(&asked.mics[i])) {
            return trouble("a microphone is named twice", "name each once");
        }
        let n_all = u64::from(asked.n_trials) + u64::from(asked.n_control) + u64::from(asked.n_catch);
        if asked.n_trials == 0 || n_all > u64::from(MOST_TRIALS) {
            let hint = format!("take 1 to {MOST_TRIALS} trials in all");
            return trouble(format!("{n_all} trials do not make a sitting"), hint);
        }
        if asked.n_sittings.is_some_and(|n| !(1..=MOST_SITTINGS).contains(&n)) {
            let hint = format!("fix 1 to {MOST_SITTINGS} sittings, or leave their number open");
            return trouble("so many sittings cannot be fixed", hint);
        }
        let control = control_of(&asked, &material)?;
        faces(&asked, &material)?;
        let rule = rule_of(&asked)?;
        Ok(Plan { asked, material, control, rule })
    }

    /// Kind of test.
    pub fn kind(&self) -> Kind {
        self.asked.kind
    }

    /// What was asked for.
    pub fn asked(&self) -> &Asked {
        &self.asked
    }

    /// Keys of the microphones.
    pub fn mics(&self) -> &[String] {
        &self.asked.mics
    }

    /// What is presented.
    pub fn material(&self) -> &Material {
        &self.material
    }

    /// What its control trials pair; `None` without any.
    pub fn control(&self) -> Option<Control> {
        self.control
    }

    /// The rule by which it may end early; `None`: it runs to its end.
    pub fn rule(&self) -> Option<&StoppingRule> {
        self.rule.as_ref()
    }

    /// Trials in all, at most.
    pub fn n_all(&self) -> u32 {
        self.asked.n_trials + self.asked.n_control + self.asked.n_catch
    }

    /// What guessing gives, and how often it may pass; `None` where nothing is right or wrong.
    pub fn question(&self) -> Option<Question> {
        self.kind().guess().map(|guess| Question { guess, alpha: ALPHA })
    }

    /// Share of trials in which the difference must be heard so that `n_sittings` sittings find it with a power of 80 %;
    /// `None` where nothing is right or wrong, or so few trials can find nothing.
    pub fn finds_share(&self, n_sittings: u64) -> Option<f64> {
        let question = self.question()?;
        let hit = found_with(question, u64::from(self.asked.n_trials) * n_sittings, POWER)?;
        Some(heard_share(hit, question.guess))
    }
}

impl Plan {
    /// Whether [`Plan::finds_share`] speaks of this plan: it knows of no control, and of an early end in one sitting alone.
    pub fn finds_are_reckoned(&self, n_sittings: u64) -> bool {
        self.control().is_none() && (self.rule().is_none() || n_sittings == 1)
    }
}

/// Trials that find a listener who hears the difference in this share of trials with a power of 80 %; `None` where nothing
/// is right or wrong, or 2000 would not do.
pub fn trials_that_find(kind: Kind, share: f64) -> Option<u64> {
    let guess = kind.guess()?;
    trials_for(Question { guess, alpha: ALPHA }, fairtake_stats::trials::hit_of_share(share, guess), POWER)
}

fn control_of(asked: &Asked, material: &Material) -> Result<Option<Control>, PlanTrouble> {
    if asked.n_control == 0 {
        return Ok(None);
    }
    if asked.kind.guess().is_none() {
        let hint = "leave them out: preference and rating have no right answer";
        return trouble("control trials belong to a test with right answers", hint);
    }
    let mut found = None;
    for mic in &asked.mics {
        for f in material.facing_itself(mic) {
            let again = f.one.placement != f.other.placement;
            // Where one microphone alone was placed again, the control is as weak as the other's.
            found = match (found, again) {
                (Some(Control::Passes), _) | (_, false) => Some(Control::Passes),
                _ => Some(Control::Placements),
            };
        }
    }
    match found {
        Some(control) => Ok(Some(control)),
        None => trouble(
            "no microphone has two passes to be told apart",
            "record one microphone twice, or leave control trials out; the verdict is then on these recordings only",
        ),
    }
}

/// Everything that a trial of this kind may need is there.
fn faces(asked: &Asked, material: &Material) -> Result<(), PlanTrouble> {
    for (i, mic) in asked.mics.iter().enumerate() {
        if material.groups(mic).is_empty() {
            let hint = "choose a microphone that was recorded on this source";
            return trouble(What::NoExcerpt(mic.clone()), hint);
        }
        for other in &asked.mics[..i] {
            if material.facing(mic, other).is_empty() {
                let hint = match material.paired {
                    Paired::SameSound => "choose microphones that were recorded together",
                    Paired::PlayedAgain => {
                        "the unknown must be another event than the one presented: record two events or more with each"
                    }
                };
                return trouble(What::NotFacing(mic.clone(), other.clone()), hint);
            }
        }
    }
    let rates = matches!(asked.kind, Kind::Likeness | Kind::Liking);
    if rates && material.paired == Paired::SameSound && crate::key::common_sounds(asked, material).is_empty()
    {
        return trouble(
            "no sound was recorded by all of them",
            "rate microphones that were recorded together",
        );
    }
    Ok(())
}

fn rule_of(asked: &Asked) -> Result<Option<StoppingRule>, PlanTrouble> {
    if asked.look_after.is_empty() {
        return Ok(None);
    }
    let Some(guess) = asked.kind.guess() else {
        return trouble("only a test with right answers may end early", "leave the looks out");
    };
    if asked.n_control > 0 {
        let hint = "leave out the looks or the control trials";
        return trouble("a test with control trials runs to its end", hint);
    }
    let mut looks: Vec<u64> = asked.look_after.iter().map(|n| u64::from(*n)).collect();
    if looks.last().is_some_and(|last| *last > u64::from(asked.n_trials)) {
        return trouble("a look lies beyond the last trial", "look after fewer trials");
    }
    if looks.last() != Some(&u64::from(asked.n_trials)) {
        looks.push(u64::from(asked.n_trials));
    }
    match StoppingRule::new(Question { guess, alpha: ALPHA }, &looks) {
        Ok(rule) => Ok(Some(rule)),
        Err(what) => trouble(what, "give numbers of trials that ascend"),
    }
}

#[cfg(test)]
mod tests;
