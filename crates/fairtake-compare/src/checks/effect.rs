//! What a defect of a take does to what is compared, as far as that can be worked out from the take itself.

use crate::{LeftOut, Playing, TakeMeasure};
use fairtake_signal::bands::BandSet;
use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::units::power_db;

/// By how much leaving the clipped events out lowers the mean loudness, in dB: at least, since what was cut off they were
/// louder by. `None` where nothing is left.
pub(super) fn clipped_lowers_db(m: &TakeMeasure) -> Option<f64> {
    let mean = |counts: fn(Option<LeftOut>) -> bool| {
        let heard: Vec<f64> = m.events.iter().filter(|e| counts(e.left_out)).map(|e| e.loudness_db).collect();
        (!heard.is_empty()).then(|| heard.iter().sum::<f64>() / heard.len() as f64)
    };
    let used = mean(|left_out| left_out.is_none())?;
    Some(mean(|left_out| matches!(left_out, None | Some(LeftOut::Clipped)))? - used)
}

/// By how much the energy of a constant lifts the lowest octave of the take's mean spectrum, in dB; `None` where that octave holds
/// nothing else. What both make together is not known from energies: hits that all begin with the same sign may add decibels.
pub(super) fn dc_lifts_db(m: &TakeMeasure, bands_per_octave: u32) -> Option<f64> {
    let bands = BandSet::new(bands_per_octave, f64::from(m.rate_hz) / 2.0);
    let spans = bands.spans_hz();
    let lowest_hz = spans.first()?.0;
    let n = spans.iter().take_while(|(_, to_hz)| *to_hz <= 2.01 * lowest_hz).count().max(1);
    let mut spectrum = BandSpectrum::new(m.rate_hz, &bands);
    let used: Vec<usize> = (0..m.events.len()).filter(|i| m.events[*i].left_out.is_none()).collect();
    let octave = |row: &[f64]| row[..n.min(row.len())].iter().sum::<f64>();
    let constant = |frames: usize| vec![m.file.dc as f32; frames];
    let mean = |of: &mut dyn FnMut(usize) -> Option<f64>| {
        let all: Option<Vec<f64>> = used.iter().map(|i| of(*i)).collect();
        all.filter(|all| !all.is_empty()).map(|all| all.iter().sum::<f64>() / all.len() as f64)
    };
    // A long event holds more of it than a short one: each has its own.
    let alone = match m.playing {
        Playing::Sustained => {
            let n_fft = crate::measure::steady_length(m.rate_hz);
            octave(&spectrum.steady_power(&constant(n_fft), n_fft)?.0)
        }
        _ => mean(&mut |i| {
            let seconds = m.events[i].end_s - m.events[i].start_s;
            Some(octave(&spectrum.event_energy(&constant((seconds * f64::from(m.rate_hz)) as usize))))
        })?,
    };
    let measured = mean(&mut |i| Some(octave(&m.band_energy[i * m.n_bands..(i + 1) * m.n_bands])))?;
    power_db(measured / (measured - alone))
}

/// Which event holds a frame, counted from 1; `None` between events.
pub(super) fn event_at(m: &TakeMeasure, frame: u64) -> Option<usize> {
    let seconds = frame as f64 / f64::from(m.rate_hz);
    m.events.iter().position(|e| e.start_s <= seconds && seconds < e.end_s).map(|i| i + 1)
}
