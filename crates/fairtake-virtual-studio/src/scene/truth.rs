//! The known answer: what the two microphones alone make of every clean event, without placement and noise.
//!
//! The clean event's spectrum S in narrow bands times the filters' power gain at their centres: 10·lg(ΣS·H_B²/ΣS·H_A²).
//! Filtering first and cutting the events out afterwards would not do: what a window cuts off at the attack differs
//! between microphones, and swamps the lowest bands.

use super::rig::Microphone;
use super::sources::Clean;
use super::{RATE_HZ, frames};
use fairtake_signal::bands::BandSet;
use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::units::power_db;
use fairtake_signal::weighting::k_power;

/// Events are seen from this long before they begin, in seconds, so that no taper falls on an attack.
const LEAD_S: f64 = 0.02;

/// Segments that a sustained block is averaged over, in frames.
const SEGMENT: usize = 16_384;

/// The known answer to one comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Key of the source.
    pub source: String,
    /// Key of the reference.
    pub reference: String,
    /// Key of the other microphone.
    pub against: String,
    /// Per event: energies in 24th-octave bands of reference and against.
    events: Vec<[Vec<f64>; 2]>,
    /// Per event: against minus reference of the event loudness, in dB.
    loudness_db: Vec<f64>,
}

impl Truth {
    pub(super) fn new(source: &str, pair: [&str; 2]) -> Truth {
        Truth {
            source: source.to_string(),
            reference: pair[0].to_string(),
            against: pair[1].to_string(),
            events: Vec::new(),
            loudness_db: Vec::new(),
        }
    }

    /// Adds the events of a pass.
    pub(super) fn add(&mut self, clean: &Clean) {
        let bands = bands();
        let mut spectrum = BandSpectrum::new(RATE_HZ, &bands);
        let centres: Vec<f64> = bands.spans_hz().iter().map(|(from, to)| (from * to).sqrt()).collect();
        let gains = [&self.reference, &self.against].map(|mic| {
            let microphone = Microphone::named(mic);
            centres.iter().map(|hz| microphone.power(*hz)).collect::<Vec<f64>>()
        });
        let lead = frames(LEAD_S);
        for (from, to) in &clean.events {
            let event = &clean.samples[from.saturating_sub(lead)..*to];
            let source = match clean.sustained {
                true => spectrum.steady_power(event, SEGMENT).map(|(power, _)| power),
                false => Some(spectrum.event_energy(event)),
            };
            let Some(source) = source else { continue };
            let energies =
                [0, 1].map(|side| source.iter().zip(&gains[side]).map(|(s, g)| s * g).collect::<Vec<f64>>());
            let loudness = [0, 1]
                .map(|side| energies[side].iter().zip(&centres).map(|(e, hz)| e * k_power(*hz)).sum::<f64>());
            if let Some(db) = power_db(loudness[1] / loudness[0]) {
                self.events.push(energies);
                self.loudness_db.push(db);
            }
        }
    }

    /// The gain that matches *against* by event loudness, in dB.
    pub fn match_gain_db(&self) -> f64 {
        -self.loudness_db.iter().sum::<f64>() / self.loudness_db.len().max(1) as f64
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
        let of = |event: &[Vec<f64>; 2]| {
            let sum = |side: usize| inside.iter().filter_map(|i| event[side].get(*i)).sum::<f64>();
            power_db(sum(1) / sum(0))
        };
        let all: Option<Vec<f64>> = self.events.iter().map(of).collect();
        all.filter(|a| !a.is_empty() && !inside.is_empty())
            .map(|a| a.iter().sum::<f64>() / a.len() as f64 + self.match_gain_db())
    }
}

fn bands() -> BandSet {
    BandSet::new(24, f64::from(RATE_HZ) / 2.0)
}
