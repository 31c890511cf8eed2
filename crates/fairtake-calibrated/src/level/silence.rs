//! What should not be in a recording of silence: loud moments, clicks, hum.

use super::noise::HumLine;
use super::segments::{OVERLAP_SHARE, Segments, mean_and_spread};
use super::{LevelCaution, QuasiPeak};
use fairtake_signal::defects::{HISTORY, HumFinder, Scan};
use fairtake_signal::units::power_db;

/// The meter's reading settles within so many seconds: five times its slower discharge.
const SETTLED_S: f64 = 1.5;
/// Readings are averaged over so many seconds …
const READING_S: f64 = 1.0;
/// … and the meter remembers about so many of them, its slower discharge.
const MEMORY_S: f64 = 0.294;
/// By which a mean correlates with the next: τ/2T over 1 − τ/T, for a memory τ that is short beside T (the correlation e^(−t/τ)
/// averaged over neighbouring stretches). Taken as independent, intervals held in 92 of 100 made recordings.
pub(crate) const READING_SHARE: f64 = MEMORY_S / (2.0 * READING_S) / (1.0 - MEMORY_S / READING_S);
/// Readings are looked at this often for loud moments.
const LOOK_S: f64 = 0.05;
/// A loud moment lifts the meter this far above its median, in dB. Steady noise stays within 2 dB (ground truth: the
/// false alarms in docs/methods/sensitivity-and-noise.md).
const EVENT_DB: f64 = 3.0;
/// A line of hum this far above the noise beside it counts, in dB: as the check of takes.
pub(crate) const HUM_DB: f64 = 10.0;
/// Harmonics looked at.
const N_HARMONICS: usize = 10;
/// The mains keeps its frequency to about half a percent (common practice, no source).
const MAINS_SHARE: f64 = 0.006;
/// Half of a line's width in bins with the Hann window.
const LINE_BINS: usize = 2;
/// The noise beside a line lies from here to here, in bins.
const BESIDE_BINS: (usize, usize) = (4, 12);
/// Up to here single bins are needed, in Hz.
pub(crate) const HUM_TO_HZ: f64 = 640.0;

/// Readings of the meter over a take.
pub(crate) struct Readings {
    /// Means over seconds.
    pub means: Vec<f64>,
    /// Loud moments.
    pub n_events: usize,
}

/// What the quasi-peak meter reads of weighted samples.
pub(crate) fn readings(weighted: &[f64], rate_hz: u32) -> Readings {
    let mut meter = QuasiPeak::new(rate_hz);
    let all: Vec<f32> = weighted.iter().map(|x| meter.push(*x) as f32).collect();
    let frames = |s: f64| (s * f64::from(rate_hz)) as usize;
    let settled = all.get(frames(SETTLED_S)..).unwrap_or(&[]);
    let mean = |piece: &[f32]| piece.iter().map(|x| f64::from(*x)).sum::<f64>() / piece.len() as f64;
    let looks: Vec<f32> = settled.iter().step_by(frames(LOOK_S).max(1)).copied().collect();
    let mut sorted = looks.clone();
    sorted.sort_by(f32::total_cmp);
    let median = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    let limit = f64::from(median) * fairtake_signal::units::db_to_power(EVENT_DB).sqrt();
    let loud: Vec<bool> = looks.iter().map(|x| f64::from(*x) > limit).collect();
    let n_events =
        loud.windows(2).filter(|w| w[1] && !w[0]).count() + usize::from(loud.first() == Some(&true));
    Readings { means: settled.chunks_exact(frames(READING_S)).map(mean).collect(), n_events }
}

/// Clicks by the detector that looks through takes.
pub(crate) fn n_clicks(samples: &[f32], rate_hz: u32) -> usize {
    // The detector wants jumps of −60 dBFS; silence is lifted so far that its peak is at full scale.
    let peak = fairtake_signal::levels::sample_peak(samples);
    if peak == 0.0 {
        return 0;
    }
    let lift = (1.0 / peak) as f32;
    let lifted: Vec<f32> = samples.iter().map(|x| x * lift).collect();
    let mut scan = Scan::new(rate_hz);
    let (mut shown, mut start) = (0, 0);
    while shown < lifted.len() {
        start = shown.saturating_sub(HISTORY) / 32 * 32;
        shown = (shown + (1 << 16)).min(lifted.len());
        scan.look(&lifted[start..shown], start as u64);
    }
    scan.finish(&lifted[start..], start as u64).clicks.count
}

/// Lines of hum with power and spread: `(Hz, excess in dB, relative spread, degrees of freedom)` in [`HumLine`]'s raw form.
pub(crate) struct RawLine {
    /// In Hz.
    pub at_hz: f64,
    /// Power, in full-scale².
    pub power: f64,
    /// Above the noise beside it, in dB.
    pub excess_db: f64,
    /// Relative standard uncertainty of the power.
    pub relative: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// Lines at harmonics of the mains that stand out.
pub(crate) fn hum_lines(samples: &[f32], rate_hz: u32, segments: &Segments) -> Vec<RawLine> {
    let mut finder = HumFinder::new(rate_hz);
    samples.chunks(rate_hz as usize).for_each(|piece| finder.push(piece));
    let Some(mains_hz) = finder.finish().map(|hum| hum.mains_hz) else { return Vec::new() };
    (1..=N_HARMONICS).filter_map(|k| line(mains_hz * k as f64, segments)).collect()
}

fn line(nominal_hz: f64, segments: &Segments) -> Option<RawLine> {
    let bins = &segments.mean_bins;
    let range = (nominal_hz * MAINS_SHARE / segments.bin_hz).ceil() as usize + 1;
    let middle = (nominal_hz / segments.bin_hz).round() as usize;
    let (from, to) = (middle.checked_sub(range)?, middle + range);
    if from < BESIDE_BINS.1 || to + BESIDE_BINS.1 >= bins.len() {
        return None;
    }
    let top = (from..=to).max_by(|a, b| bins[*a].total_cmp(&bins[*b]))?;
    let power = |bins: &[f64]| {
        let own: f64 = bins[top - LINE_BINS..=top + LINE_BINS].iter().sum();
        let beside = |side: &dyn Fn(usize) -> usize| {
            (BESIDE_BINS.0..=BESIDE_BINS.1).map(|k| bins[side(k)]).sum::<f64>()
        };
        let n_beside = 2 * (BESIDE_BINS.1 - BESIDE_BINS.0 + 1);
        let noise = (beside(&|k| top - k) + beside(&|k| top + k)) / n_beside as f64;
        (own, noise * (2 * LINE_BINS + 1) as f64)
    };
    let (own, noise) = power(bins);
    let excess_db = power_db(own / noise)?;
    if excess_db < HUM_DB {
        return None;
    }
    let each: Vec<f64> = segments
        .low_bins
        .iter()
        .filter(|bins| top + BESIDE_BINS.1 < bins.len())
        .map(|bins| {
            let (own, noise) = power(bins);
            own - noise
        })
        .collect();
    let (mean, relative, df) = mean_and_spread(&each, OVERLAP_SHARE)?;
    Some(RawLine { at_hz: top as f64 * segments.bin_hz, power: mean, excess_db, relative, df })
}

/// What of all that is to be said.
pub(crate) fn cautions(n_events: usize, n_clicks: usize, lines: &[HumLine]) -> Vec<LevelCaution> {
    let mut cautions = Vec::new();
    if n_events > 0 {
        cautions.push(LevelCaution::Events { figure: n_events as f64, limit: 0.0 });
    }
    if n_clicks > 0 {
        cautions.push(LevelCaution::Clicks { figure: n_clicks as f64, limit: 0.0 });
    }
    if let Some(most) = lines.iter().max_by(|a, b| a.excess_db.total_cmp(&b.excess_db)) {
        cautions.push(LevelCaution::Hum { figure: most.excess_db, limit: HUM_DB, at_hz: most.at_hz });
    }
    cautions
}
