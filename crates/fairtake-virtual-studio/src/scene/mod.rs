//! The demo's scene: an invented boathouse with invented microphones, rendered as takes whose answer is known.
//!
//! A source is played clean (`sources`), reaches a microphone by way of a placement (`rig`), and is recorded with the
//! room's and the microphone's noise. The truth is what the microphones alone, without placement and noise, make of
//! the clean source.

mod audio;
mod in_memory;
mod rig;
mod sources;
mod truth;

pub use audio::{AudioCase, AudioCell, audio_case, audio_cells};
pub use truth::Truth;

use crate::field::between;
use fairtake_compare::Role;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rig::{Microphone, Placement};
use sources::{Clean, Playing};

/// Sampling rate of every take in Hz.
pub const RATE_HZ: u32 = 48_000;

/// A rendered take and what the log says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct SceneTake {
    /// Path from the folder.
    pub file: String,
    /// Key of the microphone.
    pub mic: String,
    /// Key of the source.
    pub source: String,
    /// Setting-up, from 1.
    pub placement: u32,
    /// Pass of playing, from 1.
    pub performance: u32,
    /// Order within the source.
    pub order: u32,
    /// Named spot.
    pub position: Option<String>,
    /// What the take is for.
    pub role: Role,
    /// Gain of the preamp in dB.
    pub gain_db: f64,
    /// The samples.
    pub samples: Vec<f32>,
}

/// Everything of the scene.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// The log up to the takes.
    pub log_head: String,
    /// The takes.
    pub takes: Vec<SceneTake>,
    /// One per comparison: the known answer.
    pub truths: Vec<Truth>,
}

/// The log of the scene, but for its takes.
const LOG_HEAD: &str = r#"title = "Moorhen or Heron? A day in the boathouse (demo, made by the virtual studio)"
margin_db = 1.0
temperature_c = 17.0

[mics.moorhen]
name = "Moorhen 12"
year = 1974
kind = "dynamic"
pattern = "cardioid"

[mics.heron]
name = "Heron 3"
year = 2019
kind = "condenser"
pattern = "cardioid"

[mics.coot]
name = "Coot (witness)"
kind = "condenser"
pattern = "omni"

[sources.drum]
name = "frame drum, 40 cm, in turn"
playing = "percussive"
distance_mm = 250
radius_mm = 200

[sources.drum-together]
name = "frame drum, 40 cm, together"
playing = "percussive"
distance_mm = 250
radius_mm = 200

[sources.cello]
name = "cello, slow notes"
playing = "sustained"
distance_mm = 500

[sources.voice]
name = "speaking voice"
playing = "sustained"
distance_mm = 200

[plans.drum]
mics = ["moorhen", "heron"]
design = "in-turn"
placements = 4
events = 12
resolution_db = 6.0

[plans.drum-together]
mics = ["moorhen", "heron"]
design = "together"
placements = 4
events = 12

[plans.voice]
mics = ["moorhen", "heron"]
design = "in-turn-with-witness"
witness = "coot"
placements = 3
events = 14
"#;

/// The two that are compared.
const PAIR: [&str; 2] = ["moorhen", "heron"];

/// Which of the pair records when, in turn: interleaved, so that drift and warm-up cancel.
const ORDER: [usize; 6] = [0, 1, 1, 0, 0, 1];

/// Renders the scene. The same seed makes the same samples.
pub fn scene(seed: u64) -> Scene {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut studio = Studio { takes: Vec::new(), truths: Vec::new() };
    studio.in_turn("drum", Playing::Drum, None, &mut rng);
    studio.together("drum-together", &mut rng);
    studio.in_turn("cello", Playing::Cello, None, &mut rng);
    studio.in_turn("voice", Playing::Voice, Some("coot"), &mut rng);
    Scene { log_head: LOG_HEAD.to_string(), takes: studio.takes, truths: studio.truths }
}

struct Studio {
    takes: Vec<SceneTake>,
    truths: Vec<Truth>,
}

impl Studio {
    /// Three placements of each, one after the other, the player repeating.
    fn in_turn(&mut self, source: &str, playing: Playing, witness: Option<&str>, rng: &mut ChaCha8Rng) {
        let mut truth = Truth::new(source, PAIR);
        let mut n_placed = [0; 2];
        let untouched = Placement::draw(rng);
        for (i, side) in ORDER.into_iter().enumerate() {
            let performance = i as u32 + 1;
            let clean = playing.play(rng);
            truth.add(&clean);
            n_placed[side] += 1;
            let placement = Placement::draw(rng);
            let mic = PAIR[side];
            self.record(&clean, mic, source, n_placed[side], performance, None, &[&placement], rng);
            if let Some(witness) = witness {
                self.record(&clean, witness, source, 1, performance, None, &[&untouched], rng);
            }
        }
        self.truths.push(truth);
    }

    /// Both at once, four times, exchanging the two spots every time.
    fn together(&mut self, source: &str, rng: &mut ChaCha8Rng) {
        let mut truth = Truth::new(source, PAIR);
        let spots = [("left", Placement::draw(rng)), ("right", Placement::draw(rng))];
        for performance in 1..=4 {
            let clean = Playing::Drum.play(rng);
            truth.add(&clean);
            for (side, mic) in PAIR.into_iter().enumerate() {
                let (name, spot) = &spots[(side + performance as usize) % 2];
                let again = Placement::draw(rng);
                self.record(&clean, mic, source, performance, performance, Some(name), &[spot, &again], rng);
            }
        }
        self.truths.push(truth);
    }

    #[allow(clippy::too_many_arguments, reason = "private; a line of the log, and what is recorded")]
    fn record(
        &mut self,
        clean: &Clean,
        mic: &str,
        source: &str,
        placement: u32,
        performance: u32,
        position: Option<&str>,
        way: &[&Placement],
        rng: &mut ChaCha8Rng,
    ) {
        let microphone = Microphone::named(mic);
        let mut samples = clean.samples.clone();
        way.iter().for_each(|p| p.apply(&mut samples));
        microphone.record(&mut samples, rng);
        let role = if PAIR.contains(&mic) { Role::Compared } else { Role::Witness };
        self.takes.push(SceneTake {
            file: format!("takes/{source}-{performance}-{mic}.wav"),
            mic: mic.to_string(),
            source: source.to_string(),
            placement,
            performance,
            order: performance,
            position: position.map(str::to_string),
            role,
            gain_db: microphone.gain_db,
            samples,
        });
    }
}

/// A whole number of frames.
fn frames(seconds: f64) -> usize {
    (seconds * f64::from(RATE_HZ)).round() as usize
}

/// One of `n` things, all alike.
fn one_of(rng: &mut ChaCha8Rng, n: usize) -> usize {
    (between(rng, 0.0, n as f64) as usize).min(n - 1)
}
