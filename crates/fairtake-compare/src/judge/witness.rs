//! The witness: a microphone that nobody moves tells how each take was played.
//!
//! What the witness shows of an event, beyond its own mean over all takes, is subtracted from the event with slope one.
//! Its deviations are smoothed over bands, as far as that leaves less scatter: what is smooth is the player's, what is
//! rough may be the witness's own. Levels (loudness and the like) are corrected by what the band corrections change in
//! them, so that they follow the microphone's own balance and not that of the witness.
//!
//! Corrected so, all events sound as the mean event. But how two microphones differ in loudness depends on what is played:
//! a brighter hit favours the brighter one. That part of their spread the correction has taken away; it is found again in
//! what the events' deviations do to both mean spectra ([`RelativeToWitness::balance`]).

use super::units::{N_LEVELS, rows};
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
        let weights = Weights::new(pair);
        let mut out = table.clone();
        let n = table.n_events().min(deviations.n_rows());
        for event in 0..n {
            let bands = &mut out.band_db[event * m..(event + 1) * m];
            let change = |weights: &[f64]| level_change(bands, deviations.row(event), weights);
            let (loudness, midrange, rms) =
                (change(&weights.loudness), change(&weights.midrange), change(&weights.plain));
            out.loudness_db[event] += loudness;
            out.midrange_db[event] += midrange;
            out.rms_db[event] += rms;
            out.sample_peak_db[event] += rms;
            out.true_peak_db[event] += rms;
            bands.iter_mut().zip(deviations.row(event)).for_each(|(b, d)| *b -= d);
        }
        out
    }

    /// Against minus reference of what every event's deviation from its performance's mean changes in the levels, as rows
    /// of the fit's columns, one matrix per performance; none without a witness.
    pub(super) fn balance(&self, pair: &PairTables, by: MatchBy) -> Vec<Matrix> {
        let m = pair.bands.len();
        let sides = [&pair.reference, &pair.against].map(|tables| {
            let mut mean = vec![0.0; m];
            for table in tables {
                let rows = Matrix::from_rows(table.n_events(), m, self.corrected(table, pair).band_db);
                let share = 1.0 / tables.len() as f64;
                mean.iter_mut().zip(rows.column_means()).for_each(|(a, b)| *a += share * b);
            }
            mean
        });
        let weights = Weights::new(pair);
        let n_supported = pair.supported.iter().filter(|s| **s).count();
        self.deviations
            .iter()
            .map(|(_, deviations)| {
                let middle = deviations.column_means();
                let mut out = Matrix::zeros(0, n_supported + N_LEVELS);
                for i in 0..deviations.n_rows() {
                    // What is taken from a spectrum lowers it: the deviation is put onto it.
                    let put_on: Vec<f64> =
                        deviations.row(i).iter().zip(&middle).map(|(d, m)| m - d).collect();
                    let change = |weights: &[f64]| {
                        level_change(&sides[1], &put_on, weights) - level_change(&sides[0], &put_on, weights)
                    };
                    let (loudness, plain) = (change(&weights.loudness), change(&weights.plain));
                    let matched = match by {
                        MatchBy::Loudness => loudness,
                        MatchBy::Midrange => change(&weights.midrange),
                        MatchBy::Peak => plain,
                        MatchBy::None => 0.0,
                    };
                    let mut row = vec![-matched; n_supported];
                    row.extend([matched, plain, plain, plain, loudness]);
                    out.push_row(&row);
                }
                out
            })
            .collect()
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

/// What every band counts for in the levels.
struct Weights {
    loudness: Vec<f64>,
    midrange: Vec<f64>,
    plain: Vec<f64>,
}

impl Weights {
    fn new(pair: &PairTables) -> Weights {
        let centres: Vec<f64> = pair.bands.iter().map(|b| b.centre_hz()).collect();
        Weights {
            loudness: centres.iter().map(|f| fairtake_signal::weighting::k_power(*f)).collect(),
            midrange: centres.iter().map(|f| f64::from(u8::from((300.0..3000.0).contains(f)))).collect(),
            plain: vec![1.0; centres.len()],
        }
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
