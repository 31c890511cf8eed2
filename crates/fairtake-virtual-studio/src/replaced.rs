//! A microphone set up again at a known distance from its last placement, for the estimate of that change.
//!
//! What is made differs from what the estimate assumes: distances and the acoustic centre are logged with errors, so is
//! the size of the source; angle, echo, strength and timbre have sizes of their own in every case and tails heavier than
//! normal.

use crate::cells::{MicPair, all_cells};
use crate::curve::sustained;
use crate::field::{SmoothField, between, heavy_tail, normal};
use crate::model::Model;
use fairtake_compare::{Design, LevelIs, PairTables, Playing, SetUp, Table, distance_change_db};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// Speed of sound in the made room, in m/s.
const SPEED_OF_SOUND_M_S: f64 = 343.4;

/// Two placements, and how far apart they truly are.
#[derive(Debug, Clone)]
pub struct ReplacedCase {
    /// The last placement is the reference, this one is *against*.
    pub pair: PairTables,
    /// As a log would have it.
    pub at: SetUp,
    /// Whether the level can be compared.
    pub level: LevelIs,
    /// Farther is positive, in mm.
    pub moved_mm: f64,
}

/// Who heard the takes beside the microphone itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beside {
    /// Nobody.
    Nobody,
    /// A witness that nobody moved.
    Witness,
}

/// Draws a case; the same seed makes the same case.
///
/// # Panics
/// Never: the cells hold one with drawn microphones and hits.
pub fn replaced_case(seed: u64, n_hits: usize, beside: Beside) -> ReplacedCase {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5e7_a9a1);
    let cell = all_cells().into_iter().find(|c| !sustained(c) && c.mics == MicPair::Drawn);
    let mut model = Model::new(&cell.expect("there is such a cell"), seed);
    let scene = model.scene();
    let hz: Vec<f64> = scene.bands.iter().map(|b| b.centre_hz()).collect();
    let octaves: Vec<f64> = hz.iter().map(|f| (f / 1000.0).log2()).collect();

    let gradient_share = [0.3, 0.5, 0.5, 0.634, 0.75, 1.0][(between(&mut rng, 0.0, 6.0) as usize).min(5)];
    let logged_mm = between(&mut rng, 40.0, 300.0);
    let centre_mm = (15.0 + 8.0 * normal(&mut rng)).max(0.0);
    let last_mm = (logged_mm + 3.0 * normal(&mut rng)).max(20.0) + centre_mm;
    // A fifth of the distance is what a careless hand does.
    let moved_mm =
        (0.2 * logged_mm * heavy_tail(&mut rng) * normal(&mut rng)).clamp(-0.6 * last_mm, 2.0 * last_mm);
    let is_point = between(&mut rng, 0.0, 1.0) < 0.3;
    let radius_mm = if is_point { 0.0 } else { between(&mut rng, 20.0, 200.0) };
    let logged_radius_mm = radius_mm * (1.0 + 0.1 * normal(&mut rng)).max(0.5);
    let distance: Vec<f64> = hz
        .iter()
        .map(|f| {
            let to_mm = last_mm + moved_mm;
            distance_change_db(last_mm, to_mm, *f, gradient_share, radius_mm, SPEED_OF_SOUND_M_S)
        })
        .collect();
    let mut rest = Rest::draw(&mut rng, &octaves);
    let placed: [Vec<f64>; 2] = [rest.once(&mut rng, &hz), rest.once(&mut rng, &hz)];
    let gain_db = match beside {
        Beside::Nobody => between(&mut rng, -6.0, 6.0),
        // A knob that is set again lands a little off.
        Beside::Witness => 0.3 * normal(&mut rng),
    };
    let (mut takes, mut witness) = (Vec::new(), Vec::new());
    for (side, placed) in placed.iter().enumerate() {
        let played = model.played();
        let events = model.events(n_hits, 0.0);
        let mut heard = |microphone: usize, parts: &[&[f64]]| -> Vec<f64> {
            let own = model.own_scatter(n_hits, 0.0);
            let rows = events.iter().zip(&own);
            rows.flat_map(|(e, o)| scene.levels(microphone, &[&[played.as_slice(), e, o], parts].concat()))
                .collect()
        };
        let gain = vec![if side == 1 { gain_db } else { 0.0 }; hz.len()];
        let nothing = vec![0.0; hz.len()];
        let moved = if side == 1 { &distance } else { &nothing };
        takes.push(table(side as u32 + 1, n_hits, heard(0, &[placed, moved, &gain])));
        if beside == Beside::Witness {
            witness.push(table(side as u32 + 1, n_hits, heard(2, &[])));
        }
    }
    let now = takes.pop().into_iter().collect();
    ReplacedCase {
        pair: PairTables {
            design: if witness.is_empty() { Design::InTurn } else { Design::InTurnWithWitness },
            playing: Playing::Percussive,
            supported: vec![true; hz.len()],
            noise_subtraction_sd_db: vec![0.0; hz.len()],
            bands: scene.bands.clone(),
            reference: takes,
            against: now,
            witness,
        },
        at: SetUp {
            distance_mm: logged_mm,
            centre_offset_mm: 15.0,
            radius_mm: logged_radius_mm,
            gradient_share,
            speed_of_sound_m_s: SPEED_OF_SOUND_M_S,
        },
        level: match beside {
            Beside::Nobody => LevelIs::Free,
            Beside::Witness => LevelIs::Known { gain_change_db: 0.0 },
        },
        moved_mm,
    }
}

/// What setting up changes beside the distance; its sizes are those of the curve tier.
struct Rest {
    angle: SmoothField,
    angle_db: f64,
    echo_gain: f64,
    echo_s: f64,
}

impl Rest {
    fn draw(rng: &mut ChaCha8Rng, octaves: &[f64]) -> Rest {
        Rest {
            angle: SmoothField::new(octaves, between(rng, 0.3, 0.8)),
            angle_db: between(rng, 0.4, 1.6),
            echo_gain: between(rng, 0.02, 0.12),
            echo_s: between(rng, 0.001, 0.006),
        }
    }

    fn once(&mut self, rng: &mut ChaCha8Rng, hz: &[f64]) -> Vec<f64> {
        let tail = heavy_tail(rng);
        let angle = self.angle.draw(rng);
        let echo_s = self.echo_s * (1.0 + 0.02 * normal(rng));
        hz.iter()
            .zip(angle)
            .map(|(f, a)| {
                let grows = self.angle_db * (0.15 + f / 10_000.0).min(1.5);
                let g = self.echo_gain;
                let phase = 2.0 * std::f64::consts::PI * f * echo_s;
                grows * tail * a + 10.0 * (1.0 + 2.0 * g * phase.cos() + g * g).log10()
            })
            .collect()
    }
}

fn table(performance: u32, n_hits: usize, band_db: Vec<f64>) -> Table {
    // Levels are not looked at: the fit goes by bands alone.
    let column = vec![-30.0; n_hits];
    Table {
        placement: performance,
        performance,
        position: None,
        order: Some(performance),
        band_db,
        loudness_db: column.clone(),
        midrange_db: column.clone(),
        sample_peak_db: column.clone(),
        true_peak_db: column.clone(),
        rms_db: column,
    }
}
