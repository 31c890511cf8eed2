//! Limiting and automatic gain: does a microphone's gain depend on how strongly it was played?
//!
//! Only where another microphone heard the same events: recorded together, or a witness. What a linear microphone adds to
//! an event is the same in every event, band by band, however bright the event is; the median over bands of its change is
//! the change of its gain.

use crate::{Playing, TakeMeasure};
use fairtake_signal::units::{db_to_power, power_db};
use fairtake_stats::autocorrelation::{effective_number, pooled_lag1};
use fairtake_stats::matrix::Matrix;
use fairtake_stats::student::t_quantile;

/// Both takes' bands lie this much above the noise in every event, or the band is not used, in dB.
const LEAST_SNR_DB: f64 = 10.0;
/// Fewer bands than this make no median.
const FEWEST_BANDS: usize = 6;
/// Fewer events than this tell nothing.
const FEWEST_EVENTS: f64 = 6.0;
/// Chance exceeds what counts in one comparison of 500, two-sided.
const CHANCE: f64 = 0.002;
/// Strong and soft: the tenth of events above and below.
const TENTH: f64 = 0.1;

/// How one microphone's gain follows the strength of playing, by another one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Following {
    /// Gain at strong events less that at soft ones (9 of 10 and 1 of 10), in dB.
    pub change_db: f64,
    /// 95 % interval of it, half of its width.
    pub half_db: f64,
    /// How much stronger the strong events are, in dB.
    pub range_db: f64,
    /// Chance does not explain it.
    pub beyond_chance: bool,
}

/// One performance heard by two: strength per event, and gain of the second over the first, both less their means.
struct Heard {
    strength_db: Vec<f64>,
    gain_db: Vec<f64>,
}

/// `pairs` holds, for each performance, a take of the microphone that shows the strength and one of the microphone in
/// question. `None` where events or bands are too few.
pub(super) fn following(pairs: &[(&TakeMeasure, &TakeMeasure)]) -> Option<Following> {
    let heard: Vec<Heard> = pairs.iter().filter_map(|(x, y)| hear(x, y)).collect();
    let all = || heard.iter().flat_map(|h| h.strength_db.iter().zip(&h.gain_db));
    let sxx: f64 = all().map(|(s, _)| s * s).sum();
    if sxx <= 0.0 {
        return None;
    }
    // Strength is the mean of what both show. Where both err alike, gain (their difference) then errs independently of it,
    // so that errors in both axes make no slope: Pitman (1939), Morgan (1939), the comparison of two related variances.
    let slope = all().map(|(s, g)| s * g).sum::<f64>() / sxx;
    let residuals: Vec<Matrix> = heard
        .iter()
        .map(|h| {
            let left: Vec<f64> = h.strength_db.iter().zip(&h.gain_db).map(|(s, g)| g - slope * s).collect();
            column(&left)
        })
        .collect();
    let steady = pairs.iter().any(|(x, _)| x.playing == Playing::Sustained);
    // A slope errs by the sum of strength × residual, and neighbouring products hang together as much as both do: their
    // correlations multiply (Bartlett 1935, "Some aspects of the time-correlation problem", from memory).
    let lag1 = if steady {
        let strength: Vec<Matrix> = heard.iter().map(|h| column(&h.strength_db)).collect();
        pooled_lag1(&residuals.iter().collect::<Vec<_>>()) * pooled_lag1(&strength.iter().collect::<Vec<_>>())
    } else {
        0.0
    };
    let n_effective: f64 = heard.iter().map(|h| effective_number(h.gain_db.len(), lag1)).sum();
    let n_events = all().count() as f64;
    if n_effective < FEWEST_EVENTS {
        return None;
    }
    // One mean for each performance, and the slope. Where blocks hang together, fewer count.
    let fitted = heard.len() as f64 + 1.0;
    let df = (n_effective - fitted).max(1.0);
    let squares: f64 = residuals.iter().flat_map(|m| (0..m.n_rows()).map(|i| m.at(i, 0).powi(2))).sum();
    let variance = squares / (n_events - fitted).max(1.0);
    let se = (variance * n_events / n_effective / sxx).sqrt();
    let mut strength: Vec<f64> = all().map(|(s, _)| *s).collect();
    strength.sort_by(f64::total_cmp);
    let at = |share: f64| strength[((strength.len() - 1) as f64 * share).round() as usize];
    let range_db = at(1.0 - TENTH) - at(TENTH);
    Some(Following {
        change_db: slope * range_db,
        half_db: t_quantile(0.975, df) * se * range_db,
        range_db,
        beyond_chance: slope.abs() > t_quantile(1.0 - CHANCE / 2.0, df) * se,
    })
}

fn column(values: &[f64]) -> Matrix {
    Matrix::from_rows(values.len(), 1, values.to_vec())
}

fn hear(x: &TakeMeasure, y: &TakeMeasure) -> Option<Heard> {
    let n = x.events.len();
    if n != y.events.len() {
        return None;
    }
    let used: Vec<usize> =
        (0..n).filter(|i| x.events[*i].left_out.is_none() && y.events[*i].left_out.is_none()).collect();
    // Rows: bands that stand out of the noise in every event of both; columns: events.
    let ratios: Vec<Vec<f64>> = (0..x.n_bands.min(y.n_bands))
        .filter_map(|band| {
            let row: Option<Vec<f64>> =
                used.iter().map(|i| power_db(clean(y, *i, band)? / clean(x, *i, band)?)).collect();
            row.map(less_mean)
        })
        .collect();
    if ratios.len() < FEWEST_BANDS || used.len() < 2 {
        return None;
    }
    let gain_db: Vec<f64> =
        (0..used.len()).map(|i| median(ratios.iter().map(|row| row[i]).collect())).collect();
    let strength = used.iter().map(|i| (x.events[*i].loudness_db + y.events[*i].loudness_db) / 2.0).collect();
    Some(Heard { strength_db: less_mean(strength), gain_db: less_mean(gain_db) })
}

/// Energy of a band of an event without the noise, where it stands out of it.
fn clean(m: &TakeMeasure, event: usize, band: usize) -> Option<f64> {
    let energy = m.band_energy[event * m.n_bands + band];
    let seconds = match m.playing {
        Playing::Sustained => 1.0,
        _ => m.events[event].end_s - m.events[event].start_s,
    };
    let noise = m.noise.as_ref().map_or(0.0, |n| n.band_power[band] * seconds);
    (energy > 0.0 && energy >= noise * db_to_power(LEAST_SNR_DB)).then_some(energy - noise)
}

fn less_mean(mut values: Vec<f64>) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    values.iter_mut().for_each(|v| *v -= mean);
    values
}

fn median(mut values: Vec<f64>) -> f64 {
    let n = values.len();
    let (below, upper, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let lower = if n % 2 == 1 { *upper } else { below.iter().copied().fold(f64::NEG_INFINITY, f64::max) };
    (lower + *upper) / 2.0
}
