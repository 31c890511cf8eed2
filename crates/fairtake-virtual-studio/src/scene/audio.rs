//! The audio tier of the ground truth: rendered comparisons of every design, both kinds of playing, one and three
//! placements, which go through the whole method, and through the same score as the curve tier.

use super::in_memory::{in_memory_all, shootout_of};
use super::rig::Placement;
use super::sources::{Clean, Pass, Playing as Played};
use super::{PAIR, SceneTake, Studio, Truth};
use crate::curve::{self, Case};
use fairtake_compare::{Design, PairTables, SettingUp, Settings, Shootout, Take};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// Events that the expectation of one pass is taken over. Reason: twelve to thirty events are measured; the mean of ten
/// times as many is uncertain by a third of what theirs is, which makes misses by 5 % wider.
const N_EXPECTED: usize = 240;

/// One kind of rendered comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct AudioCell {
    /// Name in the table.
    pub name: String,
    /// The curve tier's cell of the same kind.
    pub twin: &'static str,
    design: Design,
    played: Played,
    placements: u32,
    /// Hits, or seconds.
    length: f64,
}

impl AudioCell {
    /// The settings that the comparison is asked for with: a replay is stated, all else is in the log.
    pub fn settings(&self, seed: u64) -> Settings {
        let design_override = (self.design == Design::Replayed).then_some(self.design);
        Settings { seed, design_override, ..Settings::standard() }
    }

    /// Placements of each microphone.
    pub fn placements(&self) -> u32 {
        self.placements
    }
}

/// The twelve cells.
pub fn audio_cells() -> Vec<AudioCell> {
    use Design::{InTurn, InTurnWithWitness, Replayed, Together};
    use Played::{Cello, Drum, Voice};
    let cell = |design, played, placements, twin| {
        let (what, length) = match played {
            Drum => ("drum", 12.0),
            Cello => ("cello", if placements == 1 { 30.0 } else { 14.0 }),
            Voice => ("voice", if placements == 1 { 30.0 } else { 14.0 }),
        };
        let how = match design {
            Together => "together",
            InTurn => "in turn",
            InTurnWithWitness => "witness",
            Replayed => "replayed",
        };
        let plural = if placements == 1 { "" } else { "s" };
        let name = format!("{how} {what} {placements} placement{plural}");
        AudioCell { name, twin, design, played, placements, length }
    };
    vec![
        cell(Together, Drum, 1, "together percussive 1 placement 12 hits drawn"),
        cell(Together, Drum, 3, "together percussive 3 placements 12 hits drawn"),
        cell(Together, Voice, 1, "together sustained 1 placement 29 blocks drawn"),
        cell(Together, Voice, 3, "together sustained 3 placements 13 blocks drawn"),
        cell(InTurn, Drum, 1, "in turn percussive 1 placement 12 hits drawn"),
        cell(InTurn, Drum, 3, "in turn percussive 3 placements 12 hits drawn"),
        cell(InTurn, Cello, 1, "in turn sustained 1 placement 29 blocks drawn"),
        cell(InTurn, Cello, 3, "in turn sustained 3 placements 13 blocks drawn"),
        cell(InTurnWithWitness, Drum, 1, "witness percussive 1 placement 12 hits drawn"),
        cell(InTurnWithWitness, Voice, 3, "witness sustained 3 placements 13 blocks drawn"),
        cell(Replayed, Cello, 1, "replayed sustained 1 placement 29 blocks drawn"),
        cell(Replayed, Drum, 3, "replayed percussive 3 placements 12 hits drawn"),
    ]
}

/// A rendered comparison with its answer.
#[derive(Debug, Clone, PartialEq)]
pub struct AudioCase {
    takes: Vec<SceneTake>,
    /// The known answer, of the claim that this comparison can make.
    pub truth: Truth,
}

impl AudioCase {
    /// The takes, with their samples in memory.
    pub fn in_memory(&self) -> Vec<Take> {
        in_memory_all(&self.takes)
    }

    /// What the method needs of the log.
    pub fn shootout(&self) -> Shootout {
        shootout_of(&self.takes)
    }

    /// The tables that the program made of the takes beside the answer: what the curve tier's score takes. The standard
    /// deviation of an oracle is not known here: it is put at what makes *width* the median half-width in dB. Of the
    /// levels only the loudness has a known answer.
    pub fn scored_as(&self, tables: &PairTables) -> Case {
        let mut tables = tables.clone();
        let answers: Vec<Option<f64>> =
            tables.bands.iter().map(|b| self.truth.difference_db(b.from_hz, b.to_hz)).collect();
        for (supported, answer) in tables.supported.iter_mut().zip(&answers) {
            *supported &= answer.is_some();
        }
        let match_gain_db = self.truth.match_gain_db();
        let truth = curve::Truth {
            difference_db: answers.iter().map(|a| a.unwrap_or(0.0)).collect(),
            match_gain_db,
            levels_db: [None, None, None, Some(-match_gain_db)],
            oracle_sd_db: vec![crate::score::SD_OF_ONE_DB; answers.len()],
        };
        let unknown = SettingUp {
            distance_mm: 250.0,
            radius_mm: None,
            gradient_share: [0.5; 2],
            centre_offset_mm: [15.0; 2],
            speed_of_sound_m_s: 343.0,
        };
        Case {
            tables,
            these_takes: truth.clone(),
            microphones: truth,
            spectra_db: Default::default(),
            setting_up: unknown,
        }
    }
}

/// Renders a comparison. The same cell and seed make the same samples.
pub fn audio_case(cell: &AudioCell, seed: u64) -> AudioCase {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let rng = &mut rng;
    let source = if cell.played == Played::Drum { "drum" } else { "sustained" };
    let mut studio = Studio { takes: Vec::new(), truths: Vec::new() };
    let mut truth = Truth::new(source, PAIR);
    let untouched = Placement::draw(rng);
    let first = cell.played.pass(rng);
    let replay = (cell.design == Design::Replayed).then(|| first.play(cell.length, rng));
    let mut performance = 0;
    for placement in 1..=cell.placements {
        let ways = [Placement::draw(rng), Placement::draw(rng)];
        let (mut pass, mut clean) = (first.clone(), Clean::nothing());
        for (side, mic) in PAIR.into_iter().enumerate() {
            let again = side == 0 || cell.design != Design::Together;
            if again {
                performance += 1;
                (pass, clean) = match &replay {
                    Some(clean) => (first.clone(), clean.clone()),
                    None => {
                        let pass = cell.played.pass(rng);
                        let clean = pass.play(cell.length, rng);
                        (pass, clean)
                    }
                };
            }
            let way = [&ways[side]];
            studio.record(&clean, mic, source, placement, performance, None, &way, rng);
            if cell.design == Design::InTurnWithWitness {
                studio.record(&clean, "coot", source, 1, performance, None, &[&untouched], rng);
            }
            let both: [Option<&[&Placement]>; 2] = [Some(&[&ways[0]]), Some(&[&ways[1]])];
            match (cell.placements, cell.design) {
                (1, Design::InTurn) if side == 0 => expected(cell, &pass, [both[0], None], &mut truth, rng),
                (1, Design::InTurn) => expected(cell, &pass, [None, both[1]], &mut truth, rng),
                // With a witness the playing is not the microphone's; together and replayed it is the same for both.
                (1, _) if again => expected(cell, &pass, both, &mut truth, rng),
                (1, _) => {}
                _ => truth.add(&clean),
            }
        }
    }
    AudioCase { takes: studio.takes, truth }
}

/// What the sides are to be expected to hear of a pass, were it to go on: not what those few events happened to be.
fn expected(
    cell: &AudioCell,
    pass: &Pass,
    ways: [Option<&[&Placement]>; 2],
    truth: &mut Truth,
    rng: &mut ChaCha8Rng,
) {
    let mut n = 0;
    while n < N_EXPECTED {
        let clean = pass.play(cell.length, rng);
        n += clean.events.len();
        truth.add_as_placed(&clean, ways);
    }
}
