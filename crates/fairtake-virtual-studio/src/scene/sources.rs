//! What is played: a frame drum, a cello, a speaking voice. Every pass has its own strength and timbre, every hit and
//! note again its own.

use super::{RATE_HZ, frames, one_of};
use crate::field::{between, normal};
use fairtake_signal::filters::Biquad;
use rand_chacha::ChaCha8Rng;
use std::f64::consts::{PI, TAU};

/// Quiet before the first sound, in seconds: there noise is measured.
const QUIET_S: f64 = 1.5;
/// Hits of a take.
const N_HITS: usize = 12;
/// After the last hit, in seconds: it rings for 0.7 s from where it falls, at most 0.24 s off its beat among twelve.
const SPARE_S: f64 = 0.4;
/// Length of sustained playing in seconds.
const SUSTAINED_S: f64 = 14.0;

/// Frequencies of a round membrane's modes over its lowest: zeros of Bessel functions, from handbooks of acoustics.
const MEMBRANE: [f64; 6] = [1.0, 1.593, 2.136, 2.296, 2.653, 2.917];

/// What is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Playing {
    Drum,
    Cello,
    Voice,
}

/// A pass of playing as it would be heard without any microphone, and where its events lie.
#[derive(Debug, Clone)]
pub(crate) struct Clean {
    pub samples: Vec<f32>,
    /// Start and end in frames.
    pub events: Vec<(usize, usize)>,
    /// Events are blocks of sustained sound.
    pub sustained: bool,
}

/// How one pass is played: what stays the same for all of its hits or notes.
#[derive(Debug, Clone)]
pub(crate) enum Pass {
    Drum { db: f64, tone: f64, shares: Vec<f64>, fundamental_hz: f64 },
    Cello { db: f64 },
    Voice { db: f64, tone: f64 },
}

impl Clean {
    /// Before anything was played.
    pub(crate) fn nothing() -> Clean {
        Clean { samples: Vec::new(), events: Vec::new(), sustained: false }
    }
}

impl Playing {
    /// One pass, as long as a take.
    pub(crate) fn play(self, rng: &mut ChaCha8Rng) -> Clean {
        let length = match self {
            Playing::Drum => N_HITS as f64,
            Playing::Cello | Playing::Voice => SUSTAINED_S,
        };
        self.pass(rng).play(length, rng)
    }

    /// The player begins a pass: strength, brightness, where the skin is struck.
    pub(crate) fn pass(self, rng: &mut ChaCha8Rng) -> Pass {
        match self {
            Playing::Drum => Pass::Drum {
                db: 0.8 * normal(rng),
                tone: 0.1 * normal(rng),
                shares: MEMBRANE.iter().map(|_| (0.15 * normal(rng)).exp()).collect(),
                fundamental_hz: 92.0 * (0.003 * normal(rng)).exp(),
            },
            Playing::Cello => Pass::Cello { db: 0.8 * normal(rng) },
            Playing::Voice => Pass::Voice { db: 0.8 * normal(rng), tone: 1.5 * normal(rng) },
        }
    }
}

impl Pass {
    /// Plays so many hits, or for so many seconds.
    pub(crate) fn play(&self, length: f64, rng: &mut ChaCha8Rng) -> Clean {
        match self {
            Pass::Drum { db, tone, shares, fundamental_hz } => {
                drum(length as usize, *db, *tone, shares, *fundamental_hz, rng)
            }
            Pass::Cello { db } => sustained(cello(length, *db, rng)),
            Pass::Voice { db, tone } => sustained(voice(length, *db, *tone, rng)),
        }
    }
}

fn drum(
    n_hits: usize,
    pass_db: f64,
    pass_tone: f64,
    shares: &[f64],
    fundamental_hz: f64,
    rng: &mut ChaCha8Rng,
) -> Clean {
    let mut samples = vec![0f32; frames(QUIET_S + 0.9 * n_hits as f64 + SPARE_S)];
    let mut events = Vec::new();
    let mut at_s = QUIET_S;
    for _ in 0..n_hits {
        let strength_db = pass_db + 1.5 * normal(rng);
        let from = frames(at_s);
        hit(&mut samples[from..], fundamental_hz, shares, strength_db, pass_tone, rng);
        events.push((from, from + frames(0.7)));
        at_s += 0.9 + 0.02 * between(rng, -1.0, 1.0);
    }
    Clean { samples, events, sustained: false }
}

/// Damped modes and two bursts of noise; a harder hit is brighter.
fn hit(out: &mut [f32], fundamental_hz: f64, shares: &[f64], db: f64, tone: f64, rng: &mut ChaCha8Rng) {
    let rate = f64::from(RATE_HZ);
    let strength = 10f64.powf(db / 20.0) * 0.1;
    let n = out.len().min(frames(0.8));
    for (ratio, share) in MEMBRANE.iter().zip(shares) {
        let hz = fundamental_hz * ratio;
        let decay_s = 0.13 / ratio.sqrt();
        let amplitude = strength * share * (0.1 * normal(rng)).exp() / ratio;
        for (i, x) in out[..n].iter_mut().enumerate() {
            let t = i as f64 / rate;
            *x += (amplitude * (-t / decay_s).exp() * (TAU * hz * t).sin()) as f32;
        }
    }
    // The blow, and the skin's rustle: harder by 1 dB is brighter by 0.15 dB and more.
    let bright = 10f64.powf((0.15 * db + tone + 0.05 * normal(rng)) / 20.0 * 3.0);
    let mut noise: Vec<f32> = (0..n)
        .map(|i| {
            let t = i as f64 / rate;
            let envelope = 0.5 * (-t / 0.012).exp() + 0.22 * (-t / 0.07).exp();
            (strength * bright * envelope * normal(rng)) as f32
        })
        .collect();
    Biquad::high_pass(rate, 150.0).run(&mut noise);
    Biquad::high_shelf(rate, 6000.0, -7.0).run(&mut noise);
    out.iter_mut().zip(&noise).for_each(|(x, v)| *x += v);
}

/// Blocks of a second from the first sound on.
fn sustained(samples: Vec<f32>) -> Clean {
    let (first, second) = (frames(QUIET_S), frames(1.0));
    let events = (first..samples.len() - second).step_by(second).map(|from| (from, from + second)).collect();
    Clean { samples, events, sustained: true }
}

/// Slow notes: partials of a bowed string through the body's resonances, vibrato, bow noise.
fn cello(seconds: f64, pass_db: f64, rng: &mut ChaCha8Rng) -> Vec<f32> {
    const NOTES_HZ: [f64; 7] = [65.4, 73.4, 98.0, 110.0, 130.8, 146.8, 196.0];
    const TUNE: [(usize, f64); 9] =
        [(0, 0.9), (2, 0.6), (4, 0.6), (3, 1.1), (1, 0.7), (5, 0.6), (6, 0.9), (4, 0.5), (2, 0.8)];
    let rate = f64::from(RATE_HZ);
    let mut out = vec![0f32; frames(QUIET_S + seconds)];
    let (mut at, mut phase) = (frames(QUIET_S), 0.0);
    // Every pass is the same tune; its notes are a little longer or shorter, higher or lower.
    for (note, beats) in TUNE.iter().cycle() {
        if at >= out.len() {
            break;
        }
        let length = frames(beats * (0.04 * normal(rng)).exp()).min(out.len() - at);
        let hz = NOTES_HZ[*note] * (0.002 * normal(rng)).exp();
        let strength = 0.09 * 10f64.powf((pass_db + normal(rng)) / 20.0);
        let n_partials = ((12_000.0 / hz) as usize).min(80);
        let weights: Vec<f64> =
            (1..=n_partials).map(|k| (k as f64).powf(-1.1) * (0.2 * normal(rng)).exp()).collect();
        let start = phase;
        for (i, x) in out[at..at + length].iter_mut().enumerate() {
            let t = i as f64 / rate;
            phase = start + TAU * hz * t + 0.6 * (TAU * 5.3 * t).sin();
            let edge = (t / 0.06).min(1.0).min(((length - i) as f64 / rate / 0.03).min(1.0));
            // Partials by recurrence: sin((k+1)p) = 2 cos p · sin(kp) − sin((k−1)p).
            let (mut before, mut now, twice) = (0.0, phase.sin(), 2.0 * phase.cos());
            let mut sum = 0.0;
            for w in &weights {
                sum += w * now;
                (before, now) = (now, twice * now - before);
            }
            *x += (strength * edge * (sum + 0.05 * normal(rng))) as f32;
        }
        phase = phase.rem_euclid(TAU);
        at += length;
    }
    for (hz, gain_db, q) in [(220.0, 6.0, 2.0), (420.0, 4.0, 2.5), (1100.0, 3.0, 1.5), (2600.0, -4.0, 0.8)] {
        Biquad::peak(rate, hz, gain_db, q).run(&mut out);
    }
    out
}

/// Syllables: pulses of the voice through moving formants, and hissed consonants.
fn voice(seconds: f64, pass_db: f64, pass_tone: f64, rng: &mut ChaCha8Rng) -> Vec<f32> {
    const VOWELS: [[f64; 3]; 5] = [
        [730.0, 1090.0, 2440.0],
        [530.0, 1840.0, 2480.0],
        [270.0, 2290.0, 3010.0],
        [570.0, 840.0, 2410.0],
        [300.0, 870.0, 2240.0],
    ];
    let rate = f64::from(RATE_HZ);
    let mut out = vec![0f32; frames(QUIET_S + seconds)];
    let mut at = frames(QUIET_S);
    let mut pitch_hz: f64 = 115.0;
    while at < out.len() {
        let length = frames(between(rng, 0.14, 0.32)).min(out.len() - at);
        let strength = 0.8 * 10f64.powf((pass_db + 1.5 * normal(rng)) / 20.0);
        pitch_hz = (pitch_hz * (0.06 * normal(rng)).exp()).clamp(95.0, 150.0);
        let mut syllable = vec![0f32; length];
        let mut phase: f64 = 0.0;
        for (i, x) in syllable.iter_mut().enumerate() {
            let t = i as f64 / length as f64;
            phase += pitch_hz * (1.06 - 0.12 * t) / rate;
            // One pulse per period, steep at its end.
            let p = phase.fract();
            let pulse = if p < 0.6 { (PI * p / 0.6).sin().powi(2) - 0.5 } else { -0.5 };
            let envelope = (PI * t).sin().powf(0.5);
            *x = (strength * 0.3 * envelope * (pulse + 0.04 * normal(rng))) as f32;
        }
        for (k, hz) in VOWELS[one_of(rng, VOWELS.len())].iter().enumerate() {
            Biquad::peak(rate, *hz, 14.0 - 2.0 * k as f64, 5.0).run(&mut syllable);
        }
        Biquad::high_shelf(rate, 2000.0, -6.0 + 0.5 * pass_tone).run(&mut syllable);
        if one_of(rng, 3) == 0 {
            let n = length.min(frames(0.11));
            let mut hiss: Vec<f32> = (0..n)
                .map(|i| (0.05 * strength * (PI * i as f64 / n as f64).sin() * normal(rng)) as f32)
                .collect();
            Biquad::high_pass(rate, 3500.0).run(&mut hiss);
            syllable.iter_mut().zip(&hiss).for_each(|(x, v)| *x += v);
        }
        // The formants ring on after the pulses: where the syllable ends it has died away, and is not cut.
        let fade = frames(0.012).min(length);
        for (i, x) in syllable.iter_mut().rev().take(fade).enumerate() {
            *x *= (0.5 - 0.5 * (PI * (i as f64 + 0.5) / fade as f64).cos()) as f32;
        }
        out[at..at + length].iter_mut().zip(&syllable).for_each(|(x, v)| *x += v);
        at += length + frames(if one_of(rng, 8) == 0 { between(rng, 0.15, 0.3) } else { 0.02 });
    }
    Biquad::high_pass(rate, 70.0).run(&mut out);
    out
}
