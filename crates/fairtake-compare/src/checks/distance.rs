//! Could a small change of distance alone make the low-frequency difference that was found?

use crate::judge::change_db;
use crate::{Band, SettingUp};

/// Bands looked at reach at least up to here: above, the allowance for angle and lateral offset begins.
const UP_TO_HZ: f64 = 1000.0;
/// Near the source the proximity effect reaches higher: bands are looked at up to this times the frequency at which
/// gradient and pressure parts are equal. There four fifths of the effect are gone.
const UP_TO_CORNERS: f64 = 2.0;
/// Fewer bands than this have no shape to fit.
const FEWEST_BANDS: usize = 4;
/// Changes looked at, in mm to either side: many times what setting up errs by.
const SEARCH_MM: f64 = 30.0;
/// Step of the search, well below what anybody sets up to.
const STEP_MM: f64 = 0.1;
/// No microphone is set nearer than this, as in the placement allowance.
const NEAREST_MM: f64 = 5.0;

/// Which microphone would have been moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moved {
    Reference,
    Against,
}

/// What a change of distance explains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Explained {
    /// The low end is flat, or as flat as the margin.
    NothingToExplain,
    /// No change within the search makes it.
    ByNone,
    /// Some do.
    By(Change),
}

/// Changes of distance that make what was found, positive: further away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Change {
    pub moved: Moved,
    /// Best fit.
    pub best_mm: f64,
    /// Least and greatest change whose curve stays within the simultaneous interval of every band.
    pub from_mm: f64,
    pub to_mm: f64,
    /// What the best one does to the difference at the lowest band, against the highest looked at.
    pub change_db: f64,
    /// Middle of the lowest band.
    pub at_hz: f64,
}

impl Change {
    /// The least movement that could be it.
    pub(super) fn least_mm(&self) -> f64 {
        if self.from_mm <= 0.0 && self.to_mm >= 0.0 { 0.0 } else { self.from_mm.abs().min(self.to_mm.abs()) }
    }
}

/// A band as fitted.
struct Low {
    centre_hz: f64,
    difference_db: f64,
    low_db: f64,
    high_db: f64,
}

/// `None` where intervals are unknown or too few bands reach so low.
pub(super) fn explain(bands: &[Band], setting_up: &SettingUp, margin_db: f64) -> Option<Explained> {
    let sides = [Moved::Against, Moved::Reference]
        .map(|moved| (moved, low_bands(bands, setting_up, moved, margin_db / 2.0)));
    if sides.iter().any(|(_, low)| low.len() < FEWEST_BANDS) {
        return None;
    }
    if sides.iter().all(|(_, low)| stays_within(low.iter().map(|b| (b, 0.0)))) {
        return Some(Explained::NothingToExplain);
    }
    let found = sides.iter().filter_map(|(moved, low)| fit(low, setting_up, *moved));
    Some(match found.min_by(|x, y| x.least_mm().total_cmp(&y.least_mm())) {
        None => Explained::ByNone,
        Some(change) if change.change_db.abs() < margin_db => Explained::NothingToExplain,
        Some(change) => Explained::By(change),
    })
}

/// Where a microphone stands in the model: effective distance in mm, and its place in pairs of values.
fn place(s: &SettingUp, moved: Moved) -> (f64, usize) {
    let side = if moved == Moved::Reference { 0 } else { 1 };
    ((s.distance_mm + s.centre_offset_mm[side]).max(NEAREST_MM), side)
}

/// Every interval reaches at least `least_half_db` to both sides: what else differs by so little does not matter, and must not
/// silence the check where takes recorded together make intervals of hundredths of a decibel.
fn low_bands(bands: &[Band], s: &SettingUp, moved: Moved, least_half_db: f64) -> Vec<Low> {
    let (from_mm, side) = place(s, moved);
    // |B/(jkr)| = 1.
    let corner_hz =
        s.gradient_share[side] * s.speed_of_sound_m_s / (std::f64::consts::TAU * from_mm / 1000.0);
    let up_to_hz = f64::max(UP_TO_HZ, UP_TO_CORNERS * corner_hz);
    bands
        .iter()
        .filter(|b| b.centre_hz <= up_to_hz)
        .filter_map(|b| {
            let difference_db = b.difference_db?;
            Some(Low {
                centre_hz: b.centre_hz,
                difference_db,
                low_db: b.simultaneous_low_db?.min(difference_db - least_half_db),
                high_db: b.simultaneous_high_db?.max(difference_db + least_half_db),
            })
        })
        .collect()
}

/// True where some offset brings the curve into every band's interval. The offset is free: the level match takes all
/// frequencies together, and what the microphones do above must not pass for distance.
fn stays_within<'a>(curve_db: impl Iterator<Item = (&'a Low, f64)>) -> bool {
    let (highest_low, lowest_high) = curve_db.fold((f64::NEG_INFINITY, f64::INFINITY), |(l, h), (b, c)| {
        (l.max(b.low_db - c), h.min(b.high_db - c))
    });
    highest_low <= lowest_high
}

fn fit(low: &[Low], s: &SettingUp, moved: Moved) -> Option<Change> {
    let (from, side) = place(s, moved);
    let sign = if moved == Moved::Reference { -1.0 } else { 1.0 };
    let receiver = s.receiver(side);
    let still: Vec<f64> = low.iter().map(|b| receiver.power(from, b.centre_hz)).collect();
    let change = |i: usize, mm: f64| sign * change_db(still[i], receiver.power(from + mm, low[i].centre_hz));
    let lowest = low.first()?;
    let steps = (SEARCH_MM / STEP_MM) as i32;
    let fits: Vec<(f64, f64)> = (-steps..=steps)
        .map(|i| f64::from(i) * STEP_MM)
        .filter(|mm| from + mm >= NEAREST_MM)
        // Most changes fail already where they differ most: at the ends.
        .filter(|mm| stays_within([0, low.len() - 1].into_iter().map(|i| (&low[i], change(i, *mm)))))
        .filter_map(|mm| {
            let curve: Vec<f64> = (0..low.len()).map(|i| change(i, mm)).collect();
            stays_within(low.iter().zip(curve.iter().copied())).then(|| (mm, misfit(low, &curve)))
        })
        .collect();
    let best_mm = fits.iter().min_by(|x, y| x.1.total_cmp(&y.1))?.0;
    Some(Change {
        moved,
        best_mm,
        from_mm: fits.first()?.0,
        to_mm: fits.last()?.0,
        change_db: change(0, best_mm) - change(low.len() - 1, best_mm),
        at_hz: lowest.centre_hz,
    })
}

/// Sum of squares of what the curve leaves, each band weighed by its interval, after the best offset.
fn misfit(low: &[Low], curve_db: &[f64]) -> f64 {
    let weight = |b: &Low| ((b.high_db - b.low_db) / 2.0).max(1e-6).powi(-2);
    let left = || low.iter().zip(curve_db).map(|(b, c)| (weight(b), b.difference_db - c));
    let (sum, total) = left().fold((0.0, 0.0), |(s, t), (w, d)| (s + w * d, t + w));
    left().map(|(w, d)| w * (d - sum / total).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::distance_change_db;

    fn setting_up(radius_mm: f64) -> SettingUp {
        SettingUp {
            distance_mm: 10.0,
            radius_mm: Some(radius_mm),
            gradient_share: [0.5, 0.5],
            centre_offset_mm: [15.0, 15.0],
            speed_of_sound_m_s: 343.0,
        }
    }

    /// Bands from 40 Hz to 3 kHz with the difference that `of` gives, known to ±0.3 dB.
    fn bands(of: impl Fn(f64) -> f64) -> Vec<Band> {
        (0..20)
            .map(|i| {
                let centre_hz = 40.0 * 2f64.powf(f64::from(i) / 3.0);
                let d = of(centre_hz);
                Band {
                    centre_hz,
                    from_hz: centre_hz * 0.9,
                    to_hz: centre_hz * 1.1,
                    reference_db: None,
                    against_db: None,
                    reference_range_db: None,
                    against_range_db: None,
                    difference_db: Some(d),
                    low_db: Some(d - 0.2),
                    high_db: Some(d + 0.2),
                    simultaneous_low_db: Some(d - 0.3),
                    simultaneous_high_db: Some(d + 0.3),
                    conditional: None,
                    snr_db: None,
                    verdict: crate::Verdict::Undecided,
                }
            })
            .collect()
    }

    #[test]
    fn a_move_is_found_again_from_the_difference_that_it_makes() {
        // Exact: the curve is that of the model itself; half of the search's step.
        for mm in [-6.0, -4.0, 5.0, 10.0] {
            let made = bands(|hz| distance_change_db(25.0, 25.0 + mm, hz, 0.5, 0.0, 343.0) + 0.7);
            let Some(Explained::By(change)) = explain(&made, &setting_up(0.0), 1.0) else {
                panic!("{mm} not explained")
            };
            // Both microphones are alike, so that either may have been moved, with opposite signs.
            let sign = if change.moved == Moved::Against { 1.0 } else { -1.0 };
            assert!(change.from_mm <= change.best_mm && change.best_mm <= change.to_mm);
            if change.moved == Moved::Against {
                assert!((change.best_mm - mm).abs() <= STEP_MM / 2.0 + 1e-9, "{mm}: {change:?}");
            }
            assert!(sign * change.best_mm * mm > 0.0 && change.change_db * mm < 0.0, "{mm}: {change:?}");
        }
    }

    #[test]
    fn what_no_distance_makes_is_left_alone() {
        // A resonance of 4 dB at 200 Hz, an octave wide.
        let bump = |hz: f64| 4.0 * (-(hz / 200.0).log2().powi(2) * 4.0).exp();
        assert_eq!(explain(&bands(bump), &setting_up(0.0), 1.0), Some(Explained::ByNone));
        // A flat shift is the match's, not a distance's.
        assert_eq!(explain(&bands(|_| 3.0), &setting_up(0.0), 1.0), Some(Explained::NothingToExplain));
        assert_eq!(explain(&bands(|_| 0.1), &setting_up(0.0), 1.0), Some(Explained::NothingToExplain));
        // Pressure microphones have no proximity effect.
        let omni = SettingUp { gradient_share: [0.0, 0.0], ..setting_up(0.0) };
        let near = |hz: f64| distance_change_db(100.0, 70.0, hz, 0.5, 0.0, 343.0);
        assert_eq!(explain(&bands(near), &omni, 1.0), Some(Explained::ByNone));
        assert_eq!(explain(&bands(near)[..3], &setting_up(0.0), 1.0), None);
    }

    #[test]
    fn before_a_large_source_more_is_needed_than_before_a_point() {
        let near = bands(|hz| distance_change_db(25.0, 20.0, hz, 0.5, 0.0, 343.0));
        let least = |radius_mm| match explain(&near, &setting_up(radius_mm), 1.0) {
            Some(Explained::By(change)) => change.least_mm(),
            _ => f64::INFINITY,
        };
        assert!(least(0.0) < 5.0 && least(165.0) > 2.0 * least(0.0), "{} {}", least(0.0), least(165.0));
    }
}
