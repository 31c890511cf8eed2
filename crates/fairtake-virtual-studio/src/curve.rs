//! The curve tier: event × band tables drawn from a statistical model whose answer is known.
//!
//! A band level in dB is source + microphone + placement + playing of the take + event + what is the
//! microphone's own in the event. The sizes of all of these are drawn anew for every comparison. Levels are
//! matched by K-weighted loudness, which is not linear in dB: its expectations are taken over many draws with
//! the same events for both microphones.

mod truths;

use crate::cells::{Cell, MicPair};
use crate::model::{Model, Scene};
use fairtake_compare::{Claim, Design, PairTables, Playing, SettingUp, Table};
use truths::{oracle, truths};

/// Draws for the expectation of the matching quantity. Reason: differences with common events scatter by less than
/// 0.1 dB, so 160 draws know them to 0.01 dB.
const N_EXPECTATION: usize = 160;

/// One made comparison and its truth.
#[derive(Debug, Clone)]
pub struct Case {
    /// What is judged.
    pub tables: PairTables,
    /// The answer as placed and as played.
    pub these_takes: Truth,
    /// The answer for the microphones, over placements and playing.
    pub microphones: Truth,
    /// True mean band levels of what was counted, unmatched, in dB: reference, against. What edges and peaks are
    /// held against.
    pub spectra_db: [Vec<f64>; 2],
    /// What a log would say of the setting-up; the source's size is not known.
    pub setting_up: SettingUp,
}

/// The known answer under one claim.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Level-matched difference per band, dB.
    pub difference_db: Vec<f64>,
    /// Gain that matches *against*, dB.
    pub match_gain_db: f64,
    /// Against minus reference of sample peak, true peak, RMS, loudness, dB, where known.
    pub levels_db: [Option<f64>; 4],
    /// True standard deviation of the estimate, per band.
    pub oracle_sd_db: Vec<f64>,
}

impl Case {
    /// The truth of a claim.
    pub fn truth(&self, claim: Claim) -> &Truth {
        match claim {
            Claim::TheseTakes => &self.these_takes,
            Claim::Microphones => &self.microphones,
        }
    }
}

/// What is drawn beyond the cell's own numbers: the same session, gone on with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GoneOn {
    /// As the cell says.
    No,
    /// Every take goes on until it has this many events.
    ToEvents(u32),
    /// Microphones are set up again until there are this many placements of each.
    ToPlacements(u32),
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
    draw_case_gone_on(cell, seed, GoneOn::No)
}

/// Draws a comparison whose session goes on: its first takes and events are those of [`draw_case`].
pub fn draw_case_gone_on(cell: &Cell, seed: u64, gone_on: GoneOn) -> Case {
    let mut model = Model::new(cell, seed);
    let mut takes = plan(cell, &mut model);
    let scene = model.scene();
    let replay =
        (cell.design == Design::Replayed).then(|| model.events(cell.events as usize, cell.block_correlation));
    let mut tables: [Vec<Table>; 3] = Default::default();
    record(cell, &mut model, &scene, &takes, replay.as_deref(), &mut tables);
    match gone_on {
        GoneOn::No => {}
        GoneOn::ToEvents(n) => {
            // The first events of each take stay; those of a longer take follow them.
            let more = Cell { events: n.saturating_sub(cell.events), ..cell.clone() };
            let mut rest: [Vec<Table>; 3] = Default::default();
            record(&more, &mut model, &scene, &takes, None, &mut rest);
            for (table, rest) in tables.iter_mut().flatten().zip(rest.iter().flatten()) {
                append(table, rest);
            }
        }
        GoneOn::ToPlacements(n) => {
            let more = more_placements(cell, &mut model, &takes, n);
            record(cell, &mut model, &scene, &more, replay.as_deref(), &mut tables);
            takes.extend(more);
        }
    }
    let [reference, against, witness] = tables;
    let n_bands = scene.bands.len();
    let (mut these_takes, mut microphones) = truths(cell, &mut model, &scene, &takes);
    [these_takes.oracle_sd_db, microphones.oracle_sd_db] = oracle(cell, &mut model, &scene);
    let spectra_db = [0, 1].map(|side| counted_spectrum(cell, &scene, &takes, side));
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
        these_takes,
        microphones,
        spectra_db,
        setting_up: model.setting_up_as_logged(),
    }
}

/// Adds the tables of all takes, performance by performance.
fn record(
    cell: &Cell,
    model: &mut Model,
    scene: &Scene,
    takes: &[TakePlan],
    replay: Option<&[Vec<f64>]>,
    tables: &mut [Vec<Table>; 3],
) {
    for performance in distinct_performances(takes) {
        // A replay sounds the same every time.
        let events = match replay {
            Some(events) => events.to_vec(),
            None => model.events(cell.events as usize, cell.block_correlation),
        };
        for take in takes.iter().filter(|t| t.performance == performance) {
            let own = model.own_scatter(cell.events as usize, cell.block_correlation);
            tables[take.side].push(table(take, scene, &events, &own));
        }
    }
}

fn append(table: &mut Table, rest: &Table) {
    let columns: [fn(&mut Table) -> &mut Vec<f64>; 6] = [
        |t| &mut t.band_db,
        |t| &mut t.loudness_db,
        |t| &mut t.midrange_db,
        |t| &mut t.sample_peak_db,
        |t| &mut t.true_peak_db,
        |t| &mut t.rms_db,
    ];
    let mut rest = rest.clone();
    for column in columns {
        let more = std::mem::take(column(&mut rest));
        column(table).extend(more);
    }
}

/// True mean spectrum of what is counted for one microphone: over placements and playing once it was set up again,
/// else as placed and as played. Not asked for where spots are exchanged.
fn counted_spectrum(cell: &Cell, scene: &Scene, takes: &[TakePlan], side: usize) -> Vec<f64> {
    let own: Vec<&TakePlan> = takes.iter().filter(|t| t.side == side).collect();
    if cell.placements >= 2 {
        return scene.expected_spectrum(side);
    }
    let mut mean = vec![0.0; scene.bands.len()];
    for take in &own {
        let row = scene.levels(side, &[&take.placed, &take.played]);
        mean.iter_mut().zip(row).for_each(|(m, r)| *m += r / own.len() as f64);
    }
    mean
}

/// Which takes there are, each with its placement and its playing.
fn plan(cell: &Cell, model: &mut Model) -> Vec<TakePlan> {
    let spots = [model.placed(0), model.placed(1)];
    let witness_placed = model.placed(2);
    placements(cell, model, 1..=cell.placements, 0, &spots, &witness_placed)
}

/// The takes of further placements; spots are not exchanged in them.
fn more_placements(cell: &Cell, model: &mut Model, before: &[TakePlan], to: u32) -> Vec<TakePlan> {
    let witness_placed = before.iter().find(|t| t.side == 2).map(|t| t.placed.clone()).unwrap_or_default();
    let n_performances = before.iter().map(|t| t.performance).max().unwrap_or(0);
    let none = vec![0.0; model.n_bands()];
    placements(cell, model, cell.placements + 1..=to, n_performances, &[none.clone(), none], &witness_placed)
}

fn placements(
    cell: &Cell,
    model: &mut Model,
    numbers: std::ops::RangeInclusive<u32>,
    n_performances: u32,
    spots: &[Vec<f64>; 2],
    witness_placed: &[f64],
) -> Vec<TakePlan> {
    let mut takes = Vec::new();
    let mut performance = n_performances;
    let still = vec![0.0; model.n_bands()];
    for placement in numbers {
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
                        placed: witness_placed.to_vec(),
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
        let [loudness, rms] = scene.loudness_and_rms(&row);
        out.loudness_db.push(loudness);
        out.midrange_db.push(loudness - 1.0);
        out.sample_peak_db.push(rms + 12.0 + 0.3 * own[0]);
        out.true_peak_db.push(rms + 12.3 + 0.3 * own[0]);
        out.rms_db.push(rms);
        out.band_db.extend(row);
    }
    out
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
