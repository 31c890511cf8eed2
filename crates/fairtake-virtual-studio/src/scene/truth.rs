//! The known answer: what the two microphones alone make of every clean event, without placement and noise.
//!
//! The clean event's power spectrum S, bin by bin, times the filters' power gain there: 10·lg(ΣS·H_B²/ΣS·H_A²).
//! Filtering first and cutting the events out afterwards would not do: what a window cuts off at the attack differs
//! between microphones, and swamps the lowest bands.

use super::rig::{Microphone, Placement};
use super::sources::Clean;
use super::{RATE_HZ, frames};
use fairtake_signal::bands::BandSet;
use fairtake_signal::units::power_db;
use fairtake_signal::weighting::k_power;
use fairtake_transform::forward;
use std::f64::consts::TAU;

/// Events are seen from this long before they begin, in seconds, so that no taper falls on an attack.
const LEAD_S: f64 = 0.02;

/// Length of the transform: events and blocks of up to 1.3 s.
const N_FFT: usize = 65_536;
const N_BINS: usize = N_FFT / 2 + 1;

/// Frequency of a bin in Hz.
fn hz_of(bin: usize) -> f64 {
    bin as f64 * f64::from(RATE_HZ) / N_FFT as f64
}

/// Power of an event, bin by bin; steady sound goes through a Hann window, lest what is cut splashes.
fn power_spectrum(event: &[f32], sustained: bool) -> Vec<f64> {
    let n = event.len().min(N_FFT);
    let window = |i: usize| if sustained { 0.5 - 0.5 * (TAU * i as f64 / n as f64).cos() } else { 1.0 };
    let plan = forward(N_FFT);
    let (mut input, mut output) = (plan.make_input_vec(), plan.make_output_vec());
    input.iter_mut().zip(&event[..n]).enumerate().for_each(|(i, (x, s))| *x = window(i) * f64::from(*s));
    plan.process(&mut input, &mut output).expect("the lengths are those of the plan");
    output.iter().map(|c| c.norm_sqr()).collect()
}

/// Per 24th-octave band the bins that overlap it, with the share of each.
fn shares() -> Vec<Vec<(usize, f64)>> {
    let step = hz_of(1);
    let overlap = |k: usize, (from, to): (f64, f64)| {
        let (low, high) = (hz_of(k) - step / 2.0, hz_of(k) + step / 2.0);
        (high.min(to) - low.max(from)).max(0.0) / step
    };
    bands()
        .spans_hz()
        .into_iter()
        .map(|span| {
            let (first, last) = ((span.0 / step) as usize, (span.1 / step).ceil() as usize + 1);
            (first..last.min(N_BINS)).map(|k| (k, overlap(k, span))).filter(|(_, w)| *w > 0.0).collect()
        })
        .collect()
}

/// The known answer to one comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Key of the source.
    pub source: String,
    /// Key of the reference.
    pub reference: String,
    /// Key of the other microphone.
    pub against: String,
    /// Reference, against: per event the energies in 24th-octave bands.
    events: [Vec<Vec<f64>>; 2],
    /// Reference, against: per event the K-weighted energy.
    loudness: [Vec<f64>; 2],
}

impl Truth {
    pub(super) fn new(source: &str, pair: [&str; 2]) -> Truth {
        Truth {
            source: source.to_string(),
            reference: pair[0].to_string(),
            against: pair[1].to_string(),
            events: Default::default(),
            loudness: Default::default(),
        }
    }

    /// Adds the events of a pass for both microphones, without placement.
    pub(super) fn add(&mut self, clean: &Clean) {
        self.add_as_placed(clean, [Some(&[]), Some(&[])]);
    }

    /// Adds the events of a pass for the sides that heard it, each with the power gain of its way.
    pub(super) fn add_as_placed(&mut self, clean: &Clean, ways: [Option<&[&Placement]>; 2]) {
        let gains = [(&self.reference, ways[0]), (&self.against, ways[1])].map(|(mic, way)| {
            let microphone = Microphone::named(mic);
            way.map(|way| {
                let placed = |hz: f64| way.iter().map(|p| p.power(hz)).product::<f64>();
                (0..N_BINS).map(|k| microphone.power(hz_of(k)) * placed(hz_of(k))).collect::<Vec<f64>>()
            })
        });
        let weights: Vec<f64> = (0..N_BINS).map(|k| k_power(hz_of(k).max(1.0))).collect();
        let shares = shares();
        let lead = frames(LEAD_S);
        for (from, to) in &clean.events {
            let event = &clean.samples[from.saturating_sub(lead)..*to];
            let source = power_spectrum(event, clean.sustained);
            for (side, gains) in gains.iter().enumerate() {
                let Some(gains) = gains else { continue };
                let heard: Vec<f64> = source.iter().zip(gains).map(|(s, g)| s * g).collect();
                let loudness: f64 = heard.iter().zip(&weights).map(|(e, w)| e * w).sum();
                if loudness > 0.0 {
                    let in_band = |share: &Vec<(usize, f64)>| share.iter().map(|(k, w)| w * heard[*k]).sum();
                    self.events[side].push(shares.iter().map(in_band).collect());
                    self.loudness[side].push(loudness);
                }
            }
        }
    }

    /// The gain that matches *against* by event loudness, in dB.
    pub fn match_gain_db(&self) -> f64 {
        let mean = |side: usize| mean_db(self.loudness[side].iter().copied()).unwrap_or(f64::NAN);
        mean(0) - mean(1)
    }

    /// Against minus reference in a band, after the loudness match, in dB; bands are those of 24 per octave that lie
    /// in it. `None` when there are none.
    pub fn difference_db(&self, from_hz: f64, to_hz: f64) -> Option<f64> {
        let spans = bands().spans_hz();
        let inside: Vec<usize> = (0..spans.len())
            .filter(|i| {
                let centre = (spans[*i].0 * spans[*i].1).sqrt();
                centre > from_hz && centre < to_hz
            })
            .collect();
        let mean = |side: usize| {
            mean_db(self.events[side].iter().map(|e| inside.iter().filter_map(|i| e.get(*i)).sum::<f64>()))
        };
        (!inside.is_empty()).then(|| Some(mean(1)? - mean(0)? + self.match_gain_db())).flatten()
    }
}

/// Mean of energies as dB levels; `None` for none, or when one is nothing.
fn mean_db(energies: impl Iterator<Item = f64>) -> Option<f64> {
    let levels: Option<Vec<f64>> = energies.map(power_db).collect();
    levels.filter(|l| !l.is_empty()).map(|l| l.iter().sum::<f64>() / l.len() as f64)
}

fn bands() -> BandSet {
    BandSet::new(24, f64::from(RATE_HZ) / 2.0)
}
