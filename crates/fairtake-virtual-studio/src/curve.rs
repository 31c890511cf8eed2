//! The curve tier: event × band tables drawn from a statistical model whose answer is known.
//!
//! A band level in dB is source + microphone + placement + playing of the take + event + what is the
//! microphone's own in the event. The sizes of all of these are drawn anew for every comparison. Levels are
//! matched by K-weighted loudness, which is not linear in dB: its expectations are taken over many draws with
//! the same events for both microphones.

use crate::cells::{Cell, MicPair};
use crate::model::{Draw, Model, Scene};
use fairtake_compare::{Design, PairTables, Playing, Table};

/// Draws for the expectation of the matching quantity. Reason: differences with common events scatter by less than
/// 0.1 dB, so 160 draws know them to 0.01 dB.
const N_EXPECTATION: usize = 160;

/// One made comparison and its truth.
#[derive(Debug, Clone)]
pub struct Case {
    /// What is judged.
    pub tables: PairTables,
    /// Level-matched difference per band as placed and as played, dB.
    pub truth_these_takes_db: Vec<f64>,
    /// Level-matched difference per band of the microphones, over placements and playing, dB.
    pub truth_microphones_db: Vec<f64>,
    /// Match gain as placed and as played.
    pub truth_match_gain_these_takes_db: f64,
    /// Match gain of the microphones.
    pub truth_match_gain_microphones_db: f64,
    /// True standard deviation of the estimate, per band, claim `these_takes`.
    pub oracle_sd_these_takes_db: Vec<f64>,
    /// The same, claim `microphones`.
    pub oracle_sd_microphones_db: Vec<f64>,
}

/// One take before its events: which microphone, where and how it was played.
struct TakePlan {
    side: usize,
    placement: u32,
    performance: u32,
    position: Option<String>,
    placed: Vec<f64>,
    played: Vec<f64>,
}

/// Draws a comparison. The same cell and seed give the same case.
pub fn draw_case(cell: &Cell, seed: u64) -> Case {
    let mut model = Model::new(cell, seed);
    let takes = plan(cell, &mut model);
    let scene = model.scene();
    let mut tables: [Vec<Table>; 3] = Default::default();
    let replay =
        (cell.design == Design::Replayed).then(|| model.events(cell.events as usize, cell.block_correlation));
    for performance in distinct_performances(&takes) {
        // A replay sounds the same every time.
        let events = match &replay {
            Some(events) => events.clone(),
            None => model.events(cell.events as usize, cell.block_correlation),
        };
        for take in takes.iter().filter(|t| t.performance == performance) {
            let own = model.own_scatter(cell.events as usize, cell.block_correlation);
            tables[take.side].push(table(take, &scene, &events, &own));
        }
    }
    let [reference, against, witness] = tables;
    let n_bands = scene.bands.len();
    let (these, microphones) = truths(cell, &mut model, &scene, &takes);
    let [oracle_these, oracle_mics] = oracle(cell, &mut model, &scene);
    Case {
        tables: PairTables {
            design: cell.design,
            playing: cell.playing,
            supported: vec![true; n_bands],
            noise_subtraction_sd_db: vec![0.0; n_bands],
            bands: scene.bands.clone(),
            reference,
            against,
            witness,
        },
        truth_these_takes_db: these.0,
        truth_match_gain_these_takes_db: these.1,
        truth_microphones_db: microphones.0,
        truth_match_gain_microphones_db: microphones.1,
        oracle_sd_these_takes_db: oracle_these,
        oracle_sd_microphones_db: oracle_mics,
    }
}

/// Which takes there are, each with its placement and its playing.
fn plan(cell: &Cell, model: &mut Model) -> Vec<TakePlan> {
    let mut takes = Vec::new();
    let mut performance = 0;
    let still = vec![0.0; model.n_bands()];
    let spots = [model.placed(0), model.placed(1)];
    let witness_placed = model.placed(2);
    for placement in 1..=cell.placements {
        let placed = [model.placed(0), model.placed(1)];
        let exchanged = cell.positions_exchanged && placement % 2 == 0;
        for _ in 0..cell.performances_per_placement {
            let replay = cell.design == Design::Replayed;
            let together = cell.design == Design::Together;
            for side in 0..2 {
                if side == 0 || !together {
                    performance += 1;
                }
                // Together, both microphones hear one playing; a replay is always played alike.
                let played = match takes.last() {
                    _ if replay => still.clone(),
                    Some(TakePlan { played, .. }) if together && side == 1 => played.clone(),
                    _ => model.played(),
                };
                let spot = if exchanged { 1 - side } else { side };
                let placed = if cell.positions_exchanged {
                    // The spot's own effect, shared by whoever stands there, and the error of setting up.
                    placed[side].iter().zip(&spots[spot]).map(|(p, s)| p + s).collect()
                } else {
                    placed[side].clone()
                };
                let position =
                    cell.positions_exchanged.then(|| if spot == 0 { "left" } else { "right" }.to_string());
                takes.push(TakePlan { side, placement, performance, position, placed, played });
                if cell.design == Design::InTurnWithWitness {
                    let played = takes.last().map(|t| t.played.clone()).unwrap_or_default();
                    takes.push(TakePlan {
                        side: 2,
                        placement: 1,
                        performance,
                        position: None,
                        placed: witness_placed.clone(),
                        played,
                    });
                }
            }
        }
    }
    takes
}

fn distinct_performances(takes: &[TakePlan]) -> Vec<u32> {
    let mut all: Vec<u32> = takes.iter().map(|t| t.performance).collect();
    all.dedup();
    all
}

/// Fills one take's table.
fn table(take: &TakePlan, scene: &Scene, events: &[Vec<f64>], own: &[Vec<f64>]) -> Table {
    let n = events.len();
    let mut out = Table {
        placement: take.placement,
        performance: take.performance,
        position: take.position.clone(),
        order: Some(take.performance),
        band_db: Vec::with_capacity(n * scene.bands.len()),
        loudness_db: Vec::with_capacity(n),
        midrange_db: Vec::with_capacity(n),
        sample_peak_db: Vec::with_capacity(n),
        true_peak_db: Vec::with_capacity(n),
        rms_db: Vec::with_capacity(n),
    };
    for (event, own) in events.iter().zip(own) {
        let row = scene.levels(take.side, &[&take.placed, &take.played, event, own]);
        let loudness = scene.loudness(&row);
        out.loudness_db.push(loudness);
        out.midrange_db.push(loudness - 1.0);
        out.sample_peak_db.push(loudness + 12.0 + 0.3 * own[0]);
        out.true_peak_db.push(loudness + 12.3 + 0.3 * own[0]);
        out.rms_db.push(loudness + 0.7 + 0.1 * own[1]);
        out.band_db.extend(row);
    }
    out
}

/// Truth of both claims: matched difference per band, and match gain.
fn truths(
    cell: &Cell,
    model: &mut Model,
    scene: &Scene,
    takes: &[TakePlan],
) -> ((Vec<f64>, f64), (Vec<f64>, f64)) {
    let n_bands = scene.bands.len();
    let draws: Vec<Draw> = (0..N_EXPECTATION).map(|_| model.draw()).collect();
    let difference = |level: [f64; 2], curve: [Vec<f64>; 2]| {
        let match_db = level[1] - level[0];
        let bands = (0..n_bands).map(|b| curve[1][b] - curve[0][b] - match_db).collect();
        (bands, -match_db)
    };
    // The microphones: over placements (and spots), playing and events.
    let mut level = [0.0; 2];
    let mut curve = [vec![0.0; n_bands], vec![0.0; n_bands]];
    for draw in &draws {
        for (side, level) in level.iter_mut().enumerate() {
            let row = scene.levels(side, &[&draw.placed[side], &draw.played, &draw.event, &draw.own]);
            *level += scene.loudness(&row) / N_EXPECTATION as f64;
        }
    }
    (0..2).for_each(|side| curve[side] = scene.expected_curve(side));
    let microphones = difference(level, curve.clone());
    // These takes: over events only; with a witness the playing is removed, and over several passes at one placement
    // it is what varies.
    let removed = cell.design == Design::InTurnWithWitness || several_passes(cell);
    // What a witness refers all takes to: their mean playing.
    let compared: Vec<&TakePlan> = takes.iter().filter(|t| t.side < 2).collect();
    let common: Vec<f64> = (0..n_bands)
        .map(|b| compared.iter().map(|t| t.played[b]).sum::<f64>() / compared.len() as f64)
        .collect();
    let mut level = [0.0; 2];
    let mut curve = [vec![0.0; n_bands], vec![0.0; n_bands]];
    for side in 0..2 {
        let own: Vec<&TakePlan> = takes.iter().filter(|t| t.side == side).collect();
        let share = 1.0 / own.len() as f64;
        for take in own {
            for draw in &draws {
                let played = match cell.design {
                    Design::InTurnWithWitness => &common,
                    _ if removed => &draw.played,
                    _ => &take.played,
                };
                let row = scene.levels(side, &[&take.placed, played, &draw.event, &draw.own]);
                level[side] += share * scene.loudness(&row) / N_EXPECTATION as f64;
            }
            let mean = scene.levels(side, &[&take.placed]);
            for b in 0..n_bands {
                let played = if removed { 0.0 } else { take.played[b] };
                curve[side][b] += share * (mean[b] + played);
            }
        }
    }
    (difference(level, curve), microphones)
}

/// True standard deviations of the estimate, with the matching quantity linearised: `these_takes`, `microphones`.
fn oracle(cell: &Cell, model: &mut Model, scene: &Scene) -> [Vec<f64>; 2] {
    const N: usize = 80;
    let n_bands = scene.bands.len();
    let shares = [scene.shares(0), scene.shares(1)];
    let matched = |side: usize, v: &[f64]| -> Vec<f64> {
        let level: f64 = v.iter().zip(&shares[side]).map(|(v, w)| v * w).sum();
        v.iter().map(|v| v - level).collect()
    };
    let together = matches!(cell.design, Design::Together | Design::Replayed);
    let removed = cell.design == Design::InTurnWithWitness;
    let (mut event, mut take, mut placed) = (vec![0.0; n_bands], vec![0.0; n_bands], vec![0.0; n_bands]);
    let add = |sum: &mut [f64], a: &[f64], b: &[f64]| {
        sum.iter_mut().zip(a.iter().zip(b)).for_each(|(s, (a, b))| *s += (b - a) * (b - a) / N as f64);
    };
    for _ in 0..N {
        let (a, b) = (model.draw(), model.draw());
        let with =
            |d: &Draw, common: &[f64]| -> Vec<f64> { d.own.iter().zip(common).map(|(o, c)| o + c).collect() };
        // Together one event reaches both; in turn each microphone has its own; a witness removes it.
        let heard_b = if together || removed { &a.event } else { &b.event };
        let (mut heard_0, mut heard_1) = (with(&a, &a.event), with(&b, heard_b));
        if removed {
            // What is heard is relative to the witness, which has a scatter of its own in every take.
            for (heard, witness) in [(&mut heard_0, model.draw()), (&mut heard_1, model.draw())] {
                heard.iter_mut().zip(&witness.own).for_each(|(h, w)| *h -= w);
            }
        }
        add(&mut event, &matched(0, &heard_0), &matched(1, &heard_1));
        if !together && !removed {
            add(&mut take, &matched(0, &a.played), &matched(1, &b.played));
        }
        add(&mut placed, &matched(0, &a.placed[0]), &matched(1, &b.placed[1]));
    }
    let n = f64::from(cell.events);
    let r = cell.block_correlation;
    let n_events = fairtake_stats::autocorrelation::effective_number(n as usize, r);
    let n_takes = f64::from(cell.performances_per_placement);
    let n_placements = f64::from(cell.placements);
    let passes = several_passes(cell);
    let these = (0..n_bands)
        .map(|b| {
            let take = if passes { take[b] } else { 0.0 };
            ((take + event[b] / n_events) / (n_takes * n_placements)).sqrt()
        })
        .collect();
    let microphones = (0..n_bands)
        .map(|b| ((placed[b] + (take[b] + event[b] / n_events) / n_takes) / n_placements).sqrt())
        .collect();
    [these, microphones]
}

/// True when passes at one placement are the units.
fn several_passes(cell: &Cell) -> bool {
    cell.placements == 1 && cell.performances_per_placement > 1 && cell.design == Design::InTurn
}

/// True when blocks, not hits, are drawn.
pub(crate) fn sustained(cell: &Cell) -> bool {
    cell.playing == Playing::Sustained
}

/// True when the pair's curves are the same.
pub(crate) fn identical(cell: &Cell) -> bool {
    cell.mics == MicPair::Identical
}
