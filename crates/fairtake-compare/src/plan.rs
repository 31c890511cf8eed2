//! The plan of a session: how much to record for a wanted resolution, in which order, and what of it is done.

use crate::{Design, Playing, Role, Unit};
use fairtake_stats::power::{Axis, detectable};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};

/// What placing does hangs together over about so many octaves (the allowance's correlation length).
const REACH_OCTAVES: f64 = 0.5;
/// Up to so many units are simulated; beyond, the spread of a mean falls with the root of their number.
const MOST_SIMULATED: u32 = 24;
/// Probability with which a difference of the wanted size is to be called.
pub const POWER: f64 = 0.8;
/// Neighbouring blocks of sustained sound correlate by about this much. Assumption.
const BLOCK_CORRELATION: f64 = 0.5;
/// Seed of the simulated sessions.
const SEED: u64 = 1;
/// Nobody records more than this.
const MOST_EVENTS: u32 = 500;
/// Plans with up to so many placements are offered.
const MOST_PLACEMENTS: u32 = 8;

/// What is planned for one source. Kept in the log under `[plans.SOURCE]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Keys of the microphones, in the order in which they are set up first.
    pub mics: Vec<String>,
    /// Together, in turn, in turn with a witness, or replayed.
    pub design: Design,
    /// How often each microphone is set up.
    pub placements: u32,
    /// Hits per take, or seconds of sustained sound.
    pub events: u32,
    /// Key of the microphone that nobody touches, where there is one.
    pub witness: Option<String>,
    /// The difference that should be found, in dB; `None`: not stated.
    pub resolution_db: Option<f64>,
    /// Steps of the run sheet that were ticked off by hand.
    pub ticked: Vec<String>,
    /// Spread between placements as the user states it, in dB.
    pub spread_placements_db: Option<f64>,
    /// Spread between hits or blocks as the user states it, in dB.
    pub spread_events_db: Option<f64>,
}

/// How much repeats scatter, standard deviations in dB in a band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Between placements of one microphone.
    pub placements_db: f64,
    /// Between hits or blocks at one placement.
    pub events_db: f64,
}

impl Spread {
    /// Where nothing is recorded yet. Assumption: 1 dB between placements; between hits 1.5 dB, or 0.3 dB where every
    /// microphone hears the same ones.
    pub fn assumed(design: Design) -> Spread {
        let same = matches!(design, Design::Together | Design::Replayed);
        Spread { placements_db: 1.0, events_db: if same { 0.3 } else { 1.5 } }
    }
}

/// One way to reach a resolution.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Amount {
    /// Placements per microphone.
    pub placements: u32,
    /// Hits or seconds per take; `None`: not reached with any number that somebody would record.
    pub events: Option<u32>,
    /// With one placement only these takes can be spoken of, not the microphones.
    pub speaks_of_microphones: bool,
    /// The smallest difference found with a probability of 80 % at this number, or at the most that is offered, in dB.
    pub finds_db: f64,
}

/// What must be recorded so that a difference of `resolution_db` in some band is called with a probability of 80 %, for one
/// to eight placements.
pub fn amounts(resolution_db: f64, spread: Spread, playing: Playing) -> Vec<Amount> {
    (1..=MOST_PLACEMENTS)
        .map(|placements| {
            let finds = |events: u32| finds_db(placements, events, spread, playing);
            let events = (2..=MOST_EVENTS).find(|n| finds(*n) <= resolution_db);
            let finds_db = finds(events.unwrap_or(MOST_EVENTS));
            Amount { placements, events, speaks_of_microphones: placements > 1, finds_db }
        })
        .collect()
}

/// The difference that is called with a probability of 80 % after so many placements and events per take, in dB.
pub fn finds_db(placements: u32, events: u32, spread: Spread, playing: Playing) -> f64 {
    let per_take = match playing {
        Playing::Sustained => f64::from(events) * (1.0 - BLOCK_CORRELATION) / (1.0 + BLOCK_CORRELATION),
        Playing::Percussive | Playing::Auto => f64::from(events),
    }
    .max(1.0);
    // The unit that is counted: placements from two on, else events.
    if placements > 1 {
        (spread.placements_db.powi(2) + spread.events_db.powi(2) / per_take).sqrt() * found_at(placements)
    } else {
        spread.events_db * found_at(per_take.floor().max(2.0) as u32)
    }
}

/// The difference that is found with `n_units` a side that scatter by 1 dB, by simulated sessions; kept, since a plan asks
/// for the same few numbers again and again.
fn found_at(n_units: u32) -> f64 {
    static KNOWN: LazyLock<Mutex<HashMap<u32, f64>>> = LazyLock::new(Mutex::default);
    let n = n_units.clamp(2, MOST_SIMULATED);
    let known = KNOWN.lock().unwrap_or_else(PoisonError::into_inner).get(&n).copied();
    let found = known.unwrap_or_else(|| {
        let found = detectable(n, &Axis::audible(REACH_OCTAVES), POWER, SEED).unwrap_or(f64::INFINITY);
        KNOWN.lock().unwrap_or_else(PoisonError::into_inner).insert(n, found);
        found
    });
    found * (f64::from(n) / f64::from(n_units.max(2))).sqrt()
}

/// One thing to record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Name of the step, unique in its plan; what is ticked off.
    pub id: String,
    /// Which pass of playing.
    pub performance: u32,
    /// What is set up for it.
    pub set_up: Vec<PlannedTake>,
    /// A take of every one of them is logged.
    pub recorded: bool,
    /// Ticked off by hand.
    pub ticked: bool,
}

/// A microphone set up for a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlannedTake {
    /// Key.
    pub mic: String,
    /// Its how manieth setting-up.
    pub placement: u32,
    /// Number of its spot, where microphones exchange places.
    pub spot: Option<u32>,
    /// Compared, or the witness.
    pub role: Role,
}

/// A logged take, as far as a plan asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Logged<'t> {
    /// Key of the microphone.
    pub mic: &'t str,
    /// Which setting-up.
    pub placement: u32,
}

/// The order of a session. In turn: A B B A A B …, so that drift, warm-up and a tiring player fall on all alike.
/// Together: every round the microphones move on by one spot, so that no spot belongs to a microphone.
/// `logged`: takes of this source that are there.
pub fn run_sheet(plan: &Plan, logged: &[Logged]) -> Vec<Step> {
    let compared: Vec<&String> = plan.mics.iter().filter(|m| Some(*m) != plan.witness.as_ref()).collect();
    let together = plan.design == Design::Together;
    let mut steps = Vec::new();
    for round in 0..plan.placements {
        let turn: Vec<&String> = if !together && round % 2 == 1 {
            compared.iter().rev().copied().collect()
        } else {
            compared.clone()
        };
        let of = |mic: &String, spot: Option<u32>| PlannedTake {
            mic: mic.clone(),
            placement: round + 1,
            spot,
            role: Role::Compared,
        };
        if together {
            let n = turn.len() as u32;
            let set_up =
                turn.iter().zip(0u32..).map(|(mic, i)| of(mic, Some((i + round) % n.max(1) + 1))).collect();
            steps.push((format!("round-{}", round + 1), set_up));
        } else {
            for mic in turn {
                steps.push((format!("{mic}-{}", round + 1), vec![of(mic, None)]));
            }
        }
    }
    let witness = plan.witness.as_ref().filter(|_| plan.design == Design::InTurnWithWitness);
    steps
        .into_iter()
        .zip(1u32..)
        .map(|((id, mut set_up), performance)| {
            let recorded =
                set_up.iter().all(|s| logged.iter().any(|t| t.mic == s.mic && t.placement == s.placement));
            set_up.extend(witness.map(|mic| PlannedTake {
                mic: mic.clone(),
                placement: 1,
                spot: None,
                role: Role::Witness,
            }));
            let ticked = plan.ticked.contains(&id);
            Step { id, performance, set_up, recorded, ticked }
        })
        .collect()
}

/// What an event of this playing is counted in.
pub fn unit_of(playing: Playing) -> Unit {
    if playing == Playing::Sustained { Unit::Block } else { Unit::Event }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(design: Design, placements: u32, mics: &[&str]) -> Plan {
        Plan {
            mics: mics.iter().map(|m| m.to_string()).collect(),
            design,
            placements,
            events: 12,
            witness: None,
            resolution_db: Some(1.0),
            ticked: vec!["heron-1".into()],
            spread_placements_db: None,
            spread_events_db: None,
        }
    }

    #[test]
    fn in_turn_goes_forth_and_back_so_that_drift_falls_on_both_alike() {
        let logged = [Logged { mic: "moorhen", placement: 1 }];
        let sheet = run_sheet(&plan(Design::InTurn, 4, &["moorhen", "heron"]), &logged);
        let order: Vec<&str> = sheet.iter().map(|s| s.set_up[0].mic.as_str()).collect();
        assert_eq!(order, ["moorhen", "heron", "heron", "moorhen", "moorhen", "heron", "heron", "moorhen"]);
        // With an even number of rounds a drift that grows steadily cancels: equal mean position.
        let mean = |mic: &str| {
            let at: Vec<f64> =
                sheet.iter().filter(|s| s.set_up[0].mic == mic).map(|s| f64::from(s.performance)).collect();
            at.iter().sum::<f64>() / at.len() as f64
        };
        assert_eq!(mean("moorhen"), mean("heron"));
        assert_eq!(sheet.iter().filter(|s| s.recorded).count(), 1);
        assert!(sheet.iter().any(|s| s.id == "heron-1" && s.ticked && !s.recorded));
    }

    #[test]
    fn together_every_microphone_visits_every_spot() {
        let sheet = run_sheet(&plan(Design::Together, 3, &["a", "b", "c"]), &[]);
        assert_eq!(sheet.len(), 3);
        for mic in ["a", "b", "c"] {
            let mut spots: Vec<Option<u32>> =
                sheet.iter().flat_map(|s| s.set_up.iter().filter(|u| u.mic == mic).map(|u| u.spot)).collect();
            spots.sort();
            assert_eq!(spots, [Some(1), Some(2), Some(3)]);
        }
    }

    #[test]
    fn a_witness_stands_in_every_step_and_is_not_moved() {
        let mut witnessed = plan(Design::InTurnWithWitness, 2, &["a", "b", "w"]);
        witnessed.witness = Some("w".into());
        let sheet = run_sheet(&witnessed, &[]);
        assert_eq!(sheet.len(), 4);
        for step in &sheet {
            assert_eq!(step.set_up.len(), 2);
            assert_eq!((step.set_up[1].role, step.set_up[1].placement), (Role::Witness, 1));
        }
    }

    #[test]
    fn more_is_never_worse_and_one_placement_speaks_of_the_takes_only() {
        let spread = Spread { placements_db: 1.0, events_db: 1.5 };
        for playing in [Playing::Percussive, Playing::Sustained] {
            let found: Vec<f64> = (2..=8).map(|p| finds_db(p, 16, spread, playing)).collect();
            assert!(found.windows(2).all(|w| w[1] < w[0]), "{found:?}");
            assert!(finds_db(3, 40, spread, playing) < finds_db(3, 10, spread, playing));
        }
        let all = amounts(3.0, spread, Playing::Percussive);
        assert!(!all[0].speaks_of_microphones && all[1].speaks_of_microphones);
        // What is offered keeps its promise, and one event fewer would not.
        for a in all.iter().filter(|a| a.events.is_some_and(|n| n > 2)) {
            let n = a.events.expect("filtered");
            assert!(a.finds_db <= 3.0 && finds_db(a.placements, n - 1, spread, Playing::Percussive) > 3.0);
        }
        // No number of hits makes up for what placing does.
        assert!(amounts(0.5, spread, Playing::Percussive)[1].events.is_none());
    }
}
