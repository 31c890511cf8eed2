//! From measured takes to the tables that are judged: joined bands, noise taken off, decibels.

use super::steady_length;
use crate::{BandSpan, Design, PairTables, Playing, Settings, Table, Take, TakeMeasure};
use fairtake_signal::bands::BandSet;
use fairtake_signal::units::power_db_at_least;

/// A band is judged where the lower bound of signal-to-noise is at least this, in dB.
const LEAST_SNR_DB: f64 = 10.0;
/// An event's energy less noise is never taken below this share of its energy.
const LEAST_SHARE: f64 = 0.1;
/// A band wider than this many octaves after joining resolves nothing.
const WIDEST_OCTAVES: f64 = 1.01;
/// Bottom of every level in dB.
const BOTTOM_DB: f64 = -300.0;

/// Tables, with what else was found on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Tabulated {
    /// What is judged.
    pub pair: PairTables,
    /// Lower of both microphones' signal-to-noise per band, dB; `None`: unknown.
    pub snr_db: Vec<Option<f64>>,
}

/// One take with its measure.
pub type Measured<'a> = (&'a Take, &'a TakeMeasure);

/// Makes the tables of one pair.
pub fn tabulate(
    reference: &[Measured],
    against: &[Measured],
    witness: &[Measured],
    design: Design,
    settings: &Settings,
) -> Tabulated {
    let all: Vec<&Measured> = reference.iter().chain(against).chain(witness).collect();
    let playing = all.first().map_or(Playing::Percussive, |(_, m)| m.playing);
    let lowest_rate = all.iter().map(|(_, m)| m.rate_hz).min().unwrap_or(48_000);
    let spans = BandSet::new(settings.bands_per_octave, f64::from(lowest_rate) / 2.0).spans_hz();
    let duration_s = all.iter().map(|(_, m)| resolution_s(m, playing)).fold(f64::INFINITY, f64::min);
    let joined = join(&spans, duration_s);
    tabulate_joined(reference, against, witness, design, &spans, &joined)
}

/// The same on bands that another pair of takes has.
pub(crate) fn tabulate_on(
    bands: &[BandSpan],
    reference: &[Measured],
    against: &[Measured],
    design: Design,
    settings: &Settings,
) -> Tabulated {
    let lowest_rate = reference.iter().chain(against).map(|(_, m)| m.rate_hz).min().unwrap_or(48_000);
    let spans = BandSet::new(settings.bands_per_octave, f64::from(lowest_rate) / 2.0).spans_hz();
    let place = |hz: f64, edge: fn(&(f64, f64)) -> f64| spans.iter().position(|s| edge(s) == hz);
    let joined: Vec<(usize, usize)> = bands
        .iter()
        .filter_map(|b| place(b.from_hz, |s| s.0).zip(place(b.to_hz, |s| s.1)).map(|(a, b)| (a, b + 1)))
        .collect();
    tabulate_joined(reference, against, &[], design, &spans, &joined)
}

fn tabulate_joined(
    reference: &[Measured],
    against: &[Measured],
    witness: &[Measured],
    design: Design,
    spans: &[(f64, f64)],
    joined: &[(usize, usize)],
) -> Tabulated {
    let all: Vec<&Measured> = reference.iter().chain(against).chain(witness).collect();
    let playing = all.first().map_or(Playing::Percussive, |(_, m)| m.playing);
    let bands: Vec<BandSpan> =
        joined.iter().map(|(a, b)| BandSpan { from_hz: spans[*a].0, to_hz: spans[*b - 1].1 }).collect();
    let tables = |takes: &[Measured]| -> Vec<Table> { takes.iter().map(|m| table(m, joined)).collect() };
    let snr_of = |takes: &[Measured]| -> Vec<Option<(f64, f64)>> {
        joined
            .iter()
            .map(|span| takes.iter().map(|(_, m)| snr(m, *span)).collect::<Option<Vec<_>>>().map(least))
            .collect()
    };
    let (snr_a, snr_b) = (snr_of(reference), snr_of(against));
    let mut supported = Vec::new();
    let mut snr_db = Vec::new();
    for ((a, b), band) in snr_a.iter().zip(&snr_b).zip(&bands) {
        let lower = a.zip(*b).map(|(a, b)| least(vec![a, b]));
        let resolved = (band.to_hz / band.from_hz).log2() <= WIDEST_OCTAVES;
        snr_db.push(lower.map(|(snr, _)| snr));
        supported.push(resolved && lower.is_none_or(|(_, bound)| bound >= LEAST_SNR_DB));
    }
    let noise_subtraction_sd_db = snr_db.iter().map(|snr| subtraction_sd_db(*snr, &all)).collect();
    Tabulated {
        pair: PairTables {
            design,
            playing,
            bands,
            supported,
            reference: tables(reference),
            against: tables(against),
            witness: tables(witness),
            noise_subtraction_sd_db,
        },
        snr_db,
    }
}

fn least(values: Vec<(f64, f64)>) -> (f64, f64) {
    values.into_iter().fold((f64::INFINITY, f64::INFINITY), |a, b| (a.0.min(b.0), a.1.min(b.1)))
}

/// For how long a typical event lets a band ring: the median event, or one segment of steady sound.
fn resolution_s(m: &TakeMeasure, playing: Playing) -> f64 {
    if playing == Playing::Sustained {
        // A Hann window resolves 1.5 bins.
        return steady_length(m.rate_hz) as f64 / f64::from(m.rate_hz) / 1.5;
    }
    let mut durations: Vec<f64> =
        m.events.iter().filter(|e| e.left_out.is_none()).map(|e| e.end_s - e.start_s).collect();
    durations.sort_by(f64::total_cmp);
    durations.get(durations.len() / 2).copied().unwrap_or(0.1)
}

/// Neighbouring bands are joined, from below, until width × duration is at least one.
fn join(spans: &[(f64, f64)], duration_s: f64) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut from = 0;
    for (i, (_, to_hz)) in spans.iter().enumerate() {
        if (to_hz - spans[from].0) * duration_s >= 1.0 {
            out.push((from, i + 1));
            from = i + 1;
        }
    }
    out
}

fn table((take, m): &Measured, joined: &[(usize, usize)]) -> Table {
    let used: Vec<usize> = (0..m.events.len()).filter(|i| m.events[*i].left_out.is_none()).collect();
    let mut band_db = Vec::with_capacity(used.len() * joined.len());
    for i in &used {
        let row = &m.band_energy[i * m.n_bands..(i + 1) * m.n_bands];
        let event = &m.events[*i];
        for (from, to) in joined {
            let energy: f64 = row[*from..*to].iter().sum();
            let noise = m.noise.as_ref().map_or(0.0, |n| n.band_power[*from..*to].iter().sum::<f64>());
            let noise =
                if m.playing == Playing::Sustained { noise } else { noise * (event.end_s - event.start_s) };
            band_db.push(power_db_at_least((energy - noise).max(LEAST_SHARE * energy), BOTTOM_DB));
        }
    }
    let column = |f: fn(&crate::EventMeasure) -> f64| used.iter().map(|i| f(&m.events[*i])).collect();
    Table {
        placement: take.placement,
        performance: take.performance,
        position: take.position.clone(),
        order: take.order,
        band_db,
        loudness_db: column(|e| e.loudness_db),
        midrange_db: column(|e| e.midrange_db),
        sample_peak_db: column(|e| e.sample_peak_db),
        true_peak_db: column(|e| e.true_peak_db),
        rms_db: column(|e| e.rms_db),
    }
}

/// Signal-to-noise of a band and its lower 95 % bound, in dB; `None` without a noise estimate.
fn snr(m: &TakeMeasure, (from, to): (usize, usize)) -> Option<(f64, f64)> {
    let noise = m.noise.as_ref()?;
    let power: f64 = noise.band_power[from..to].iter().sum();
    let dof: f64 = noise.band_dof[from..to].iter().sum();
    let used: Vec<usize> = (0..m.events.len()).filter(|i| m.events[*i].left_out.is_none()).collect();
    let mean: f64 = used
        .iter()
        .map(|i| {
            let e = &m.events[*i];
            let seconds = if m.playing == Playing::Sustained { 1.0 } else { e.end_s - e.start_s };
            m.band_energy[i * m.n_bands + from..i * m.n_bands + to].iter().sum::<f64>() / seconds.max(1e-9)
        })
        .sum::<f64>()
        / used.len().max(1) as f64;
    // Normal approximation of the chi-square law, one-sided 95 %.
    let upper = power * (1.0 + 1.645 * (2.0 / dof.max(2.0)).sqrt());
    let db = |noise: f64| power_db_at_least((mean - noise).max(0.0) / noise.max(1e-300), -99.0).min(199.0);
    Some((db(power), db(upper)))
}

/// What the error of the noise estimate leaves in the difference, in dB: by the delta method
/// 10/ln 10 · (noise/signal) · √(2/dof), twice.
fn subtraction_sd_db(snr_db: Option<f64>, all: &[&Measured]) -> f64 {
    let dof = all
        .iter()
        .filter_map(|(_, m)| m.noise.as_ref())
        .map(|n| n.band_dof.iter().copied().fold(f64::INFINITY, f64::min))
        .fold(f64::INFINITY, f64::min);
    match snr_db {
        Some(snr) if dof.is_finite() => {
            let ratio = fairtake_signal::units::db_to_power(-snr);
            std::f64::consts::SQRT_2 * 10.0 / std::f64::consts::LN_10 * ratio.min(1.0) * (2.0 / dof).sqrt()
        }
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_too_narrow_for_short_events_are_joined_and_none_is_lost() {
        let spans = BandSet::new(12, 24_000.0).spans_hz();
        let joined = join(&spans, 0.25);
        assert!(joined.iter().all(|(a, b)| (spans[*b - 1].1 - spans[*a].0) * 0.25 >= 1.0));
        assert!(joined.windows(2).all(|w| w[0].1 == w[1].0) && joined[0].0 == 0);
        // Exact: at 20 kHz a twelfth is 1.2 kHz wide and stays alone.
        assert_eq!(joined.last().map(|(a, b)| b - a), Some(1));
    }
}
