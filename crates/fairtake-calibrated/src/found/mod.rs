//! A recording of an excitation is found by its marks: where it begins, how the clocks differ, what is wrong with it.

mod breaks;
mod clocks;
mod defect;
mod error;
mod narrow;
mod seek;

pub use defect::Defect;
pub use error::NotFound;

use crate::excitation::{Excitation, Layout, Role};
use crate::quantity::Quantity;
use narrow::Narrow;
use seek::{Candidate, Read, Seeker};
use serde::{Deserialize, Serialize};

/// A pass as it lies in the recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FoundPass {
    /// Where its first sample lies, in seconds of the recorder's clock from the beginning of the recording; between samples.
    pub start_s: f64,
    /// Peak level at which it was played, in dBFS.
    pub level_dbfs: f64,
}

/// A recording whose marks were found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Where the first sample of the excitation lies, in seconds of the recorder's clock; negative if the recorder was started in
    /// the silence before the first mark.
    pub start_s: f64,
    /// By how much the recorder's clock is faster than the player's, in parts per million.
    pub drift_ppm: Quantity,
    /// Passes in the order in which they were played.
    pub passes: Vec<FoundPass>,
    /// Level of the loudest pass above what is recorded in the silence before the first one, in dB; `None` without any.
    pub snr_db: Option<f64>,
    /// What is wrong, the first thing first.
    pub defects: Vec<Defect>,
}

/// Marks that are further apart, or nearer, than played by more than this are no matter of clocks, in parts per million. Crystals
/// are held to 100 and better, common practice, no source; the worst of two is doubled, and half as much again is left.
const MOST_DRIFT_PPM: f64 = 300.0;

/// Finds an excitation in a recording.
///
/// # Errors
/// [`NotFound`], with values and a remedy: no mark at all, the mark of another excitation, an end missing, played twice, cut within,
/// or recorded at another rate. What still allows a measurement is in [`Found::defects`] instead.
///
/// # Source
/// The marks are our own; docs/methods/response.md.
pub fn found(recording: &[f32], rate_hz: u32, excitation: &Excitation) -> Result<Found, NotFound> {
    if rate_hz != excitation.rate_hz() {
        return Err(NotFound::Rate { recording_hz: rate_hz, excitation_hz: excitation.rate_hz() });
    }
    if let Some(at) = recording.iter().position(|x| !x.is_finite()) {
        return Err(NotFound::NotFinite { at_s: at as f64 / f64::from(rate_hz) });
    }
    let layout = Layout::of(excitation);
    let narrow = Narrow::of(recording, rate_hz);
    let (start, end) = marks(&narrow, excitation, &layout)?;
    let drift = clocks::between(&narrow, start.at_s, end.at_s);
    let played_s = (layout.end_mark - layout.start_mark) as f64 / f64::from(rate_hz);
    let drift_ppm = 1e6 * (drift.apart_s / played_s - 1.0);
    if drift_ppm.abs() > MOST_DRIFT_PPM {
        let missing_s = played_s - drift.apart_s;
        return Err(NotFound::Cut { missing_s, played_s });
    }
    let faster = 1.0 + 1e-6 * drift_ppm;
    let rate = f64::from(rate_hz);
    let recorded_s = |frame: usize| drift.start_s + faster * (frame as f64 - layout.start_mark as f64) / rate;
    let passes: Vec<FoundPass> = layout
        .passes
        .iter()
        .map(|p| FoundPass { start_s: recorded_s(p.start), level_dbfs: p.level_dbfs })
        .collect();
    let span = Span {
        from: ((recorded_s(layout.start_mark) * rate) as usize).min(recording.len()),
        to: ((recorded_s(layout.n_frames) * rate) as usize).min(recording.len()),
    };
    let snr_db = snr_db(recording, rate, &passes, excitation.pass_s());
    let mut defects = defect::of_samples(recording, rate_hz, &span);
    if excitation.sweep().is_some() {
        defects.extend(breaks::of(&narrow, excitation, &layout, &passes, faster));
    }
    defects.extend(Defect::of_snr(snr_db));
    Ok(Found {
        rate_hz,
        start_s: recorded_s(0),
        drift_ppm: Quantity::new(drift_ppm, vec![drift.doubt_ppm(played_s)]),
        passes,
        snr_db,
        defects,
    })
}

/// Frames from the first mark to the end.
struct Span {
    from: usize,
    to: usize,
}

/// The two marks of this excitation.
fn marks(
    narrow: &Narrow,
    excitation: &Excitation,
    layout: &Layout,
) -> Result<(Candidate, Candidate), NotFound> {
    let seeker = Seeker::new(narrow, 1.0);
    let candidates = seeker.candidates();
    let read: Vec<(Candidate, Read)> =
        candidates.iter().map(|c| (*c, seeker.read(*c, excitation.code()))).collect();
    let of = |role: Role| -> Vec<Candidate> {
        read.iter().filter(|(_, r)| *r == Read::Ours(role)).map(|(c, _)| *c).collect()
    };
    let (starts, ends) = (of(Role::Start), of(Role::End));
    match (starts.as_slice(), ends.as_slice()) {
        ([start], [end]) if start.at_s < end.at_s => Ok((*start, *end)),
        ([], []) => Err(no_mark(narrow, excitation, &read)),
        ([first, .., last], _) | ([], [first, .., last]) => {
            Err(NotFound::Twice { first_s: first.at_s, last_s: last.at_s })
        }
        ([start], []) => {
            let need_s = excitation.total_s() - layout.start_mark as f64 / narrow.full_rate_hz;
            Err(NotFound::NoEnd { start_s: start.at_s, there_s: narrow.seconds() - start.at_s, need_s })
        }
        ([], [end]) => {
            let need_s = layout.end_mark as f64 / narrow.full_rate_hz;
            Err(NotFound::NoStart { end_s: end.at_s, need_s })
        }
        ([start], [.., end]) => Err(NotFound::Twice { first_s: start.at_s, last_s: end.at_s }),
    }
}

/// Why there is no mark of ours.
fn no_mark(narrow: &Narrow, excitation: &Excitation, read: &[(Candidate, Read)]) -> NotFound {
    let other = read.iter().find_map(|(c, r)| match r {
        Read::Other(code) => Some((c.at_s, *code)),
        _ => None,
    });
    if let Some((at_s, found)) = other {
        return NotFound::Other { at_s, found, wanted: excitation.code() };
    }
    // The same samples played or recorded by a clock of another of the usual rates: all is faster or slower.
    const RATES_HZ: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
    for true_hz in RATES_HZ.into_iter().filter(|hz| (hz / narrow.full_rate_hz - 1.0).abs() > 0.01) {
        let seeker = Seeker::new(narrow, true_hz / narrow.full_rate_hz);
        let ours = |c: &Candidate| matches!(seeker.read(*c, excitation.code()), Read::Ours(_));
        if seeker.candidates().iter().any(ours) {
            return NotFound::PlayedAtAnotherRate { ratio: true_hz / narrow.full_rate_hz };
        }
    }
    NotFound::NoMark { best: Seeker::new(narrow, 1.0).best() }
}

/// Mean power of the loudest pass over that of the half second of silence before the first, in dB.
fn snr_db(recording: &[f32], rate_hz: f64, passes: &[FoundPass], pass_s: f64) -> Option<f64> {
    let power = |from_s: f64, to_s: f64| {
        let frame = |s: f64| ((s * rate_hz).max(0.0) as usize).min(recording.len());
        let stretch = &recording[frame(from_s)..frame(to_s).max(frame(from_s))];
        let energy: f64 = stretch.iter().map(|x| f64::from(*x).powi(2)).sum();
        (!stretch.is_empty()).then(|| energy / stretch.len() as f64)
    };
    let first = passes.first()?.start_s;
    let noise = power(first - 0.55, first - 0.05)?;
    let loudest = passes.iter().max_by(|a, b| a.level_dbfs.total_cmp(&b.level_dbfs))?;
    let signal = power(loudest.start_s, loudest.start_s + pass_s)?;
    fairtake_signal::units::power_db((signal - noise).max(0.0) / noise.max(f64::MIN_POSITIVE))
}

#[cfg(test)]
mod tests;
