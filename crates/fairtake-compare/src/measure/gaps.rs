//! Noise and hum, measured where nothing is played.

use super::{Stretch, stream::Streamed};
use crate::{NoiseFrom, NoiseMeasureOfTake, Playing, ReadError, Take};
use fairtake_signal::bands::BandSet;
use fairtake_signal::defects::{Hum, HumFinder};
use fairtake_signal::onsets::Envelope;
use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::units::db_to_power;
use fairtake_signal::weighting::{a_power, bs468_power};

/// A stretch counts as noise where its envelope stays within this of the quietest stretch, in dB.
const NEAR_FLOOR_DB: f64 = 6.0;
/// The quietest stretch must lie this much below what is played, or it is the quietest music and not noise, in dB.
const BELOW_PLAYED_DB: f64 = 30.0;
/// Noise is taken from this long after a hit has ended and until this long before the next, in seconds.
const KEEP_AWAY_S: f64 = 0.03;
/// No more than this many segments are averaged: the rest would not make the estimate better by a tenth of a dB.
const MOST_SEGMENTS: usize = 200;
/// Noise is read in pieces of about this length in seconds; how they scatter tells how well the noise is known. Reason:
/// the gaps between hits are about as long, and noise of a room hangs together for far less.
const PIECE_S: f64 = 0.5;

/// What the gaps between events hold; neither when there is no gap to measure it in.
#[derive(Debug, Default)]
pub(crate) struct Gaps {
    /// Power per band.
    pub noise: Option<NoiseMeasureOfTake>,
    /// Hum, where there is enough noise to tell.
    pub hum: Option<Hum>,
}

/// Up to this mean square a stretch is noise; `None` where the quietest may be music.
pub(super) fn up_to(envelope: &Envelope, rate_hz: u32) -> Option<f64> {
    let floor = envelope.quietest(rate_hz)?;
    let played = envelope.plain.iter().fold(0f32, |a, v| a.max(*v));
    (floor <= f64::from(played) * db_to_power(-BELOW_PLAYED_DB)).then(|| floor * db_to_power(NEAR_FLOOR_DB))
}

/// Noise and hum between events.
pub(crate) fn gaps(
    take: &Take,
    streamed: &Streamed,
    playing: Playing,
    events: &[Stretch],
    bands: &BandSet,
) -> Result<Gaps, ReadError> {
    let rate = f64::from(take.samples.rate_hz());
    let hop = streamed.envelope.hop_frames;
    let plain = &streamed.envelope.plain;
    let Some(limit) = up_to(&streamed.envelope, take.samples.rate_hz()) else { return Ok(Gaps::default()) };
    let limit = limit as f32;
    let keep_away = (KEEP_AWAY_S * rate) as u64;
    let mut busy = vec![false; plain.len()];
    for e in events {
        let from = (e.start.saturating_sub(keep_away) as usize / hop).min(plain.len());
        let to = ((e.end + keep_away) as usize / hop + 1).min(plain.len());
        busy[from..to].iter_mut().for_each(|b| *b = true);
    }
    if playing == Playing::Auto {
        return Ok(Gaps::default());
    }
    let quiet: Vec<bool> = busy.iter().zip(plain).map(|(b, v)| !b && *v <= limit).collect();
    in_quiet(take, hop, &quiet, NoiseFrom::Gaps, bands)
}

/// Noise and hum of a take in which nothing is played; what stands out of it, as a door does, is kept out.
pub(crate) fn room_tone(take: &Take, streamed: &Streamed, bands: &BandSet) -> Result<Gaps, ReadError> {
    let envelope = &streamed.envelope;
    let Some(floor) = envelope.quietest(take.samples.rate_hz()) else { return Ok(Gaps::default()) };
    let limit = (floor * db_to_power(NEAR_FLOOR_DB)) as f32;
    let quiet: Vec<bool> = envelope.plain.iter().map(|v| *v <= limit).collect();
    in_quiet(take, envelope.hop_frames, &quiet, NoiseFrom::RoomTone, bands)
}

/// Noise and hum over the quiet stretches of `hop` frames.
fn in_quiet(
    take: &Take,
    hop: usize,
    quiet: &[bool],
    from: NoiseFrom,
    bands: &BandSet,
) -> Result<Gaps, ReadError> {
    let rate = f64::from(take.samples.rate_hz());
    let mut n_fft = (rate as usize / 8).next_power_of_two();
    let mut runs = runs_of(quiet, n_fft.div_ceil(hop));
    while runs.is_empty() && n_fft > (rate as usize / 40) {
        n_fft /= 2;
        runs = runs_of(quiet, n_fft.div_ceil(hop));
    }
    let mut spectrum = BandSpectrum::new(take.samples.rate_hz(), bands);
    let (mut sum, mut n_segments, mut duration_s, mut squares, mut n_frames) =
        (vec![0.0; bands.len()], 0usize, 0.0, 0.0, 0usize);
    let mut hum = HumFinder::new(take.samples.rate_hz());
    let (mut samples, mut pieces) = (Vec::new(), Vec::new());
    let spans = bands.spans_hz();
    let weighted = |power: &[f64], gain: fn(f64) -> f64| -> f64 {
        spans.iter().zip(power).map(|((from, to), p)| p * gain((from * to).sqrt())).sum()
    };
    for (from, to) in runs.into_iter().flat_map(|run| in_pieces(run, hop, n_fft, rate)) {
        if n_segments >= MOST_SEGMENTS {
            break;
        }
        samples.resize((to - from) * hop, 0.0);
        let n = take.samples.read((from * hop) as u64, &mut samples)?;
        samples.truncate(n);
        if let Some((power, n)) = spectrum.steady_power(&samples, n_fft) {
            sum.iter_mut().zip(&power).for_each(|(s, p)| *s += p * n as f64);
            hum.push(&samples);
            n_segments += n;
            duration_s += samples.len() as f64 / rate;
            let energy = fairtake_signal::levels::energy(&samples);
            squares += energy;
            n_frames += samples.len();
            pieces.push([
                energy / samples.len() as f64,
                weighted(&power, a_power),
                weighted(&power, bs468_power),
            ]);
        }
    }
    if n_segments == 0 {
        return Ok(Gaps::default());
    }
    let band_power: Vec<f64> = sum.iter().map(|s| s / n_segments as f64).collect();
    let bin_hz = rate / n_fft as f64;
    // Half-overlapping Hann segments are worth about 0.95 independent ones each; two degrees of freedom per bin.
    let band_dof = spans
        .iter()
        .map(|(from, to)| (2.0 * 0.95 * n_segments as f64 * ((to - from) / (1.5 * bin_hz)).max(1.0)).max(2.0))
        .collect();
    let noise = NoiseMeasureOfTake {
        mean_square: squares / n_frames.max(1) as f64,
        mean_square_a: weighted(&band_power, a_power),
        mean_square_bs468: weighted(&band_power, bs468_power),
        band_power,
        band_dof,
        pieces,
        duration_s,
        from,
    };
    Ok(Gaps { noise: Some(noise), hum: hum.finish() })
}

/// A run cut into pieces of half a second and a little more or less, none shorter than a segment.
fn in_pieces((from, to): (usize, usize), hop: usize, n_fft: usize, rate: f64) -> Vec<(usize, usize)> {
    let frames = ((to - from) * hop) as f64;
    let n = (frames / (PIECE_S * rate).max(n_fft as f64 * 1.5)).floor().max(1.0) as usize;
    let at = |k: usize| from + (to - from) * k / n;
    (0..n).map(|k| (at(k), at(k + 1))).collect()
}

/// Runs of at least `least` true values.
fn runs_of(values: &[bool], least: usize) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut start = None;
    for (i, v) in values.iter().chain(std::iter::once(&false)).enumerate() {
        match (v, start) {
            (true, None) => start = Some(i),
            (false, Some(from)) => {
                if i - from >= least {
                    out.push((from, i));
                }
                start = None;
            }
            _ => {}
        }
    }
    out
}
