//! Made sounds: struck, sustained and spoken, played with a strength that varies; and microphones that hear them.

/// Sampling rate in Hz.
pub const RATE_HZ: u32 = 48_000;
/// Noise of the room, RMS re full scale: −75 dBFS.
pub const FLOOR: f32 = 1.8e-4;
/// Quiet before the playing, in seconds.
pub const QUIET_S: f32 = 1.5;
const TAU: f32 = std::f32::consts::TAU;

/// A linear congruential generator (Knuth's constants): enough for made sounds.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Random {
        let mut out = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        // The first draws of neighbouring seeds lie near each other.
        for _ in 0..8 {
            out.between(0.0, 1.0);
        }
        out
    }
    pub fn between(&mut self, low: f32, high: f32) -> f32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * ((self.0 >> 40) as f32 / 16_777_216.0)
    }
    /// Nearly normal, of standard deviation one: the sum of four, each of variance 1/4.
    pub fn normal(&mut self) -> f32 {
        let half_width = 0.75f32.sqrt();
        (0..4).map(|_| self.between(-half_width, half_width)).sum()
    }
}

/// Kind of source.
#[derive(Clone, Copy, PartialEq)]
pub enum Kind {
    Percussive,
    Sustained,
    Voice,
}

/// How it is played, on top of what every player does.
#[derive(Clone, Copy)]
pub struct Playing {
    /// Factor on the spread of strength.
    pub spread: f32,
    /// Rise from start to end, in dB.
    pub rise_db: f32,
    /// Of the whole take, in dB.
    pub level_db: f32,
}

/// As clean takes are played.
pub const PLAIN: Playing = Playing { spread: 1.0, rise_db: 0.0, level_db: 0.0 };

/// A sound before any microphone, and places where it sounds.
pub struct Dry {
    pub samples: Vec<f32>,
    pub sounding: Vec<usize>,
}

pub fn gain(db: f32) -> f32 {
    10f32.powf(db / 20.0)
}

/// `instrument` fixes the source, `seed` this pass of playing.
pub fn dry(kind: Kind, instrument: u64, seed: u64, playing: Playing) -> Dry {
    let (mut made, mut random) = (Random::new(instrument ^ 0x0b0a_7000), Random::new(seed));
    match kind {
        Kind::Percussive => struck(&mut made, &mut random, playing),
        Kind::Sustained => bowed(&mut made, &mut random, playing),
        Kind::Voice => spoken(&mut made, &mut random, playing),
    }
}

fn struck(made: &mut Random, random: &mut Random, playing: Playing) -> Dry {
    let rate = RATE_HZ as f32;
    let modes: Vec<(f32, f32, f32)> = (0..4)
        .map(|_| (made.between(60.0, 600.0), made.between(0.03, 0.12), made.between(0.2, 1.0)))
        .collect();
    let (rise_s, bright, fall_s) =
        (made.between(2e-4, 3e-3), made.between(0.1, 0.9), made.between(0.01, 0.06));
    let n_hits = 12;
    let mut out = Dry { samples: vec![0.0; (11.0 * rate) as usize], sounding: Vec::new() };
    for hit in 0..n_hits {
        let start = ((QUIET_S + 0.75 * hit as f32 + random.between(0.0, 0.05)) * rate) as usize;
        let through = hit as f32 / (n_hits - 1) as f32 - 0.5;
        let strength_db = random.between(-4.0, 4.0) * playing.spread + playing.rise_db * through;
        let strength = 0.16 * gain(strength_db + playing.level_db);
        // What is struck harder is brighter.
        let noise = 0.6 * gain(0.3 * strength_db);
        let mut rotors: Vec<(f32, f32, f32, f32)> = modes
            .iter()
            .map(|(hz, fall, level)| {
                let (angle, damp) = (TAU * hz / rate, (-1.0 / (fall * rate)).exp());
                (*level, 0.0, damp * angle.cos(), damp * angle.sin())
            })
            .collect();
        let (mut smooth, mut under, mut fading) = (0.0, 1.0, 1.0);
        let (up, down) = ((-1.0 / (rise_s * rate)).exp(), (-1.0 / (fall_s * rate)).exp());
        for x in &mut out.samples[start..start + (0.6 * rate) as usize] {
            under *= up;
            fading *= down;
            smooth += bright * (random.normal() - smooth);
            let mut tones = 0.0;
            for (re, im, cos, sin) in &mut rotors {
                (*re, *im) = (*re * *cos - *im * *sin, *re * *sin + *im * *cos);
                tones += *im;
            }
            *x += strength * (1.0 - under) * (tones + noise * smooth * fading);
        }
        out.sounding.push(start + random.between(0.0, 0.1 * rate) as usize);
    }
    out
}

/// One period of a tone whose partials have these levels.
fn period(level_of: impl Fn(usize) -> f32, n_partials: usize) -> Vec<f32> {
    let n = 4096;
    (0..n)
        .map(|i| (1..=n_partials).map(|k| level_of(k) * (TAU * ((k * i) % n) as f32 / n as f32).sin()).sum())
        .collect()
}

fn bowed(made: &mut Random, random: &mut Random, playing: Playing) -> Dry {
    let rate = RATE_HZ as f32;
    let (hz, steep) = (made.between(90.0, 440.0), made.between(0.5, 0.85));
    let (breath, vibrato) = (made.between(0.03, 0.1), made.between(0.0, 0.006));
    let (dull, bright) =
        (period(|k| steep.powi(k as i32), 24), period(|k| (0.9 * steep + 0.1).powi(k as i32), 24));
    let swells: Vec<(f32, f32)> =
        (0..3).map(|_| (random.between(0.1, 0.4), random.between(0.0, TAU))).collect();
    let seconds = 15.0;
    let start = (QUIET_S * rate) as usize;
    let mut out = Dry { samples: vec![0.0; ((QUIET_S + seconds) * rate) as usize], sounding: Vec::new() };
    let (mut phase, mut smooth, mut level, mut mix, mut pitch) = (0.0f32, 0.0f32, 0.0, 0.0, hz);
    for (i, x) in out.samples.iter_mut().enumerate().skip(start) {
        let t = (i - start) as f32 / rate;
        // The course of strength and pitch is slow: it is worked out every 64 samples.
        if (i - start).is_multiple_of(64) {
            let swell: f32 = swells.iter().map(|(hz, at)| 2.0 * (TAU * hz * t + at).sin()).sum();
            let strength_db = swell * playing.spread + playing.rise_db * (t / seconds - 0.5);
            level = 0.1 * gain(strength_db + playing.level_db) * (t / 0.1).min(1.0);
            mix = (0.5 + 0.05 * strength_db).clamp(0.0, 1.0);
            pitch = hz * (1.0 + vibrato * (TAU * 5.5 * t).sin());
        }
        phase = (phase + pitch / rate).fract();
        let at = ((phase * 4096.0) as usize) & 4095;
        smooth += 0.5 * (random.normal() - smooth);
        *x = level * (dull[at] + mix * (bright[at] - dull[at]) + breath * smooth);
    }
    out.sounding.extend((0..10).map(|_| start + random.between(0.5 * rate, (seconds - 1.0) * rate) as usize));
    out
}

fn spoken(made: &mut Random, random: &mut Random, playing: Playing) -> Dry {
    let rate = RATE_HZ as f32;
    let hz = made.between(90.0, 240.0);
    // Vowels: partials of a falling source through two resonances.
    let vowels: Vec<Vec<f32>> = (0..4)
        .map(|_| {
            let formants = [made.between(300.0, 800.0), made.between(900.0, 2300.0)];
            let level = move |k: usize| {
                let f = hz * k as f32;
                let peaks: f32 = formants.iter().map(|c| 1.0 / (1.0 + ((f - c) / 120.0).powi(2))).sum();
                (0.08 + peaks) / k as f32
            };
            period(level, (7000.0 / hz) as usize)
        })
        .collect();
    let seconds = 15.0;
    let start = (QUIET_S * rate) as usize;
    let mut out = Dry { samples: vec![0.0; ((QUIET_S + seconds) * rate) as usize], sounding: Vec::new() };
    let (mut at, mut phase) = (start, 0.0f32);
    while at < out.samples.len() {
        let long = (random.between(0.12, 0.35) * rate) as usize;
        let through = (at - start) as f32 / rate / seconds - 0.5;
        let strength_db = 3.0 * random.normal() * playing.spread + playing.rise_db * through;
        let level = 0.12 * gain(strength_db + playing.level_db);
        let vowel = &vowels[(random.between(0.0, 3.999)) as usize];
        let (hiss, glide) = (random.between(0.0, 0.06), random.between(-0.15, 0.15));
        let (mut last, end) = (0.0, (at + long).min(out.samples.len()));
        for i in at..end {
            let u = (i - at) as f32 / long as f32;
            let shape = (u / 0.15).min((1.0 - u) / 0.3).clamp(0.0, 1.0);
            phase = (phase + hz * (1.0 + glide * (u - 0.5)) / rate).fract();
            let new = random.normal();
            // Differences of noise are hiss; it belongs to the start of a syllable.
            let noise = hiss * (new - last) * (1.0 - u);
            last = new;
            out.samples[i] += level * shape * (vowel[((phase * 4096.0) as usize) & 4095] + noise);
        }
        if out.sounding.len() < 10
            && end < out.samples.len() - RATE_HZ as usize
            && random.between(0.0, 1.0) < 0.4
        {
            out.sounding.push(at + long / 2);
        }
        at += long + (random.between(0.03, 0.15) * rate) as usize;
    }
    out
}

/// A microphone: sensitivity, a shelf at high frequencies, an early reflection.
#[derive(Clone, Copy)]
pub struct Hearing {
    gain: f32,
    shelf: f32,
    reflection: (usize, f32),
}

impl Hearing {
    pub fn drawn(seed: u64) -> Hearing {
        let random = &mut Random::new(seed ^ 0x00ea_2000);
        Hearing {
            gain: gain(random.between(-4.0, 4.0)),
            shelf: gain(random.between(-4.0, 4.0)) - 1.0,
            // So weak that at low frequencies microphones stay alike to within the margin of 1 dB: clean means that.
            reflection: (random.between(40.0, 200.0) as usize, random.between(-0.05, 0.05)),
        }
    }

    /// What it makes of a sound, without noise.
    pub fn of(&self, dry: &[f32]) -> Vec<f32> {
        let mut low = 0.0;
        let lowest = 1.0 - (-TAU * 5000.0 / RATE_HZ as f32).exp();
        (0..dry.len())
            .map(|i| {
                let (back, share) = self.reflection;
                let x = dry[i] + if i >= back { share * dry[i - back] } else { 0.0 };
                low += lowest * (x - low);
                self.gain * (x + self.shelf * (x - low))
            })
            .collect()
    }
}

/// With the noise of a room, white and, below some hundred hertz, more; in 24 bits.
pub fn recorded(sound: &[f32], seed: u64) -> Vec<f32> {
    let random = &mut Random::new(seed ^ 0x0f10_0a00);
    let mut low = 0.0;
    let mut out: Vec<f32> = sound
        .iter()
        .map(|x| {
            low = 0.98 * low + 0.1 * random.normal();
            x + FLOOR * (0.8 * random.normal() + low)
        })
        .collect();
    rounded(&mut out);
    out
}

/// To 24 bits.
pub fn rounded(x: &mut [f32]) {
    x.iter_mut().for_each(|v| *v = (*v * 8_388_608.0).round() / 8_388_608.0);
}
