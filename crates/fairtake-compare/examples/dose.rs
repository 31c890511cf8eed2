//! How often the checks on defects find none, a mild and a gross dose of each, in made takes. Prints a table.
//!
//! `cargo run --release -p fairtake-compare --example dose`, with the code of one check behind `--` for that alone; seeds are fixed, so every
//! run gives one table.

use fairtake_compare::{
    ChainEntry, Comparison, Outcome, ReadError, Role, Samples, Settings, Shootout, StoredAs, Take, compare,
};

const RATE_HZ: u32 = 48_000;
const SECONDS: usize = 9;
/// Clean takes per kind, and takes per kind and dose.
const N_CLEAN: u64 = 200;
const N_DOSED: u64 = 100;
/// Noise of the room, RMS re full scale: −75 dBFS.
const FLOOR: f32 = 1.8e-4;
const CODES: [&str; 5] = ["dropout", "repeated_buffer", "click", "hum", "clipped"];

struct Made(Vec<f32>);

impl Samples for Made {
    fn rate_hz(&self) -> u32 {
        RATE_HZ
    }
    fn frames(&self) -> u64 {
        self.0.len() as u64
    }
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let left = &self.0[(start as usize).min(self.0.len())..];
        let n = out.len().min(left.len());
        out[..n].copy_from_slice(&left[..n]);
        Ok(n)
    }
}

/// A linear congruential generator (Knuth's constants): enough for made sounds.
struct Random(u64);

impl Random {
    fn new(seed: u64) -> Random {
        let mut out = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        // The first draws of neighbouring seeds lie near each other.
        for _ in 0..8 {
            out.between(0.0, 1.0);
        }
        out
    }
    fn between(&mut self, low: f32, high: f32) -> f32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * ((self.0 >> 40) as f32 / 16_777_216.0)
    }
    /// Nearly normal, of standard deviation one: the sum of four, each of variance 1/4.
    fn normal(&mut self) -> f32 {
        let half_width = 0.75f32.sqrt();
        (0..4).map(|_| self.between(-half_width, half_width)).sum()
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Percussive,
    Sustained,
}

/// Noise of a room: white and, below some hundred hertz, more.
fn room(random: &mut Random) -> Vec<f32> {
    let mut low = 0.0;
    (0..SECONDS * RATE_HZ as usize)
        .map(|_| {
            low = 0.98 * low + 0.1 * random.normal();
            FLOOR * (0.8 * random.normal() + low)
        })
        .collect()
}

/// A made take, and frames at which something sounds.
fn made(kind: Kind, seed: u64) -> (Vec<f32>, Vec<usize>) {
    let random = &mut Random::new(seed);
    let mut x = room(random);
    let (rate, mut sounding) = (RATE_HZ as f32, Vec::new());
    if kind == Kind::Percussive {
        let modes: Vec<(f32, f32, f32)> = (0..4)
            .map(|_| (random.between(60.0, 600.0), random.between(0.03, 0.12), random.between(0.2, 1.0)))
            .collect();
        let (rise_s, bright, fall_s) =
            (random.between(2e-4, 3e-3), random.between(0.1, 0.9), random.between(0.01, 0.06));
        for hit in 0..10 {
            let start = ((1.0 + 0.75 * hit as f32 + random.between(0.0, 0.05)) * rate) as usize;
            let strength = random.between(0.1, 0.25);
            let mut smooth = 0.0;
            for i in 0..(0.6 * rate) as usize {
                let t = i as f32 / rate;
                let rise = 1.0 - (-t / rise_s).exp();
                smooth += bright * (random.normal() - smooth);
                let tones: f32 = modes
                    .iter()
                    .map(|(hz, s, level)| level * (-t / s).exp() * (std::f32::consts::TAU * hz * t).sin())
                    .sum();
                x[start + i] += strength * rise * (tones + 0.6 * smooth * (-t / fall_s).exp());
            }
            sounding.push(start + random.between(0.0, 0.1 * rate) as usize);
        }
    } else {
        let (hz, steep, vibrato) =
            (random.between(90.0, 440.0), random.between(0.5, 0.9), random.between(0.0, 0.006));
        let (breath, sway_hz) = (random.between(1e-4, 3e-3), random.between(0.2, 1.0));
        let start = (1.5 * rate) as usize;
        let mut phase = 0.0f32;
        for (i, v) in x.iter_mut().enumerate().skip(start) {
            let t = (i - start) as f32 / rate;
            let gain = 0.12 * (t / 0.1).min(1.0) * (1.0 + 0.2 * (std::f32::consts::TAU * sway_hz * t).sin());
            let wobble = 1.0 + vibrato * (std::f32::consts::TAU * 5.5 * t).sin();
            phase = (phase + hz * wobble / rate).fract();
            let tone: f32 = (1..=12)
                .map(|k| steep.powi(k) * (std::f32::consts::TAU * (phase * k as f32).fract()).sin())
                .sum();
            *v += gain * tone + breath * random.normal();
        }
        sounding.extend((0..10).map(|_| random.between(2.0 * rate, 8.0 * rate) as usize));
    }
    // 24 bits.
    x.iter_mut().for_each(|v| *v = (*v * 8_388_608.0).round() / 8_388_608.0);
    (x, sounding)
}

/// Puts a dose of a defect in. Doses are told in `docs/ground-truth.md`.
fn spoil(code: &str, gross: bool, x: &mut [f32], sounding: &[usize]) {
    let places = &sounding[3..if gross { 6 } else { 4 }];
    match code {
        "dropout" => {
            let n = if gross { 960 } else { 96 };
            places.iter().for_each(|at| x[*at..at + n].fill(0.0));
        }
        "repeated_buffer" => {
            let n = if gross { 512 } else { 64 };
            places.iter().for_each(|at| x.copy_within(*at..at + n, at + n));
        }
        "click" => {
            let jump = if gross { 0.3 } else { 0.01 };
            for at in places {
                for (i, v) in x[*at..].iter_mut().enumerate().take(9_600) {
                    *v += jump * (-(i as f32) / 960.0).exp();
                }
            }
        }
        "hum" => {
            // RMS of the hum: 6 dB below, 20 dB above the noise of the room.
            let level = FLOOR * if gross { 10.0 } else { 0.5 } * std::f32::consts::SQRT_2;
            let parts = [(50.0, 0.8), (100.0, 0.4), (150.0, 0.4), (250.0, 0.2)];
            for (i, v) in x.iter_mut().enumerate() {
                let t = (i % RATE_HZ as usize) as f32 / RATE_HZ as f32;
                let tone: f32 = parts.iter().map(|(hz, p)| p * (std::f32::consts::TAU * hz * t).sin()).sum();
                *v += level * tone;
            }
        }
        "clipped" => {
            let peak = x.iter().fold(0f32, |a, v| a.max(v.abs()));
            let gain = if gross { 4.0 } else { 1.12 } / peak;
            x.iter_mut().for_each(|v| *v = (*v * gain).clamp(-1.0, 1.0));
        }
        _ => unreachable!("codes are those of the list"),
    }
}

fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    Take {
        id: mic.into(),
        file: format!("{mic}.wav"),
        channel: 1,
        mic: mic.into(),
        source: "made".into(),
        placement: 1,
        performance,
        order: None,
        position: None,
        role: Role::Compared,
        chain: ChainEntry::default(),
        hand_set_events_s: None,
        keep_although_unfair: false,
        stored_as: StoredAs { format: "made".into(), bits: Some(24), lossy: false, sha256: mic.into() },
        samples: Box::new(Made(samples)),
    }
}

/// Codes raised on each of two takes; what makes both unfit to compare is told by the error and counts as no code.
fn raised(pair: [Vec<f32>; 2]) -> Vec<Vec<String>> {
    let [a, b] = pair;
    let mut takes = [take("a", 1, a), take("b", 2, b)];
    // A grossly clipped take is left out, and nothing to compare is left; what is raised is asked for all the same.
    takes.iter_mut().for_each(|t| t.keep_although_unfair = true);
    let asked = Comparison { reference: None, pair: None, bare_files: false, version: "dose".into() };
    let settings = Settings { resamples: 50, ..Settings::standard() };
    let made = compare(&takes, &Shootout::default(), &settings, &asked).expect("made takes compare");
    ["a", "b"]
        .map(|id| {
            let of_take = made.findings.checks.iter().filter(|c| c.take.as_deref() == Some(id));
            of_take.filter(|c| c.outcome != Outcome::Fair).map(|c| c.code.clone()).collect()
        })
        .into()
}

/// How many of `n` takes raise each code.
fn count(kind: Kind, n: u64, seed: u64, spoil: &dyn Fn(&mut [f32], &[usize])) -> [u64; CODES.len()] {
    let mut out = [0; CODES.len()];
    for i in 0..n / 2 {
        let pair = [0, 1].map(|k| {
            let (mut x, sounding) = made(kind, seed + 2 * i + k);
            spoil(&mut x, &sounding);
            x
        });
        for found in raised(pair) {
            for (n, code) in out.iter_mut().zip(CODES) {
                *n += u64::from(found.iter().any(|c| c == code));
            }
        }
    }
    out
}

fn main() {
    let only = std::env::args().nth(1);
    println!("| check | takes | none, of {N_CLEAN} | mild, of {N_DOSED} | gross, of {N_DOSED} |");
    println!("|---|---|---|---|---|");
    let mut rows: Vec<(usize, String)> = Vec::new();
    for (kind, name) in [(Kind::Percussive, "percussive"), (Kind::Sustained, "sustained")] {
        let clean = count(kind, N_CLEAN, 5001, &|_, _| {});
        for (i, code) in CODES.into_iter().enumerate() {
            if only.as_ref().is_some_and(|o| o != code) {
                continue;
            }
            let dosed = |gross| count(kind, N_DOSED, 6001, &|x, at| spoil(code, gross, x, at))[i];
            rows.push((
                i,
                format!("| {code} | {name} | {} | {} | {} |", clean[i], dosed(false), dosed(true)),
            ));
        }
    }
    rows.sort_by_key(|(i, _)| *i);
    rows.iter().for_each(|(_, row)| println!("{row}"));
}
