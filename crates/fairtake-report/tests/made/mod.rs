//! A scene in memory for the tests of this crate: two microphones, one drum, twelve hits each.

#![allow(dead_code, reason = "each test file uses a part of it")]

use fairtake_compare::{
    ChainEntry, Comparison, Findings, ReadError, Role, Samples, Settings, Shootout, StoredAs, Take, compare,
};
use fairtake_report::figure::{Corridor, Letters, Still};
use std::sync::OnceLock;

pub const RATE_HZ: u32 = 16_000;

/// Samples in memory.
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

/// Bursts of noise that die away, twelve of them after a second of quiet, of a strength that varies.
pub fn hits(seed: u64, gain: f32) -> Vec<f32> {
    let mut state = seed;
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let second = RATE_HZ as usize;
    let mut out: Vec<f32> = (0..14 * second).map(|_| noise() * 1e-4).collect();
    for hit in 0..12 {
        let strength = gain * (0.2 + 0.02 * (hit % 4) as f32);
        for i in 0..second / 2 {
            out[(hit + 1) * second + i] += strength * noise() * (-(i as f32) / 800.0).exp();
        }
    }
    out
}

pub fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    Take {
        id: format!("{mic}:{performance}"),
        file: format!("{mic}-{performance}.wav"),
        channel: 1,
        mic: mic.into(),
        source: "drum".into(),
        placement: 1,
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
        samples: Box::new(Made(samples)),
    }
}

pub fn findings(takes: Vec<Take>) -> Findings {
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "test".into() };
    let settings = Settings { resamples: 200, ..Settings::standard() };
    compare(&takes, &Shootout::default(), &settings, &asked).expect("two takes compare").findings
}

/// Both microphones in turn; the second hears less of the highs, and all at half the level.
pub fn in_turn(reference: &str, against: &str) -> Findings {
    let mut duller = hits(2, 0.5);
    let mut before = 0.0;
    for sample in &mut duller {
        before += 0.35 * (*sample - before);
        *sample = before;
    }
    findings(vec![take(reference, 1, hits(1, 1.0)), take(against, 2, duller)])
}

pub const SHAPES: [(u32, u32); 3] = [(960, 540), (600, 600), (540, 960)];

/// Two microphones on one drum, compared once for all tests.
pub fn drum() -> Findings {
    static FINDINGS: OnceLock<Findings> = OnceLock::new();
    FINDINGS.get_or_init(|| in_turn("heron", "moorhen")).clone()
}

pub fn corridor(findings: &Findings) -> Corridor {
    Corridor::new(findings, &findings.comparisons[0])
}

/// Every shape and size of letters, as small as it may be asked for here.
pub fn stills() -> Vec<Still> {
    let letters = [Letters::Usual, Letters::Large];
    let still = |(width, height), letters| Still { width, height, letters, ..Still::SCREEN };
    SHAPES.iter().flat_map(|shape| letters.map(|l| still(*shape, l))).collect()
}

/// Width, height and four bytes a pixel of a PNG.
pub fn read(bytes: &[u8]) -> (u32, u32, Vec<[u8; 4]>) {
    let mut reader = ::png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut pixels).expect("an image");
    let n_channels = info.color_type.samples();
    let of = |p: &[u8]| [p[0], p[1], p[2], if n_channels == 4 { p[3] } else { 255 }];
    (info.width, info.height, pixels[..info.buffer_size()].chunks_exact(n_channels).map(of).collect())
}
