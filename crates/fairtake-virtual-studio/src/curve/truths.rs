//! The known answer of a drawn comparison, and the spread that an oracle knows.

use super::{N_EXPECTATION, TakePlan, Truth, several_passes};
use crate::cells::Cell;
use crate::model::{Draw, Model, Scene};
use fairtake_compare::Design;

/// Sums towards one truth: loudness and RMS of both sides, and both curves.
struct Sums {
    levels: [[f64; 2]; 2],
    curves: [Vec<f64>; 2],
}

impl Sums {
    fn new(n_bands: usize) -> Sums {
        Sums { levels: [[0.0; 2]; 2], curves: [vec![0.0; n_bands], vec![0.0; n_bands]] }
    }

    fn add_level(&mut self, side: usize, scene: &Scene, row: &[f64], share: f64) {
        let levels = scene.loudness_and_rms(row);
        (0..2).for_each(|k| self.levels[side][k] += share * levels[k]);
    }

    fn truth(self) -> Truth {
        let [loudness, rms] = [0, 1].map(|k| self.levels[1][k] - self.levels[0][k]);
        let difference_db =
            self.curves[1].iter().zip(&self.curves[0]).map(|(b, a)| b - a - loudness).collect();
        Truth {
            difference_db,
            match_gain_db: -loudness,
            levels_db: [rms, rms, rms, loudness].map(Some),
            oracle_sd_db: Vec::new(),
        }
    }
}

/// Truth of both claims, without the oracle: these takes, the microphones.
pub(super) fn truths(cell: &Cell, model: &mut Model, scene: &Scene, takes: &[TakePlan]) -> (Truth, Truth) {
    let n_bands = scene.bands.len();
    let draws: Vec<Draw> = (0..N_EXPECTATION).map(|_| model.draw()).collect();
    let share = 1.0 / N_EXPECTATION as f64;
    // The microphones: over placements (and spots), playing and events.
    let mut microphones = Sums::new(n_bands);
    for draw in &draws {
        for side in 0..2 {
            let row = scene.levels(side, &[&draw.placed[side], &draw.played, &draw.event, &draw.own]);
            microphones.add_level(side, scene, &row, share);
        }
    }
    (0..2).for_each(|side| microphones.curves[side] = scene.expected_curve(side));
    // These takes: over events only; with a witness the playing is removed, and over several passes at one placement
    // it is what varies.
    let removed = cell.design == Design::InTurnWithWitness || several_passes(cell);
    // What a witness refers all takes to: their mean playing.
    let compared: Vec<&TakePlan> = takes.iter().filter(|t| t.side < 2).collect();
    let common: Vec<f64> = (0..n_bands)
        .map(|b| compared.iter().map(|t| t.played[b]).sum::<f64>() / compared.len() as f64)
        .collect();
    let mut these = Sums::new(n_bands);
    for side in 0..2 {
        let own: Vec<&TakePlan> = takes.iter().filter(|t| t.side == side).collect();
        let of_takes = 1.0 / own.len() as f64;
        for take in own {
            for draw in &draws {
                let played = match cell.design {
                    Design::InTurnWithWitness => &common,
                    _ if removed => &draw.played,
                    _ => &take.played,
                };
                let row = scene.levels(side, &[&take.placed, played, &draw.event, &draw.own]);
                these.add_level(side, scene, &row, of_takes * share);
            }
            let mean = if removed {
                scene.levels(side, &[&take.placed])
            } else {
                scene.levels(side, &[&take.placed, &take.played])
            };
            these.curves[side].iter_mut().zip(&mean).for_each(|(c, m)| *c += of_takes * m);
        }
    }
    (these.truth(), microphones.truth())
}

/// True standard deviations of the estimate, with the matching quantity linearised: `these_takes`, `microphones`.
pub(super) fn oracle(cell: &Cell, model: &mut Model, scene: &Scene) -> [Vec<f64>; 2] {
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
