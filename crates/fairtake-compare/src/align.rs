//! Time, polarity and transfer between takes that were recorded together.

use crate::{Alignment, NoiseFrom, NullDepth, Polarity, ReadError, Take, TakeMeasure};
use fairtake_signal::transfer::PairSpectra;
use fairtake_signal::units::power_db;
use fairtake_stats::student::t_quantile;

/// Events looked at, spread over the take. Reason: more make a delay that is good to hundredths of a
/// sample no better, and cost time.
const MOST_EVENTS: usize = 16;
/// No event is looked at for longer than this, in seconds.
const LONGEST_S: f64 = 0.5;
/// Gaps are looked at from this long after an event until this long before the next, in seconds.
const KEEP_AWAY_S: f64 = 0.03;
/// A gap is quiet when it holds no more than this times the noise: 3 dB.
const QUIET_FACTOR: f64 = 2.0;

/// Alignment of the first take of the reference with the take of *against* that shares its performance. `None` when
/// none does, rates differ, or fewer than four events serve.
///
/// # Errors
/// When a take cannot be read.
pub(crate) fn align(
    a: &[(&Take, &TakeMeasure)],
    b: &[(&Take, &TakeMeasure)],
    speed_of_sound_m_s: f64,
) -> Result<Option<Alignment>, ReadError> {
    let shared = a.iter().find_map(|x| {
        let partner = b.iter().find(|y| y.0.performance == x.0.performance && y.1.rate_hz == x.1.rate_hz);
        partner.map(|y| (*x, *y))
    });
    let Some(((take_a, measure_a), (take_b, measure_b))) = shared else { return Ok(None) };
    let rate = f64::from(measure_a.rate_hz);
    let longest = (LONGEST_S * rate) as usize;
    let used: Vec<usize> = (0..measure_a.events.len().min(measure_b.events.len()))
        .filter(|i| measure_a.events[*i].left_out.is_none() && measure_b.events[*i].left_out.is_none())
        .collect();
    let step = used.len().div_ceil(MOST_EVENTS).max(1);
    let mut spectra = PairSpectra::new(measure_a.rate_hz, longest);
    let (mut x, mut y) = (vec![0f32; longest], vec![0f32; longest]);
    let (mut energy_a, mut energy_b, mut n_frames) = (0.0, 0.0, 0usize);
    for i in used.into_iter().step_by(step) {
        let event = &measure_a.events[i];
        let n = (((event.end_s - event.start_s) * rate) as usize).min(longest);
        let start = (event.start_s * rate).round() as u64;
        let n = take_a.samples.read(start, &mut x[..n])?.min(take_b.samples.read(start, &mut y[..n])?);
        energy_a += fairtake_signal::levels::energy(&x[..n]);
        energy_b += fairtake_signal::levels::energy(&y[..n]);
        n_frames += n;
        spectra.push(&x[..n], &y[..n]);
    }
    push_gaps(&mut spectra, (take_a, measure_a), (take_b, measure_b), longest)?;
    let (delay, left) = rayon::join(|| spectra.delay(), || spectra.left_over());
    let Some(delay) = delay else { return Ok(None) };
    let half_s = t_quantile(0.975, spectra.n_events() as f64 - 1.0) * delay.sd_seconds;
    // Nothing can be seen to fall below what both noises, raised by the match, leave of the signal.
    let noise_limit_db = measure_a.noise.as_ref().zip(measure_b.noise.as_ref()).and_then(|(na, nb)| {
        let gain = energy_b / f64::max(energy_a, f64::MIN_POSITIVE);
        power_db((nb.mean_square + na.mean_square * gain) * n_frames as f64 / energy_b)
    });
    Ok(Some(Alignment {
        delay_s: Some(delay.seconds),
        delay_low_s: Some(delay.seconds - half_s),
        delay_high_s: Some(delay.seconds + half_s),
        sign: "positive = against arrives later".to_string(),
        apparent_path_mm: Some(delay.seconds * speed_of_sound_m_s * 1000.0),
        polarity: match delay.same_polarity() {
            Some(true) => Polarity::Same,
            Some(false) => Polarity::Inverted,
            None => Polarity::Unclear,
        },
        null_depth: NullDepth {
            gain_delay_db: left.gain_delay_db,
            // Each kind of filter holds the one before, so that the best of it leaves no more; where fewer events than a
            // free filter needs make its fit worse, the simpler one is the better member of its kind.
            minimum_phase_db: least(left.minimum_phase_db, left.gain_delay_db),
            any_linear_db: least(left.any_linear_db, least(left.minimum_phase_db, left.gain_delay_db)),
            noise_limit_db,
        },
    }))
}

/// The smaller of two that may be unknown.
fn least(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    a.into_iter().chain(b).reduce(f64::min)
}

/// Stretches between events in which both takes are as quiet as their noise.
fn push_gaps(
    spectra: &mut PairSpectra,
    (take_a, measure_a): (&Take, &TakeMeasure),
    (take_b, measure_b): (&Take, &TakeMeasure),
    longest: usize,
) -> Result<(), ReadError> {
    let Some((noise_a, noise_b)) = measure_a.noise.as_ref().zip(measure_b.noise.as_ref()) else {
        return Ok(());
    };
    if [noise_a.from, noise_b.from].contains(&NoiseFrom::RoomTone) {
        return Ok(());
    }
    let rate = f64::from(measure_a.rate_hz);
    let quiet = |samples: &[f32], mean_square: f64| {
        fairtake_signal::levels::energy(samples) / samples.len() as f64 <= QUIET_FACTOR * mean_square
    };
    let ends = std::iter::once(0.0).chain(measure_a.events.iter().map(|e| e.end_s + KEEP_AWAY_S));
    let starts = measure_a.events.iter().map(|e| e.start_s - KEEP_AWAY_S);
    let step = measure_a.events.len().div_ceil(MOST_EVENTS).max(1);
    let (mut x, mut y) = (vec![0f32; longest], vec![0f32; longest]);
    for (from_s, to_s) in ends.zip(starts).step_by(step) {
        let n = (((to_s - from_s) * rate) as usize).min(longest);
        if to_s <= from_s || n < longest / 10 {
            continue;
        }
        // The end of the gap: what still rings is there least.
        let start = (to_s * rate) as u64 - n as u64;
        let n = take_a.samples.read(start, &mut x[..n])?.min(take_b.samples.read(start, &mut y[..n])?);
        if n > 0 && quiet(&x[..n], noise_a.mean_square) && quiet(&y[..n], noise_b.mean_square) {
            spectra.push_gap(&x[..n], &y[..n]);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};
    use crate::{Settings, measure_performance};

    fn aligned(make: impl Fn(&[f32]) -> Vec<f32>) -> Option<Alignment> {
        let samples = hits(3, 0.5);
        let (a, b) = (take("a", 1, samples.clone()), take("b", 1, make(&samples)));
        let measures = measure_performance(&[&a, &b], &Settings::standard()).expect("in memory");
        align(&[(&a, &measures[0])], &[(&b, &measures[1])], 343.2).expect("in memory")
    }

    #[test]
    fn a_later_copy_upside_down_is_seen_as_that() {
        let found = aligned(|x| (0..x.len()).map(|i| if i < 20 { 0.0 } else { -0.5 * x[i - 20] }).collect());
        let found = found.expect("twelve events serve");
        // Exact: 20 frames at 16 kHz are 1.25 ms, 429 mm at 343.2 m/s; a hundredth of a frame is 0.2 mm.
        assert!((found.delay_s.expect("found") - 0.00125).abs() < 1e-6, "{found:?}");
        let (low, high) = found.delay_low_s.zip(found.delay_high_s).expect("twelve events have an interval");
        assert!(low <= 0.00125 && 0.00125 <= high && high - low < 1e-5, "{found:?}");
        assert!((found.apparent_path_mm.expect("found") - 429.0).abs() < 0.5, "{found:?}");
        assert_eq!(found.polarity, Polarity::Inverted);
        // What the window cuts off, and nothing else, is left.
        assert!(found.null_depth.gain_delay_db.expect("fitted") < -20.0, "{found:?}");
    }

    #[test]
    fn what_was_not_recorded_at_once_has_no_alignment() {
        let (a, b) = (take("a", 1, hits(3, 0.5)), take("b", 2, hits(4, 0.5)));
        let settings = Settings::standard();
        let (ma, mb) = (measure_performance(&[&a], &settings), measure_performance(&[&b], &settings));
        let (ma, mb) = (ma.expect("in memory"), mb.expect("in memory"));
        assert_eq!(align(&[(&a, &ma[0])], &[(&b, &mb[0])], 343.2), Ok(None));
    }
}
