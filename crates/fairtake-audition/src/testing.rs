//! Takes in memory and their findings, for tests.

use fairtake_compare::{
    ChainEntry, Comparison, Measurement, Playing, ReadError, Role, Samples, Settings, Shootout, Source,
    StoredAs, Take, compare,
};

/// Sampling rate of what is made, unless another is asked for.
pub(crate) const RATE_HZ: u32 = 48_000;

/// Samples in memory.
struct Made(u32, Vec<f32>);

impl Samples for Made {
    fn rate_hz(&self) -> u32 {
        self.0
    }
    fn frames(&self) -> u64 {
        self.1.len() as u64
    }
    fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
        let left = &self.1[(start as usize).min(self.1.len())..];
        let n = out.len().min(left.len());
        out[..n].copy_from_slice(&left[..n]);
        Ok(n)
    }
}

/// Numbers that look random, in −1..1, the same for the same seed.
pub(crate) fn random(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / (1u64 << 23) as f64 - 1.0
    }
}

/// Bursts of noise that die away over about 0.3 s, at these onsets in seconds, over a floor of noise.
pub(crate) fn hits(rate_hz: u32, seed: u64, onsets_s: &[f64], length_s: f64) -> Vec<f32> {
    let (mut noise, rate) = (random(seed), f64::from(rate_hz));
    let mut out: Vec<f32> = (0..(length_s * rate) as usize).map(|_| (noise() * 1e-4) as f32).collect();
    for (i, onset_s) in onsets_s.iter().enumerate() {
        let strength = 0.1 + 0.02 * (i % 4) as f64;
        let start = (onset_s * rate).round() as usize;
        for k in 0..((0.5 * rate) as usize).min(out.len().saturating_sub(start)) {
            out[start + k] += (strength * noise() * (-(k as f64) / (0.05 * rate)).exp()) as f32;
        }
    }
    out
}

/// A hit every second, twelve of them, from the first second on.
pub(crate) fn every_second() -> Vec<f64> {
    (1..=12).map(f64::from).collect()
}

/// Noise that is held from `from_s` on, over a floor of noise.
pub(crate) fn held(seed: u64, from_s: f64, length_s: f64) -> Vec<f32> {
    let (mut noise, rate) = (random(seed), f64::from(RATE_HZ));
    (0..(length_s * rate) as usize)
        .map(|i| (noise() * if (i as f64) < from_s * rate { 1e-5 } else { 0.1 }) as f32)
        .collect()
}

/// A take by `mic` at the first placement.
pub(crate) fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    take_at(RATE_HZ, mic, 1, performance, samples)
}

/// A take at a rate and placement.
pub(crate) fn take_at(rate_hz: u32, mic: &str, placement: u32, performance: u32, samples: Vec<f32>) -> Take {
    Take {
        id: format!("{mic}-{performance}"),
        file: format!("{mic}-{performance}.wav"),
        channel: 1,
        mic: mic.into(),
        source: "drum".into(),
        placement,
        performance,
        order: None,
        position: None,
        role: Role::Compared,
        chain: ChainEntry::default(),
        hand_set_events_s: None,
        keep_although_unfair: false,
        stored_as: StoredAs {
            format: "made".into(),
            bits: Some(24),
            lossy: false,
            sha256: format!("{mic}{performance}").into(),
        },
        samples: Box::new(Made(rate_hz, samples)),
    }
}

/// What is found among takes of the source `drum`.
pub(crate) fn found(takes: &[Take], playing: Playing) -> Measurement {
    found_with(takes, Source { playing, ..Source::default() }, Settings::standard())
}

/// The same with a source as logged and settings.
pub(crate) fn found_with(takes: &[Take], source: Source, settings: Settings) -> Measurement {
    let mut shootout = Shootout::default();
    shootout.sources.insert("drum".into(), source);
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "0".into() };
    // Few resamples: intervals are not looked at here.
    let settings = Settings { resamples: 50, ..settings };
    compare(takes, &shootout, &settings, &asked).expect("made takes can be compared")
}
