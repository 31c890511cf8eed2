//! Breaks within a sweep: what is neither the sweep nor its harmonics nor steady noise.
//!
//! The recording is deconvolved at the lower rate; what lies where response and harmonics have to lie explains the recording, and
//! the rest of it must be steady. A lost buffer, an edit or a knock sounds at every frequency at once and stands out.

use super::narrow::Narrow;
use super::{Defect, FoundPass};
use crate::excitation::{Excitation, Layout};
use fairtake_signal::fir::{to_frequency, to_time};
use fairtake_signal::units::{db_to_power, power_db};
use fairtake_transform::fast_length;

/// What sounds is compared in blocks of so many seconds.
const BLOCK_S: f64 = 0.004;
/// With the median of so many seconds on each side.
const AROUND_S: f64 = 0.2;
/// It stands out from there by this much, in dB. Blocks of steady noise scatter by 1 dB.
const STANDS_OUT_DB: f64 = 10.0;
/// And from the mean of the two or three blocks before or behind it, by this much.
const AT_ONCE_DB: f64 = 7.0;
/// So many blocks make before and behind, the nearest one left out.
const SOON: usize = 4;
/// Blocks as near as this belong to one break, in seconds.
const ONE_BREAK_S: f64 = 0.1;
/// The response is taken from so much before its place …
const BEFORE_S: f64 = 0.1;
/// … to so much behind it, in seconds;
const BEHIND_S: f64 = 0.5;
/// and a harmonic, which is weaker, only from so much before …
const HARMONIC_BEFORE_S: f64 = 0.02;
/// … to so much behind. What rings longer changes slowly and does not stand out.
const HARMONIC_BEHIND_S: f64 = 0.06;
/// Silence before the first pass, in seconds: half of what there is, when the mark has died away.
const SILENCE_S: f64 = 0.5;
/// Harmonics up to this order are accounted for.
const ORDERS: u32 = 10;
/// What is further below the mean of the pass than this, in dB, does no harm, and is what response and harmonics explain not quite.
const FLOOR_DB: f64 = -70.0;
/// The sweep at the lower rate ends between these shares of it.
const ENDS_SHARE: (f64, f64) = (0.40, 0.45);
/// Nothing above this share of the lower rate is looked at.
const HIGHEST_SHARE: f64 = 0.37;

/// Breaks within the passes.
pub(super) fn of(
    narrow: &Narrow,
    excitation: &Excitation,
    layout: &Layout,
    passes: &[FoundPass],
    faster: f64,
) -> Option<Defect> {
    let sweep = excitation.sweep()?;
    // Rendered at the lower rate, up to what that holds; the filter that made it so counts as a part of the response.
    let pass_s = layout.pass_frames as f64 / narrow.full_rate_hz;
    let n_reference = (pass_s * narrow.rate_hz) as usize + 8;
    let mut reference = sweep.samples(1.0 / (faster * narrow.rate_hz), 0.0, n_reference);
    let frame = |share: f64| (sweep.time_s(share * narrow.rate_hz) * faster * narrow.rate_hz) as usize;
    let (fades_from, fades_to) = (frame(ENDS_SHARE.0), frame(ENDS_SHARE.1));
    for (i, x) in reference.iter_mut().enumerate().skip(fades_from) {
        let share = (i - fades_from) as f64 / (fades_to - fades_from).max(1) as f64;
        *x *= 0.5 + 0.5 * (std::f64::consts::PI * share.min(1.0)).cos();
    }
    let length =
        reference.len() + (layout.pause_frames as f64 / narrow.full_rate_hz * narrow.rate_hz) as usize;
    let n = fast_length(length + (BEHIND_S * narrow.rate_hz) as usize);
    let sweep_spectrum = to_frequency(reference.iter().copied(), n);
    let greatest = sweep_spectrum.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
    let looked_at = looked_at(excitation.form().from_hz, narrow.rate_hz, n);
    let block = (BLOCK_S * narrow.rate_hz) as usize;
    let mut breaks: Vec<Place> = Vec::new();
    let noise_power = silence_power(narrow, passes.first()?.start_s, excitation.form().from_hz);
    for pass in passes {
        let first = (pass.start_s * narrow.rate_hz).floor() as i64;
        let recorded = (0..length as i64).map(|i| {
            usize::try_from(first + i).ok().and_then(|i| narrow.samples.get(i)).copied().unwrap_or(0.0)
        });
        let spectrum = to_frequency(recorded, n);
        // Only what is looked at, with smooth edges: an impulse response with sharp ones rings far beyond what is kept of it.
        let deconvolved = spectrum
            .iter()
            .zip(&sweep_spectrum)
            .zip(&looked_at)
            .map(|((y, x), share)| share * y * x.conj() / (x.norm_sqr() + 1e-6 * greatest))
            .collect();
        let mut impulse = to_time(deconvolved, n);
        keep_explained(&mut impulse, narrow.rate_hz, |order| sweep.lead_s(order));
        let explained = to_frequency(impulse.iter().copied(), n);
        let left = spectrum.iter().zip(&explained).zip(&sweep_spectrum).zip(&looked_at);
        let left = to_time(left.map(|(((y, h), x), share)| y * share - h * x).collect(), n);
        let power: f64 = spectrum.iter().zip(&looked_at).map(|(y, share)| y.norm_sqr() * share).sum();
        let mean_power = 2.0 * power / n as f64 / reference.len() as f64;
        let floor = block as f64 * (mean_power * db_to_power(FLOOR_DB)).max(noise_power);
        let left: Vec<f64> = left[..reference.len()]
            .chunks_exact(block)
            .map(|b| b.iter().map(|x| x * x).sum::<f64>() + floor)
            .collect();
        for (i, by_db) in standing_out(&left) {
            let at_s = (first as f64 + ((i as f64 + 0.5) * block as f64)) / narrow.rate_hz;
            match breaks.last_mut().filter(|last| at_s - last.latest_s <= ONE_BREAK_S) {
                Some(last) => {
                    if by_db > last.by_db {
                        (last.at_s, last.by_db) = (at_s, by_db);
                    }
                    last.latest_s = at_s;
                }
                None => breaks.push(Place { at_s, latest_s: at_s, by_db }),
            }
        }
    }
    let first = breaks.first()?;
    let by_db = breaks.iter().map(|b| b.by_db).fold(0.0, f64::max);
    Some(Defect::Break { count: breaks.len(), first_s: first.at_s, by_db })
}

/// A break: where it stands out most, where it was last seen, and by how much it stands out.
struct Place {
    at_s: f64,
    latest_s: f64,
    by_db: f64,
}

/// Blocks that stand out from those around them, and by how much in dB: from the median of all, and at once, from those just before
/// or just behind. What rings as the sweep passes a resonance comes and goes slowly.
fn standing_out(left: &[f64]) -> Vec<(usize, f64)> {
    let around = (AROUND_S / BLOCK_S) as usize;
    let over_db = |i: usize| {
        let near = &left[i.saturating_sub(around)..(i + around).min(left.len())];
        power_db(left[i] / median(near)).unwrap_or(0.0)
    };
    let mean = |blocks: &[f64]| blocks.iter().sum::<f64>() / blocks.len() as f64;
    let at_once_db = |i: usize| {
        let before = left.get(i.wrapping_sub(SOON)..i.wrapping_sub(1)).map(mean);
        let behind = left.get(i + 2..i + SOON + 1).map(mean);
        let quieter = before.into_iter().chain(behind).fold(f64::INFINITY, f64::min);
        power_db(left[i] / quieter).unwrap_or(0.0)
    };
    (0..left.len())
        .map(|i| (i, over_db(i)))
        .filter(|(i, db)| *db > STANDS_OUT_DB && at_once_db(*i) > AT_ONCE_DB)
        .collect()
}

/// Mean power, as far as it is looked at, in the silence before the first pass. What response and harmonics explain of the noise is
/// missing from what is left, so that it scatters more where they take much; nothing below the noise itself stands out.
fn silence_power(narrow: &Narrow, first_s: f64, from_hz: f64) -> f64 {
    let frame = |s: f64| ((s * narrow.rate_hz).max(0.0) as usize).min(narrow.samples.len());
    let silence = &narrow.samples[frame(first_s - SILENCE_S)..frame(first_s)];
    let n = fast_length(silence.len());
    let spectrum = to_frequency(silence.iter().copied(), n);
    let looked_at = looked_at(from_hz, narrow.rate_hz, n);
    let power: f64 = spectrum.iter().zip(looked_at).map(|(y, share)| y.norm_sqr() * share).sum();
    2.0 * power / n as f64 / silence.len().max(1) as f64
}

/// Share of each frequency that is looked at: all where the sweep is strong at the lower rate, nothing where it is faded.
fn looked_at(from_hz: f64, rate_hz: f64, n: usize) -> Vec<f64> {
    let (low_hz, high_hz) = (2.0 * from_hz, HIGHEST_SHARE * rate_hz);
    let edge = |share: f64| 0.5 - 0.5 * (std::f64::consts::PI * share.clamp(0.0, 1.0)).cos();
    let share = |hz: f64| edge((hz - low_hz) / low_hz) * edge((high_hz - hz) / (0.25 * high_hz));
    (0..=n / 2).map(|k| share(k as f64 * rate_hz / n as f64)).collect()
}

/// Clears everything from a circular impulse response but response and harmonics.
fn keep_explained(impulse: &mut [f64], rate_hz: f64, lead_s: impl Fn(u32) -> f64) {
    let n = impulse.len() as i64;
    let mut kept = vec![false; impulse.len()];
    for order in 1..=ORDERS {
        let lead = lead_s(order);
        let (before_s, behind_s) = if order == 1 {
            (BEFORE_S.min(0.5 * lead_s(2)), BEHIND_S)
        } else {
            (HARMONIC_BEFORE_S, HARMONIC_BEHIND_S)
        };
        let from = ((-lead - before_s) * rate_hz) as i64;
        let to = ((-lead + behind_s) * rate_hz) as i64;
        (from..to).for_each(|i| kept[i.rem_euclid(n) as usize] = true);
    }
    impulse.iter_mut().zip(kept).filter(|(_, kept)| !kept).for_each(|(x, _)| *x = 0.0);
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let middle = sorted.len() / 2;
    *sorted.select_nth_unstable_by(middle, f64::total_cmp).1
}
