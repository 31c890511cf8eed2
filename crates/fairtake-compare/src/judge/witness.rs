//! The witness: a microphone that nobody moves tells how each take was played.
//!
//! What the witness shows of an event, beyond its own mean over all takes, is subtracted from the event with slope one.
//! Its deviations are smoothed over bands, as far as that leaves less scatter: what is smooth is the player's, what is
//! rough may be the witness's own. Levels (loudness and the like) are corrected by what the band corrections change in
//! them, so that they follow the microphone's own balance and not that of the witness.

use super::units::rows;
use crate::{Design, MatchBy, PairTables, Table};
use fairtake_signal::units::{db_to_power, power_db};
use fairtake_stats::matrix::Matrix;

/// Smoothing widths tried, in octaves to each side; 0 = none.
const SMOOTHING_OCTAVES: [f64; 4] = [0.0, 0.25, 0.5, 1.0];

/// Deviations of the witness from its mean, per performance: events × all bands of the pair.
pub(super) struct RelativeToWitness {
    deviations: Vec<(u32, Matrix)>,
}

impl RelativeToWitness {
    /// Without a witness in the design nothing is subtracted.
    pub(super) fn new(pair: &PairTables) -> RelativeToWitness {
        if pair.design != Design::InTurnWithWitness || pair.witness.is_empty() {
            return RelativeToWitness { deviations: Vec::new() };
        }
        let m = pair.bands.len();
        let mut deviations: Vec<(u32, Matrix)> = pair
            .witness
            .iter()
            .map(|t| (t.performance, Matrix::from_rows(t.n_events(), m, t.band_db.clone())))
            .collect();
        let n = deviations.len() as f64;
        let mut middle = vec![0.0; m];
        for (_, rows) in &deviations {
            middle.iter_mut().zip(rows.column_means()).for_each(|(a, b)| *a += b / n);
        }
        for (_, rows) in &mut deviations {
            for i in 0..rows.n_rows() {
                rows.row_mut(i).iter_mut().zip(&middle).for_each(|(v, m)| *v -= m);
            }
        }
        let octaves: Vec<f64> = pair.bands.iter().map(|b| b.centre_hz().log2()).collect();
        let tried = SMOOTHING_OCTAVES.map(|reach| {
            let smooth: Vec<(u32, Matrix)> =
                deviations.iter().map(|(p, rows)| (*p, smoothed(rows, &octaves, reach))).collect();
            RelativeToWitness { deviations: smooth }
        });
        let scatter = tried.iter().map(|t| t.scatter(pair)).collect::<Vec<f64>>();
        let best = (0..tried.len()).min_by(|a, b| scatter[*a].total_cmp(&scatter[*b])).unwrap_or(0);
        let mut tried = Vec::from(tried);
        tried.swap_remove(best)
    }

    /// The rows of a take, relative to the witness.
    pub(super) fn rows(&self, table: &Table, pair: &PairTables, by: MatchBy) -> Matrix {
        rows(&self.corrected(table, pair), pair, by)
    }

    fn corrected(&self, table: &Table, pair: &PairTables) -> Table {
        let Some((_, deviations)) = self.deviations.iter().find(|(p, _)| *p == table.performance) else {
            return table.clone();
        };
        let m = pair.bands.len();
        let centres: Vec<f64> = pair.bands.iter().map(|b| b.centre_hz()).collect();
        let k: Vec<f64> = centres.iter().map(|f| fairtake_signal::weighting::k_power(*f)).collect();
        let middle: Vec<f64> =
            centres.iter().map(|f| f64::from(u8::from((300.0..3000.0).contains(f)))).collect();
        let plain = vec![1.0; m];
        let mut out = table.clone();
        let n = table.n_events().min(deviations.n_rows());
        for event in 0..n {
            let bands = &mut out.band_db[event * m..(event + 1) * m];
            let change = |weights: &[f64]| level_change(bands, deviations.row(event), weights);
            let (loudness, midrange, rms) = (change(&k), change(&middle), change(&plain));
            out.loudness_db[event] += loudness;
            out.midrange_db[event] += midrange;
            out.rms_db[event] += rms;
            out.sample_peak_db[event] += rms;
            out.true_peak_db[event] += rms;
            bands.iter_mut().zip(deviations.row(event)).for_each(|(b, d)| *b -= d);
        }
        out
    }

    /// Mean square of what is left between events of a take, over takes and bands.
    fn scatter(&self, pair: &PairTables) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        for table in pair.reference.iter().chain(&pair.against) {
            let rows = self.rows(table, pair, MatchBy::Loudness);
            let mean = rows.column_means();
            for i in 0..rows.n_rows() {
                sum += rows.row(i).iter().zip(&mean).map(|(v, m)| (v - m) * (v - m)).sum::<f64>();
                n += 1.0;
            }
        }
        sum / f64::max(n, 1.0)
    }
}

/// Change in dB of a weighted sum of band energies when `deviation` is taken from the bands.
fn level_change(band_db: &[f64], deviation: &[f64], weights: &[f64]) -> f64 {
    let (mut before, mut after) = (0.0, 0.0);
    for ((b, d), w) in band_db.iter().zip(deviation).zip(weights) {
        before += w * db_to_power(*b);
        after += w * db_to_power(b - d);
    }
    power_db(after).zip(power_db(before)).map_or(0.0, |(after, before)| after - before)
}

fn smoothed(rows: &Matrix, octaves: &[f64], reach: f64) -> Matrix {
    if reach <= 0.0 {
        return rows.clone();
    }
    let n = octaves.len();
    let weights: Vec<Vec<(usize, f64)>> = (0..n)
        .map(|i| {
            let near: Vec<(usize, f64)> = (0..n)
                .map(|j| (j, 1.0 - (octaves[i] - octaves[j]).abs() / reach))
                .filter(|(_, w)| *w > 0.0)
                .collect();
            let sum: f64 = near.iter().map(|(_, w)| w).sum();
            near.into_iter().map(|(j, w)| (j, w / sum)).collect()
        })
        .collect();
    let mut out = Matrix::zeros(0, n);
    for i in 0..rows.n_rows() {
        let row = rows.row(i);
        let smooth: Vec<f64> =
            weights.iter().map(|near| near.iter().map(|(j, w)| w * row[*j]).sum()).collect();
        out.push_row(&smooth);
    }
    out
}
