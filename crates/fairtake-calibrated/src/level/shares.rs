//! Whose noise it is: shares of the room and of the chain in a recording of silence.

use super::segments::{Segments, layout, spectrum, within};
use super::{Beside, Sensitivity};
use fairtake_signal::bands::BandSet;
use fairtake_signal::weighting::{a_power, bs468_power};
use fairtake_transform::Complex;
use serde::{Deserialize, Serialize};

/// An estimated share counts from so many of its standard errors on.
const SURE: f64 = 3.0;

/// Share of other sound in a power, 0 to 1, between two bounds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// So much is surely there: what two microphones hear alike.
    pub at_least: f64,
    /// No more can be: all that the other one reads, its own noise included.
    pub at_most: f64,
}

/// Shares of another noise in everything that is read.
pub(super) struct Others {
    pub a_weighted: Share,
    pub bs468: Share,
    /// In third octaves.
    pub bands: Vec<Share>,
}

/// Bounds of a part of a whole.
fn share(at_least: f64, at_most: f64, whole: f64) -> Share {
    let of = |part: f64| if whole > 0.0 { (part / whole).min(1.0) } else { 0.0 };
    Share { at_least: of(at_least), at_most: of(at_most.max(at_least)) }
}

/// Noise of the chain, recorded by itself: both bounds are one.
pub(super) fn of_chain(alone: &[f32], rate_hz: u32, own: &Segments) -> Others {
    let chain = Segments::of(alone, rate_hz, 0.0);
    let weighted = |weight: fn(f64) -> f64| {
        let part = weighted_sum(&chain.mean_bins, own.bin_hz, weight);
        share(part, part, weighted_sum(&own.mean_bins, own.bin_hz, weight))
    };
    let of_band = |band: &(f64, f64)| {
        let part = within(&chain.mean_bins, *band, own.bin_hz);
        share(part, part, within(&own.mean_bins, *band, own.bin_hz))
    };
    Others {
        a_weighted: weighted(a_power),
        bs468: weighted(bs468_power),
        bands: own.bands_hz.iter().map(of_band).collect(),
    }
}

fn weighted_sum(bins: &[f64], bin_hz: f64, weight: fn(f64) -> f64) -> f64 {
    bins.iter().enumerate().map(|(k, p)| p * weight(k as f64 * bin_hz)).sum()
}

/// Sound of the room, by a microphone beside. At least: the cross-spectrum holds the room and neither microphone's own noise; where
/// sound comes from all sides, the two agree only below the frequency at which their distance is half a wave, so that this finds a
/// part of it. At most: all that the other one reads, as sound, where that hears
/// all sides alike; else all of it may be.
pub(super) fn of_room(
    samples: &[f32],
    beside: &Beside,
    sensitivity: &Sensitivity,
    rate_hz: u32,
    own: &Segments,
) -> Others {
    let (n, starts) = layout(samples.len().min(beside.samples.len()), rate_hz);
    let mut cross = vec![Complex::new(0.0, 0.0); n / 2 + 1];
    let mut both = [vec![0.0; n / 2 + 1], vec![0.0; n / 2 + 1]];
    for start in &starts {
        let (a, b) = (spectrum(&samples[*start..start + n]), spectrum(&beside.samples[*start..start + n]));
        for (k, cross) in cross.iter_mut().enumerate() {
            *cross += a[k] * b[k].conj();
            both[0][k] += a[k].norm_sqr();
            both[1][k] += b[k].norm_sqr();
        }
    }
    // Half-overlapping Hann windows: one in eighteen of them is worth nothing.
    let n_worth = starts.len() as f64 / (1.0 + 2.0 / 36.0);
    // |G12| is the room's power times the ratio of the sensitivities, the squares of chance taken off.
    let ratio_db = sensitivity.dbfs_per_pa.value - beside.dbfs_per_pa;
    let power_ratio = fairtake_signal::units::db_to_power(ratio_db);
    let squares: Vec<f64> =
        (0..=n / 2).map(|k| cross[k].norm_sqr() - both[0][k] * both[1][k] / n_worth).collect();
    let chance: Vec<f64> = (0..=n / 2).map(|k| (both[0][k] * both[1][k] / n_worth).powi(2)).collect();
    let per_segment = 1.0 / starts.len() as f64;
    let ones = vec![1.0; n / 2 + 1];
    let room = |band: (f64, f64)| {
        let n_bins = within(&ones, band, own.bin_hz).max(1e-9);
        let sum = within(&squares, band, own.bin_hz);
        // The window couples neighbouring bins: their number counts for less.
        let error = (within(&chance, band, own.bin_hz) * own.noise_bins).sqrt();
        if sum > SURE * error {
            (sum / n_bins).sqrt() * n_bins * power_ratio.sqrt() * per_segment
        } else {
            0.0
        }
    };
    let heard: Vec<f64> = match beside.is_omnidirectional {
        true => both[1].iter().map(|p| p * power_ratio * per_segment).collect(),
        false => own.mean_bins.clone(),
    };
    // Overall by octaves, which hold more bins and find smaller shares.
    let octaves = BandSet::new(1, f64::from(rate_hz) / 2.0).spans_hz();
    let weighted = |weight: fn(f64) -> f64| {
        let middle = |(from, to): (f64, f64)| weight((from * to).sqrt());
        let at_least: f64 = octaves.iter().map(|o| room(*o) * middle(*o)).sum();
        let whole: f64 = octaves.iter().map(|o| within(&own.mean_bins, *o, own.bin_hz) * middle(*o)).sum();
        let at_most = weighted_sum(&heard, own.bin_hz, weight)
            / weighted_sum(&own.mean_bins, own.bin_hz, weight).max(f64::MIN_POSITIVE);
        share(at_least, at_most * whole, whole)
    };
    let of_band = |band: &(f64, f64)| {
        let whole = within(&own.mean_bins, *band, own.bin_hz);
        share(room(*band), within(&heard, *band, own.bin_hz), whole)
    };
    Others {
        a_weighted: weighted(a_power),
        bs468: weighted(bs468_power),
        bands: own.bands_hz.iter().map(of_band).collect(),
    }
}
