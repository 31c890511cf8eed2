//! The measuring stage: samples in, numbers out.
//!
//! One streaming pass per take feeds levels, loudness and the envelope; a second visit reads only the events
//! and the gaps between them. Takes recorded together are measured over the same stretches.

mod gaps;
mod stream;
mod tabulate;
mod visit;

pub(crate) use stream::{Streamed, stream};
pub(crate) use tabulate::tabulate_on;
pub use tabulate::{Measured, Tabulated, tabulate};

use crate::parallel::in_parallel;
use crate::{Playing, ReadError, Settings, Take, TakeMeasure};
use fairtake_signal::bands::BandSet;
use std::sync::Arc;
use visit::Visit;

/// Length of a block of sustained sound in seconds.
const BLOCK_S: f64 = 1.0;
/// A block this much below the strong ones is silence, in dB.
const SILENT_DB: f64 = 25.0;
/// Hits are measured from this long before their onset, in seconds.
const LEAD_S: f64 = 0.005;

/// One stretch to measure, in frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Stretch {
    pub start: u64,
    pub onset: u64,
    pub end: u64,
}

/// Measures all takes of one performance over the same events, two takes at a time.
///
/// Events are found on the take with the strongest signal, or are hand-set.
///
/// # Errors
/// When a take cannot be read to its end.
pub fn measure_performance(takes: &[&Take], settings: &Settings) -> Result<Vec<TakeMeasure>, ReadError> {
    let streamed = in_parallel(takes, |take| stream(take).map(Arc::new))?;
    measure_streamed(takes, &streamed, &vec![0.0; takes.len()], settings)
}

/// The same where a pass over each take was made already, and where what is played comes later in each by so many seconds:
/// replays of one recording.
///
/// # Errors
/// When a take cannot be read to its end.
pub(crate) fn measure_streamed(
    takes: &[&Take],
    streamed: &[Arc<Streamed>],
    later_s: &[f64],
    settings: &Settings,
) -> Result<Vec<TakeMeasure>, ReadError> {
    let loudest = (0..takes.len())
        .max_by(|a, b| streamed[*a].mean_square().total_cmp(&streamed[*b].mean_square()))
        .unwrap_or(0);
    let hand_set = takes.iter().find_map(|t| t.hand_set_events_s.clone());
    let (playing, stretches) = find_events(takes[loudest], &streamed[loudest], hand_set, settings);
    let rate_found = takes[loudest].samples.rate_hz();
    let visits: Vec<Visit> = takes
        .iter()
        .zip(streamed)
        .zip(later_s)
        .map(|((take, streamed), later)| {
            let rate_hz = take.samples.rate_hz();
            let stretches = rescale(&stretches, rate_found, rate_hz, later - later_s[loudest]);
            let bands = BandSet::new(settings.bands_per_octave, f64::from(rate_hz) / 2.0);
            Visit { take, streamed, playing, stretches, spans_hz: bands.spans_hz(), bands }
        })
        .collect();
    visit::measured(&visits)
}

fn rescale(stretches: &[Stretch], from_hz: u32, to_hz: u32, shift_s: f64) -> Vec<Stretch> {
    let shift = (shift_s * f64::from(to_hz)).round();
    let map = |frame: u64| (frame as f64 * f64::from(to_hz) / f64::from(from_hz)).round() + shift;
    stretches
        .iter()
        .map(|s| match map(s.start) {
            // What begins before the take does is not there: an empty stretch, which is left out as cut off.
            start if start < 0.0 => Stretch { start: 0, onset: 0, end: 0 },
            start => Stretch { start: start as u64, onset: map(s.onset) as u64, end: map(s.end) as u64 },
        })
        .collect()
}

/// Hits, or blocks of sustained sound.
fn find_events(
    take: &Take,
    streamed: &Streamed,
    hand_set_s: Option<Vec<f64>>,
    settings: &Settings,
) -> (Playing, Vec<Stretch>) {
    let rate = f64::from(take.samples.rate_hz());
    let envelope = &streamed.envelope;
    let onsets = match hand_set_s {
        Some(onsets_s) => {
            let mut onsets: Vec<usize> =
                onsets_s.iter().map(|s| (s * rate) as usize / envelope.hop_frames).collect();
            // People may write them in any order.
            onsets.sort_unstable();
            onsets.dedup();
            onsets
        }
        None => envelope.onsets(),
    };
    let percussive = match settings.playing {
        Playing::Percussive => true,
        Playing::Sustained => false,
        Playing::Auto => envelope.is_percussive(&onsets),
    };
    if !percussive {
        return (Playing::Sustained, blocks(take, streamed));
    }
    let hop = envelope.hop_frames as u64;
    let lead = (LEAD_S * rate) as u64;
    // What was set by hand beyond the end of the take ends where the take does, and is left out as cut off.
    let n_there = onsets.partition_point(|on| *on < envelope.plain.len());
    let beyond = onsets[n_there..].iter().map(|_| envelope.plain.len());
    let ends = envelope.ends(&onsets[..n_there]).into_iter().chain(beyond);
    let stretches = onsets
        .iter()
        .zip(ends)
        .map(|(on, end)| {
            let onset = *on as u64 * hop;
            Stretch {
                start: onset.saturating_sub(lead),
                onset,
                end: (end as u64 * hop).min(take.samples.frames()),
            }
        })
        .collect();
    (Playing::Percussive, stretches)
}

/// Blocks of one second that are not silent.
fn blocks(take: &Take, streamed: &Streamed) -> Vec<Stretch> {
    let envelope = &streamed.envelope;
    let per_block = ((BLOCK_S * f64::from(take.samples.rate_hz())) as usize / envelope.hop_frames).max(1);
    let means: Vec<f64> = envelope
        .plain
        .chunks_exact(per_block)
        .map(|c| c.iter().map(|v| f64::from(*v)).sum::<f64>() / c.len() as f64)
        .collect();
    let strongest = means.iter().copied().fold(0.0, f64::max);
    let least = strongest * fairtake_signal::units::db_to_power(-SILENT_DB);
    // Loud noise or hum may lie nearer than that: what is taken for noise is not taken for playing too.
    let noise = gaps::up_to(envelope, take.samples.rate_hz()).unwrap_or(0.0);
    let frames = (per_block * envelope.hop_frames) as u64;
    means
        .iter()
        .enumerate()
        .filter(|(_, m)| **m > noise && **m >= least)
        .map(|(i, _)| {
            let start = i as u64 * frames;
            Stretch { start, onset: start, end: start + frames }
        })
        .collect()
}

/// Length of the segments that steady sound is averaged over: about a third of a second.
pub(crate) fn steady_length(rate_hz: u32) -> usize {
    (rate_hz as usize / 3).next_power_of_two()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::LeftOut;
    use crate::testing::{hits, take};

    #[test]
    fn onsets_set_by_hand_may_stand_in_any_order_and_beyond_the_take() {
        // Hits at whole seconds in a take of 14 s.
        let of = |onsets_s: &[f64]| {
            let mut a = take("a", 1, hits(3, 0.5));
            a.hand_set_events_s = Some(onsets_s.to_vec());
            measure_performance(&[&a], &Settings::standard()).expect("in memory").remove(0).events
        };
        let in_order = of(&[1.0, 2.0, 3.0, 5.0]);
        assert!(in_order.iter().all(|e| e.left_out.is_none()));
        assert_eq!(of(&[5.0, 2.0, 3.0, 1.0, 2.0]), in_order);
        let more = of(&[99.0, 5.0, 2.0, 14.5, 3.0, 1.0]);
        assert_eq!(more[..4], in_order);
        assert_eq!(more.len(), 6);
        assert!(more[4..].iter().all(|e| e.left_out == Some(LeftOut::CutOff)), "{more:?}");
    }

    #[test]
    fn a_silence_with_loud_hum_is_noise_and_no_block_of_what_is_played() {
        let rate = 16_000;
        // Two seconds of hum; then, over it, twelve with a burst of 50 ms every half second: a block has a tenth of the
        // bursts' power, −10 dB, and the hum lies 31 dB below them, so 21 dB below a block.
        let burst = |i: usize| if i >= 2 * rate && i % (rate / 2) < rate / 20 { 0.5 } else { 0.0 };
        let hum = |i: usize| (std::f32::consts::TAU * 50.0 * (i % rate) as f32 / rate as f32).sin();
        let tone = |i: usize| (std::f32::consts::TAU * 937.0 * (i % rate) as f32 / rate as f32).sin();
        let samples = (0..14 * rate).map(|i| burst(i) * tone(i) + 0.0141 * hum(i)).collect();
        let take = take("a", 1, samples);
        let settings = Settings { playing: Playing::Sustained, ..Settings::standard() };
        let measures = measure_performance(&[&take], &settings).expect("it is in memory");
        assert_eq!(measures[0].events.len(), 12);
        assert_eq!(measures[0].events[0].start_s, 2.0);
        assert!(measures[0].defects.hum.is_some_and(|h| h.excess_db > 10.0), "{:?}", measures[0].defects.hum);
    }
}
