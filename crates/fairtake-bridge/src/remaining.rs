//! What remains after a correction: a curve with its interval, and one figure with an upper limit.

use crate::seen::{Seen, mean};
use fairtake_compare::{Verdict, runs, verdict};
use serde::{Deserialize, Serialize};

/// What remains in one band, or over a run of them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Remaining {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Difference less correction, in dB.
    pub remaining_db: f64,
    /// Lower bound of the 95 % interval that holds for all bands at once.
    pub low_db: f64,
    /// Upper bound.
    pub high_db: f64,
    /// Verdict on what remains.
    pub verdict: Verdict,
}

/// Band by band.
pub(crate) fn by_band(seen: &[Seen], correction_db: &[f64], margin_db: f64) -> Vec<Remaining> {
    let of = |(s, c): (&Seen, &f64)| {
        let (at, low, high) = (s.difference_db - c, s.simultaneous_db[0] - c, s.simultaneous_db[1] - c);
        Remaining {
            from_hz: s.band.from_hz,
            to_hz: s.band.to_hz,
            remaining_db: at,
            low_db: low,
            high_db: high,
            verdict: verdict(at, low, high, margin_db),
        }
    };
    seen.iter().zip(correction_db).map(of).collect()
}

/// The run of bands in which most remains that is shown to, by its greatest band; `None` where nothing is shown.
pub(crate) fn greatest(by_band: &[Remaining]) -> Option<Remaining> {
    let verdicts: Vec<Verdict> = by_band.iter().map(|r| r.verdict).collect();
    let sizes: Vec<Option<f64>> = by_band.iter().map(|r| Some(r.remaining_db)).collect();
    let shown = runs(&verdicts, &sizes).into_iter().filter(|(from, _)| verdicts[*from] == Verdict::Different);
    let peak = |(from, to): (usize, usize)| {
        let most =
            by_band[from..to].iter().max_by(|a, b| a.remaining_db.abs().total_cmp(&b.remaining_db.abs()))?;
        Some(Remaining { from_hz: by_band[from].from_hz, to_hz: by_band[to - 1].to_hz, ..*most })
    };
    shown.filter_map(peak).max_by(|a, b| a.remaining_db.abs().total_cmp(&b.remaining_db.abs()))
}

/// Root mean square over octaves of what remains, in dB, as estimated.
pub(crate) fn rms_db(seen: &[Seen], correction_db: &[f64]) -> f64 {
    mean(seen, |i, s| (s.difference_db - correction_db[i]).powi(2)).sqrt()
}

/// What the true root mean square does not exceed, with 95 % confidence, whatever the correction was fitted to: the estimate,
/// and the root mean square of the half-widths of the bands' own 95 % intervals.
///
/// # Source
/// The true rest is no greater than the estimated one and the error of the difference together. Of Gaussian errors with these
/// standard deviations the mean square is largest, at 95 %, where all bands move as one (G. Székely and N. Bakirov, "Extremal
/// probabilities for Gaussian quadratic forms", Probability Theory and Related Fields 126 (2003) 184–202; from memory), and is
/// then that of one band's interval; that standard deviations are estimated is in the half-widths, which are those of Student's t.
pub(crate) fn rms_upper_db(seen: &[Seen], correction_db: &[f64]) -> f64 {
    rms_db(seen, correction_db) + mean(seen, |_, s| s.half_db.powi(2)).sqrt()
}
