//! Whose distortion: that of the microphone apart from that of the loudspeaker, by a reference take at the same point.
//!
//! The loudspeaker's n-th harmonic is sound: the reference hears it as it hears any sound of that frequency, and so does the
//! microphone. From the reference take it is known what the microphone must record of it; what is there beyond that is its own.

use super::harmonics::{ORDERS, Spectra, scaled};
use crate::quantity::{Contribution, Quantity};
use crate::response::{Gate, ImpulseResponse, ResponseError, checked_bands};
use fairtake_signal::bands::BandSet;
use serde::{Deserialize, Serialize};

/// The microphone's own share of a harmonic.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Own {
    /// In percent of the fundamental.
    Measured(Quantity),
    /// The loudspeaker's hides it: at most so much, in percent.
    AtMost(f64),
    /// Without a reference take, or outside of what was measured.
    CannotBeSeparated,
}

/// The microphone's own harmonics at one frequency of the fundamental.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OwnPoint {
    /// Middle of the band in Hz.
    pub hz: f64,
    /// Orders 2, 3, 4, 5.
    pub harmonics: [Own; 4],
    /// What the loudspeaker's harmonics come to in the recording, in percent of the fundamental.
    pub loudspeaker_percent: [Option<f64>; 4],
}

/// It is the microphone's own where it is so many standard uncertainties from nothing.
const KNOWN_FROM: f64 = 3.0;
/// Else it is at most what was found and so many of them.
const AT_MOST: f64 = 2.0;

/// The microphone's own harmonics.
///
/// `place_share`: by what share of amplitude the sound at the point of the reference may differ from that at the microphone's (0.1:
/// 0.8 dB or 6°, assumption). `reference`: its take at the same level of the sweep; without one nothing can be separated. The reference
/// itself is taken not to distort.
///
/// # Errors
/// Where the two were not recorded alike, or with a gate or bands that are not offered.
///
/// # Source
/// Own derivation, docs/methods/distortion.md.
pub fn own_distortion(
    tested: &ImpulseResponse,
    reference: Option<&ImpulseResponse>,
    place_share: f64,
    per_octave: u32,
    gate: Gate,
) -> Result<Vec<OwnPoint>, ResponseError> {
    gate.check(tested)?;
    checked_bands(per_octave)?;
    let spans = BandSet::new(per_octave, 0.5 * f64::from(tested.rate_hz)).spans_hz();
    let middle = |span: &(f64, f64)| (span.0 * span.1).sqrt();
    let Some(reference) = reference else {
        let none = |span| OwnPoint {
            hz: middle(span),
            harmonics: std::array::from_fn(|_| Own::CannotBeSeparated),
            loudspeaker_percent: [None; 4],
        };
        return Ok(spans.iter().map(none).collect());
    };
    gate.check(reference)?;
    if tested.rate_hz != reference.rate_hz {
        return Err(ResponseError::Unlike { what: "sampling rates" });
    }
    if tested.level_dbfs != reference.level_dbfs {
        return Err(ResponseError::Unlike { what: "levels of the sweep" });
    }
    let (here, there) = (Spectra::of(tested, gate), Spectra::of(reference, gate));
    let n_bins = here.spectra[0].len().min(there.spectra[0].len());
    if here.spectra[0].len() != there.spectra[0].len() {
        return Err(ResponseError::Unlike { what: "lengths" });
    }
    // What the microphone makes of a sound that the reference hears as 1.
    let carried: Vec<_> = (0..n_bins).map(|k| here.spectra[0][k] / there.spectra[0][k]).collect();
    let power = |idx: usize, of: &dyn Fn(usize) -> f64, s: &Spectra, i: &ImpulseResponse| {
        let per_bin: Vec<f64> = (0..n_bins).map(of).collect();
        s.banded(idx, &per_bin, i, &spans)
    };
    let fundamental = power(0, &|k| here.spectra[0][k].norm_sqr(), &here, tested);
    let orders: Vec<_> = (1..=ORDERS.len())
        .map(|idx| {
            let of_speaker = |k: usize| there.spectra[idx][k] * carried[k];
            (
                power(idx, &|k| (here.spectra[idx][k] - of_speaker(k)).norm_sqr(), &here, tested),
                power(idx, &|k| of_speaker(k).norm_sqr(), &here, tested),
                power(idx, &|k| there.spectra[idx][k].norm_sqr(), &there, reference),
                power(idx, &|k| carried[k].norm_sqr(), &here, tested),
            )
        })
        .collect();
    let point = |(i, span): (usize, &(f64, f64))| {
        let base = fundamental.at(i, span);
        let own = |o: usize| -> Option<(Own, f64)> {
            let base = base.as_ref()?;
            let band = scaled(span, o as u32 + 2);
            let (left, speaker, heard, gain) = &orders[o];
            let (left, speaker) = (left.at(i, &band)?, speaker.at(i, &band)?);
            let (heard, gain) = (heard.at(i, &band)?, gain.raw(i));
            // The noise of the reference take comes over with what it hears, as loud as the microphone hears it.
            let carried_noise = heard.noise * gain;
            let speaker_power = (speaker.raw() - carried_noise).max(0.0);
            let signal = left.signal - carried_noise;
            let noise = left.noise + carried_noise;
            let place = place_share * place_share * speaker_power;
            let variance = left.independent.variance(signal, noise);
            let percent = |power: f64| 100.0 * (power.max(0.0) / base.signal).sqrt();
            // What a wrong place leaves of the loudspeaker adds to the power as it adds to the amplitude, at worst.
            let doubt = variance.sqrt() + place;
            let value = if signal < KNOWN_FROM * doubt {
                Own::AtMost(percent(signal.max(0.0) + AT_MOST * doubt))
            } else {
                let value = percent(signal);
                let share = 0.5 * (variance / signal.powi(2) + base.variance / base.signal.powi(2)).sqrt();
                let mut budget = vec![
                    Contribution {
                        from: "noise".into(),
                        standard: value * share,
                        degrees_of_freedom: Some(left.degrees_of_freedom),
                    },
                    Contribution::within("place of the reference", percent(place)),
                ];
                let gated = here.gate_share(gate, span);
                if gated > 0.0 {
                    budget.push(Contribution::within("gate", value * gated));
                }
                Own::Measured(Quantity::new(value, budget))
            };
            Some((value, percent(speaker_power)))
        };
        let all: Vec<Option<(Own, f64)>> = (0..ORDERS.len()).map(own).collect();
        OwnPoint {
            hz: middle(span),
            loudspeaker_percent: std::array::from_fn(|o| all[o].as_ref().map(|(_, percent)| *percent)),
            harmonics: std::array::from_fn(|o| {
                all[o].as_ref().map_or(Own::CannotBeSeparated, |(own, _)| own.clone())
            }),
        }
    };
    Ok(spans.iter().enumerate().map(point).collect())
}
