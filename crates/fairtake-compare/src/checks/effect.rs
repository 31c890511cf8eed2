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

/// By how much a constant lifts the lowest octave of the take's mean spectrum, in dB; `None` where that octave holds nothing
/// else.
pub(super) fn dc_lifts_db(m: &TakeMeasure, bands_per_octave: u32) -> Option<f64> {
    let bands = BandSet::new(bands_per_octave, f64::from(m.rate_hz) / 2.0);
    let spans = bands.spans_hz();
    let lowest_hz = spans.first()?.0;
    let n = spans.iter().take_while(|(_, to_hz)| *to_hz <= 2.01 * lowest_hz).count().max(1);
    let mut spectrum = BandSpectrum::new(m.rate_hz, &bands);
    let used: Vec<usize> = (0..m.events.len()).filter(|i| m.events[*i].left_out.is_none()).collect();
    let middle = *used.get(used.len() / 2)?;
    let constant = |frames: usize| vec![m.file.dc as f32; frames];
    let alone = match m.playing {
        Playing::Sustained => {
            let n_fft = crate::measure::steady_length(m.rate_hz);
            spectrum.steady_power(&constant(n_fft), n_fft)?.0
        }
        _ => {
            let event = &m.events[middle];
            spectrum.event_energy(&constant(((event.end_s - event.start_s) * f64::from(m.rate_hz)) as usize))
        }
    };
    let octave = |row: &[f64]| row[..n.min(row.len())].iter().sum::<f64>();
    let measured =
        used.iter().map(|i| octave(&m.band_energy[i * m.n_bands..(i + 1) * m.n_bands])).sum::<f64>()
            / used.len() as f64;
    power_db(measured / (measured - octave(&alone)))
}

/// Which event holds a frame, counted from 1; `None` between events.
pub(super) fn event_at(m: &TakeMeasure, frame: u64) -> Option<usize> {
    let seconds = frame as f64 / f64::from(m.rate_hz);
    m.events.iter().position(|e| e.start_s <= seconds && seconds < e.end_s).map(|i| i + 1)
}
