//! The report as a reader gets it: whole, self-contained, and saying what the findings say.

use fairtake_compare::{
    ChainEntry, Comparison, Findings, ReadError, Role, Samples, Settings, Shootout, StoredAs, Take, compare,
};
use fairtake_report::figure::{Corridor, Layout, draw};
use fairtake_report::page::page;

const RATE_HZ: u32 = 16_000;

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
fn hits(seed: u64, gain: f32) -> Vec<f32> {
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

fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
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

fn findings(takes: Vec<Take>) -> Findings {
    let asked =
        Comparison { reference: None, pair: None, source: None, recognised: None, version: "test".into() };
    let settings = Settings { resamples: 200, ..Settings::standard() };
    compare(&takes, &Shootout::default(), &settings, &asked).expect("two takes compare").findings
}

fn in_turn() -> Findings {
    findings(vec![take("heron", 1, hits(1, 1.0)), take("moor<hen> & \"co\"", 2, hits(2, 0.5))])
}

#[test]
fn the_report_says_every_finding_and_asks_nothing_of_a_network() {
    let findings = in_turn();
    let html = page(&findings);
    for f in &findings.comparisons[0].findings {
        let text =
            f.text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
        assert!(html.contains(&text), "{} is not in the report", f.text);
    }
    for check in &findings.checks {
        assert!(html.contains(&check.code.replace('_', " ")), "{} is not in the report", check.code);
    }
    let names_a_place = html.replace("http://www.w3.org/2000/svg", "");
    assert!(!names_a_place.contains("http") && !names_a_place.contains("<script"), "the file stands alone");
}

#[test]
fn names_cannot_break_out_of_the_page() {
    let html = page(&in_turn());
    assert!(!html.contains("moor<hen>"));
    assert!(html.contains("moor&lt;hen&gt; &amp; &quot;co&quot;"));
}

#[test]
fn the_picture_shows_every_judged_region_and_nothing_outside_its_frame() {
    let findings = in_turn();
    let c = &findings.comparisons[0];
    for layout in [Layout::WIDE, Layout::NARROW] {
        let svg = draw(&Corridor::new(&findings, c), &layout);
        let shown = c.regions.iter().filter(|r| r.to_hz > 20.0 && r.from_hz < 20_000.0).count();
        assert_eq!(svg.matches("class=\"segment").count(), shown);
        for path in svg.split("<path d=\"").skip(1).filter_map(|p| p.split('"').next()) {
            for point in path.split(['M', 'L', 'Z']).filter(|p| !p.is_empty()) {
                let x: f64 = point.split(' ').next().and_then(|x| x.parse().ok()).expect("a number");
                assert!((0.0..=layout.width).contains(&x), "{point}");
            }
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}

#[test]
fn what_is_not_known_is_said_to_be_unknown() {
    // Two hits each: no spread, no interval, no verdict.
    let few = |seed| hits(seed, 1.0)[..3 * RATE_HZ as usize].to_vec();
    let findings = findings(vec![take("heron", 1, few(1)), take("moorhen", 2, few(2))]);
    assert_eq!(findings.comparisons[0].degrees_of_freedom, None);
    let html = page(&findings);
    assert!(html.contains("too few to know the spread"));
    assert!(html.contains("interval unknown"));
    assert!(!html.contains("NaN"));
}
