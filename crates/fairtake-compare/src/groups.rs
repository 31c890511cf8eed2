//! Which takes are measured over the same stretches, and whose noise is whose.

use crate::compare::distinct;
use crate::measure::{measure_streamed, stream};
use crate::parallel::in_parallel;
use crate::recognise::{HowShared, replays_later_s};
use crate::remembered::{Remembered, group_key};
use crate::{
    Design, LeftOut, NoiseFrom, NoiseMeasureOfTake, Playing, ReadError, Recognised, Role, Settings, Shootout,
    Take, TakeMeasure,
};
use fairtake_signal::units::db_to_power;
use std::sync::Arc;

/// From this share of events left out a take is unfair, and does not cost its partners their events.
const MOST_LEFT_OUT: f64 = 0.5;

/// Measures every take: those that share a performance, or are replays of one recording, over the same events.
/// `recognised`: what is known of bare files. What is remembered is not read again.
///
/// # Errors
/// When a take cannot be read.
pub(crate) fn measure_all(
    takes: &[Take],
    shootout: &Shootout,
    settings: &Settings,
    recognised: Option<&Recognised>,
    remembered: &mut Remembered,
) -> Result<Vec<TakeMeasure>, ReadError> {
    let mut out: Vec<Option<TakeMeasure>> = takes.iter().map(|_| None).collect();
    let mut n_measured = 0;
    let key_of = |t: &Take| {
        let plays = matches!(t.role, Role::Compared | Role::Witness);
        // Replays are one performance, whatever number the log gives them.
        let number = if plays && stated_replayed(t, shootout, settings) { 0 } else { t.performance };
        (t.source.clone(), if plays { Role::Compared } else { t.role }, number)
    };
    for key in distinct(takes, key_of) {
        let group: Vec<usize> = (0..takes.len()).filter(|i| key_of(&takes[*i]) == key).collect();
        let of_group: Vec<&Take> = group.iter().map(|i| &takes[*i]).collect();
        // Neither the user nor the log speaks of how a room sounds, or of what leaks in.
        let playing = match key.1 {
            Role::RoomTone => Playing::Sustained,
            Role::Bleed => Playing::Auto,
            _ => shootout.playing(&key.0, settings.playing),
        };
        let settings = Settings { playing, ..settings.clone() };
        let replays = key.1 == Role::Compared
            && (stated_replayed(of_group[0], shootout, &settings)
                || found_replayed(&of_group, &settings, recognised));
        let known_as = group_key(&of_group, &settings, replays);
        let measures = match remembered.measures(&known_as) {
            Some(measures) => measures,
            None => {
                remembered.has_come(n_measured, takes.len());
                let mut measures = measure_group(&of_group, &settings, replays, recognised)?;
                keep_in_step(&of_group, &mut measures);
                remembered.put_measures(known_as, &measures);
                remembered.has_come(n_measured + group.len(), takes.len());
                measures
            }
        };
        n_measured += group.len();
        for (i, measure) in group.into_iter().zip(measures) {
            out[i] = Some(measure);
        }
    }
    let mut measures: Vec<TakeMeasure> = out.into_iter().flatten().collect();
    lend_room_tone(takes, &mut measures);
    Ok(measures)
}

fn measure_group(
    takes: &[&Take],
    settings: &Settings,
    replays: bool,
    recognised: Option<&Recognised>,
) -> Result<Vec<TakeMeasure>, ReadError> {
    let streamed = in_parallel(takes, |take| {
        let known = recognised.and_then(|r| r.streamed(&take.id)).cloned();
        known.map_or_else(|| stream(take).map(Arc::new), Ok)
    })?;
    let later_s = if replays {
        replays_later_s(takes, &streamed)?.into_iter().map(|later| later.unwrap_or(0.0)).collect()
    } else {
        vec![0.0; takes.len()]
    };
    measure_streamed(takes, &streamed, &later_s, settings)
}

fn stated_replayed(take: &Take, shootout: &Shootout, settings: &Settings) -> bool {
    match settings.design_override {
        Some(design) => design == Design::Replayed,
        None => shootout.sources.get(&take.source).is_some_and(|s| s.replayed),
    }
}

/// Bare files of one performance of which one was recognised as a replay of another.
fn found_replayed(group: &[&Take], settings: &Settings, recognised: Option<&Recognised>) -> bool {
    settings.design_override.is_none()
        && recognised.is_some_and(|r| {
            r.pairs.iter().any(|p| {
                p.how == HowShared::Replayed && p.takes.iter().all(|id| group.iter().any(|t| t.id == *id))
            })
        })
}

/// An event that had to be left out of one take is left out of its partners: row by row they stay the same events.
fn keep_in_step(takes: &[&Take], measures: &mut [TakeMeasure]) {
    let n = measures.iter().map(|m| m.events.len()).min().unwrap_or(0);
    let counts: Vec<bool> = takes
        .iter()
        .zip(measures.iter())
        .map(|(t, m)| {
            let n_out = m.events.iter().filter(|e| e.left_out.is_some()).count();
            t.keep_although_unfair || n_out as f64 <= MOST_LEFT_OUT * m.events.len() as f64
        })
        .collect();
    for event in 0..n {
        let lacking =
            measures.iter().zip(&counts).any(|(m, counts)| *counts && m.events[event].left_out.is_some());
        if lacking {
            measures.iter_mut().for_each(|m| {
                m.events[event].left_out.get_or_insert(LeftOut::NotInAllTakes);
            });
        }
    }
}

/// Takes without a gap get the noise of a room-tone take by the same microphone: of the same source if there is one, and
/// brought to the take's gain where both gains are logged.
fn lend_room_tone(takes: &[Take], measures: &mut [TakeMeasure]) {
    for i in 0..takes.len() {
        if measures[i].noise.is_some() || takes[i].role == Role::RoomTone {
            continue;
        }
        let serves = |j: &usize| {
            takes[*j].role == Role::RoomTone
                && takes[*j].mic == takes[i].mic
                && measures[*j].rate_hz == measures[i].rate_hz
                && measures[*j].noise.is_some()
        };
        let room = (0..takes.len()).filter(serves).min_by_key(|j| takes[*j].source != takes[i].source);
        let Some(room) = room else { continue };
        let gain_db =
            takes[i].chain.gain_db.zip(takes[room].chain.gain_db).map_or(0.0, |(take, tone)| take - tone);
        let lent = measures[room].noise.as_ref().map(|n| at_gain(n, gain_db));
        measures[i].noise = lent;
    }
}

fn at_gain(noise: &NoiseMeasureOfTake, gain_db: f64) -> NoiseMeasureOfTake {
    let power = db_to_power(gain_db);
    NoiseMeasureOfTake {
        band_power: noise.band_power.iter().map(|p| p * power).collect(),
        band_dof: noise.band_dof.clone(),
        mean_square: noise.mean_square * power,
        mean_square_a: noise.mean_square_a * power,
        mean_square_bs468: noise.mean_square_bs468 * power,
        pieces: noise.pieces.iter().map(|p| p.map(|v| v * power)).collect(),
        duration_s: noise.duration_s,
        from: NoiseFrom::RoomTone,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recognise_performances;
    use crate::testing::{hits, take};

    #[test]
    fn a_hit_clipped_in_one_microphone_is_left_out_of_both() {
        let a = hits(3, 0.5);
        let mut b = a.clone();
        // The fourth hit begins at 4 s, 16,000 frames a second.
        b[64_100..64_110].fill(1.0);
        let takes = [take("a", 1, a), take("b", 1, b)];
        let measures = measure_all(
            &takes,
            &Shootout::default(),
            &Settings::standard(),
            None,
            &mut Remembered::default(),
        );
        let measures = measures.expect("in memory");
        let out: Vec<Vec<Option<LeftOut>>> =
            measures.iter().map(|m| m.events.iter().map(|e| e.left_out).collect()).collect();
        assert_eq!(out[0].len(), 12);
        assert_eq!((out[0][3], out[1][3]), (Some(LeftOut::NotInAllTakes), Some(LeftOut::Clipped)));
        assert_eq!(out[0].iter().filter(|o| o.is_some()).count(), 1);
    }

    #[test]
    fn a_room_tone_take_lends_its_noise_where_there_is_no_gap_and_at_the_takes_gain() {
        // Held sound without a gap; the room tone was recorded with 6 dB more gain.
        let mut state = 9u64;
        let mut noise = |size: f32, n: usize| -> Vec<f32> {
            (0..n)
                .map(|_| {
                    state =
                        state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    size * ((state >> 40) as f32 / (1u64 << 23) as f32 - 1.0)
                })
                .collect()
        };
        let mut played = take("a", 1, noise(0.3, 20 * 16_000));
        played.chain.gain_db = Some(40.0);
        let mut tone = take("a", 2, noise(2e-3, 5 * 16_000));
        tone.role = Role::RoomTone;
        tone.chain.gain_db = Some(46.0);
        let takes = [played, tone];
        let measures = measure_all(
            &takes,
            &Shootout::default(),
            &Settings::standard(),
            None,
            &mut Remembered::default(),
        );
        let measures = measures.expect("in memory");
        let (own, lent) =
            (measures[1].noise.as_ref().expect("measured"), measures[0].noise.as_ref().expect("lent"));
        assert_eq!((own.from, lent.from), (NoiseFrom::RoomTone, NoiseFrom::RoomTone));
        // Exact: uniform noise of half-width h has the mean square h²/3; 80,000 values give it to half a per cent.
        assert!((own.mean_square / (4e-6 / 3.0) - 1.0).abs() < 0.03, "{}", own.mean_square);
        assert!((lent.mean_square / own.mean_square / db_to_power(-6.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn replays_are_measured_over_the_same_stretches_of_the_programme() {
        let a = hits(5, 0.5);
        let mut b = vec![0.0; 160];
        b.extend_from_slice(&a[..a.len() - 160]);
        let settings = Settings { design_override: Some(Design::Replayed), ..Settings::standard() };
        let takes = [take("a", 1, a), take("b", 2, b)];
        let measures = measure_all(&takes, &Shootout::default(), &settings, None, &mut Remembered::default())
            .expect("in memory");
        assert_eq!(measures[0].events.len(), 12);
        for (x, y) in measures[0].events.iter().zip(&measures[1].events) {
            // Exact: 160 frames at 16 kHz are 10 ms.
            assert!((y.start_s - x.start_s - 0.01).abs() < 1e-9, "{} {}", x.start_s, y.start_s);
        }
        // The same samples stand in both stretches.
        assert_eq!(measures[0].band_energy, measures[1].band_energy);
    }

    #[test]
    fn bare_files_that_are_replays_are_brought_into_step() {
        let a = hits(6, 0.5);
        // Noise of 1e-4 is in the made hits: taken out, and each pass gets its own.
        let clean: Vec<f32> = a.iter().map(|x| if x.abs() < 2e-4 { 0.0 } else { *x }).collect();
        let room = |seed| hits(seed, 0.0);
        let add = |x: &[f32], y: &[f32]| x.iter().zip(y).map(|(x, y)| x + y).collect::<Vec<f32>>();
        let mut later = vec![0.0; 80];
        later.extend_from_slice(&clean[..clean.len() - 80]);
        let mut takes = vec![take("a", 1, add(&clean, &room(71))), take("b", 2, add(&later, &room(72)))];
        let recognised = recognise_performances(&mut takes, None).expect("in memory");
        let measures = measure_all(
            &takes,
            &Shootout::default(),
            &Settings::standard(),
            Some(&recognised),
            &mut Remembered::default(),
        );
        let measures = measures.expect("in memory");
        let shift = measures[1].events[5].start_s - measures[0].events[5].start_s;
        // Exact: 80 frames at 16 kHz are 5 ms.
        assert!((shift - 0.005).abs() < 1e-9, "{shift}");
    }
}
