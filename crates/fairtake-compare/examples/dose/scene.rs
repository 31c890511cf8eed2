//! Scenes in which a check is tried, with and without a dose of a defect. Doses are told in `docs/ground-truth.md`.

use crate::sound::{
    Dry, FLOOR, Hearing, Kind, PLAIN, Playing, QUIET_S, RATE_HZ, Random, dry, gain, recorded, rounded,
};
use fairtake_compare::{
    ChainEntry, Mic, PolarPattern, ReadError, Role, Samples, Shootout, Source, StoredAs, Take,
};
use fairtake_signal::bands::BandSet;
use fairtake_signal::spectrum::BandSpectrum;

/// What is recorded with what.
#[derive(Clone, Copy, PartialEq)]
pub enum Scene {
    /// Two takes in turn; both get the dose, each counts.
    Alone,
    /// Two microphones at once; the second gets the dose.
    Together,
    /// Two takes in turn with a witness; the second gets the dose.
    Witness,
    /// Four takes of one microphone, then four of the other.
    Order,
}

/// How much of a defect.
#[derive(Clone, Copy, PartialEq)]
pub enum Size {
    Mild,
    Gross,
}

/// A defect as given.
#[derive(Clone, Copy)]
pub struct Dose {
    pub code: &'static str,
    /// Which form of it, where there are several.
    pub form: &'static str,
    pub scene: Scene,
    /// There is no mild polarity.
    pub has_mild: bool,
}

const fn dose(code: &'static str, form: &'static str, scene: Scene) -> Dose {
    Dose { code, form, scene, has_mild: true }
}

/// All that are tried.
pub const DOSES: [Dose; 18] = [
    dose("clipped", "", Scene::Alone),
    dose("level_low", "", Scene::Alone),
    dose("dc", "", Scene::Alone),
    dose("snr_unknown", "", Scene::Alone),
    dose("snr_low", "", Scene::Alone),
    dose("dropout", "", Scene::Alone),
    dose("repeated_buffer", "", Scene::Alone),
    dose("click", "", Scene::Alone),
    dose("hum", "", Scene::Alone),
    Dose { code: "polarity", form: "", scene: Scene::Together, has_mild: false },
    dose("wrong_channel", "", Scene::Together),
    dose("limiting", "together", Scene::Together),
    dose("distance", "", Scene::Together),
    dose("strength_differs", "drift", Scene::Witness),
    dose("strength_differs", "spread", Scene::Witness),
    dose("limiting", "witness", Scene::Witness),
    dose("order_drift", "", Scene::Order),
    Dose { code: "wrong_channel", form: "silent", scene: Scene::Together, has_mild: false },
];

/// Effective distance of both microphones in mm: 10 mm and a centre 15 mm behind the grille.
pub const DISTANCE_MM: f32 = 25.0;
/// Gradient share of a cardioid.
const GRADIENT_SHARE: f32 = 0.5;

/// How much nearer the microphone is than the other, in mm.
pub fn nearer_mm(size: Size) -> f32 {
    if size == Size::Mild { 3.0 } else { 6.0 }
}

/// Drift from take to take, in dB.
pub fn drift_db(size: Size) -> f32 {
    if size == Size::Mild { 0.5 } else { 2.0 }
}

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

fn take(mic: &str, performance: u32, samples: Vec<f32>) -> Take {
    Take {
        id: format!("{mic}{performance}"),
        file: format!("{mic}{performance}.wav"),
        channel: 1,
        mic: mic.into(),
        source: "made".into(),
        placement: 1,
        performance,
        order: Some(performance),
        position: None,
        role: if mic == "w" { Role::Witness } else { Role::Compared },
        chain: ChainEntry::default(),
        hand_set_events_s: None,
        // What is unfair would be left out, and nothing to compare be left; what is raised is asked for all the same.
        keep_although_unfair: true,
        stored_as: StoredAs {
            format: "made".into(),
            bits: Some(24),
            lossy: false,
            sha256: format!("{mic}{performance}").into(),
        },
        samples: Box::new(Made(samples)),
    }
}

/// What is logged.
pub fn shootout(kind: Kind) -> Shootout {
    let mic = Mic { pattern: Some(PolarPattern::Cardioid), ..Mic::default() };
    let source = Source {
        playing: match kind {
            Kind::Percussive => fairtake_compare::Playing::Percussive,
            Kind::Sustained | Kind::Voice => fairtake_compare::Playing::Sustained,
        },
        distance_mm: Some(10.0),
        radius_mm: Some(0.0),
        ..Source::default()
    };
    Shootout {
        mics: [("a", mic.clone()), ("b", mic)].map(|(k, m)| (k.to_string(), m)).into(),
        sources: [("made".to_string(), source)].into(),
        ..Shootout::default()
    }
}

/// The takes of one trial.
pub fn takes(scene: Scene, kind: Kind, seed: u64, dosed: Option<(Dose, Size)>) -> Vec<Take> {
    let heard = |mic: u64| Hearing::drawn(8 * seed + mic);
    let played = |pass: u64, playing: Playing| dry(kind, seed, 64 * seed + pass, playing);
    // One recording: what is played, heard by a microphone, spoilt where a dose is given, with noise of its own.
    let one = |played: &Dry, mic: u64, pass: u64, dosed: Option<(Dose, Size)>| -> Vec<f32> {
        let mut sound = heard(mic).of(&played.samples);
        if let Some((dose, size)) = dosed {
            spoil_sound(dose.code, size, &mut sound);
        }
        let mut x = recorded(&sound, 64 * seed + 8 * mic + pass);
        if let Some((dose, size)) = dosed {
            spoil_recording(dose, size, &mut x, &played.sounding, seed);
            rounded(&mut x);
        }
        x
    };
    let b_plays = match dosed {
        Some((Dose { code: "strength_differs", form, .. }, size)) => match (form, size) {
            ("drift", Size::Mild) => Playing { rise_db: 5.0, ..PLAIN },
            ("drift", Size::Gross) => Playing { rise_db: 15.0, ..PLAIN },
            (_, Size::Mild) => Playing { spread: 1.5, ..PLAIN },
            (_, Size::Gross) => Playing { spread: 3.5, ..PLAIN },
        },
        _ => PLAIN,
    };
    match scene {
        Scene::Alone => ["a", "b"]
            .into_iter()
            .zip(1..)
            .map(|(mic, i)| take(mic, i as u32, one(&played(i, PLAIN), i, i, dosed)))
            .collect(),
        Scene::Together => {
            let both = played(1, PLAIN);
            vec![take("a", 1, one(&both, 1, 1, None)), take("b", 1, one(&both, 2, 1, dosed))]
        }
        Scene::Witness => {
            let (first, second) = (played(1, PLAIN), played(2, b_plays));
            vec![
                take("a", 1, one(&first, 1, 1, None)),
                take("b", 2, one(&second, 2, 2, dosed)),
                take("w", 1, one(&first, 3, 1, None)),
                take("w", 2, one(&second, 3, 2, None)),
            ]
        }
        Scene::Order => (1..=8)
            .map(|i| {
                let drift = dosed.map_or(0.0, |(_, size)| drift_db(size));
                // Every pass has a strength of its own.
                let own = 0.5 * Random::new(64 * seed + i).normal();
                let playing = Playing { level_db: own + drift * (i as f32 - 4.5), ..PLAIN };
                let (mic, which) = if i <= 4 { ("a", 1) } else { ("b", 2) };
                take(mic, i as u32, one(&played(i, playing), which, i, None))
            })
            .collect(),
    }
}

/// Signal-to-noise as it was made, in dB: sound and noise are known apart. The median over the standard bands of the lower of
/// both microphones', each its mean over the takes of it.
pub fn true_snr_db(scene: Scene, kind: Kind, seed: u64) -> f64 {
    let passes: &[(u64, u64)] = match scene {
        Scene::Alone | Scene::Witness => &[(1, 1), (2, 2)],
        Scene::Together => &[(1, 1), (2, 1)],
        Scene::Order => &[(1, 1), (1, 2), (1, 3), (1, 4), (2, 5), (2, 6), (2, 7), (2, 8)],
    };
    let bands = BandSet::new(12, f64::from(RATE_HZ) / 2.0);
    let mut spectrum = BandSpectrum::new(RATE_HZ, &bands);
    let mut of_mic = [1, 2].map(|_| vec![[0f64; 2]; bands.len()]);
    for (mic, pass) in passes {
        let played = dry(kind, seed, 64 * seed + pass, PLAIN);
        let sound = Hearing::drawn(8 * seed + mic).of(&played.samples);
        let noise = recorded(&vec![0.0; sound.len()], 64 * seed + 8 * mic + pass);
        // What is played begins after the quiet; a power of two of about a third of a second resolves the lowest bands.
        let from = (QUIET_S * RATE_HZ as f32) as usize;
        for (which, samples) in [sound, noise].iter().enumerate() {
            let (power, _) = spectrum.steady_power(&samples[from..], 16_384).expect("takes are longer");
            let sums = &mut of_mic[*mic as usize - 1];
            sums.iter_mut().zip(&power).for_each(|(s, p)| s[which] += p);
        }
    }
    let db = |[sound, noise]: [f64; 2]| 10.0 * (sound / noise).log10();
    let mut lower: Vec<f64> = of_mic[0].iter().zip(&of_mic[1]).map(|(a, b)| db(*a).min(db(*b))).collect();
    lower.sort_by(f64::total_cmp);
    lower[lower.len() / 2]
}

/// What happens before any noise is added.
fn spoil_sound(code: &str, size: Size, x: &mut [f32]) {
    let gross = size == Size::Gross;
    match code {
        "limiting" => limit(x, if gross { 10.0 } else { 1.5 }),
        "distance" => come_nearer(x, nearer_mm(size)),
        "wrong_channel" => x.iter_mut().for_each(|v| *v *= gain(if gross { -60.0 } else { -46.0 })),
        _ => {}
    }
}

/// Gain falls with peaks above a threshold 8 dB below the greatest; it comes back within a tenth of a second.
fn limit(x: &mut [f32], ratio: f32) {
    let threshold = x.iter().fold(0f32, |a, v| a.max(v.abs())) * gain(-8.0);
    let back = (-1.0 / (0.1 * RATE_HZ as f32)).exp();
    let mut peak = 0f32;
    for v in x {
        peak = v.abs().max(peak * back);
        if peak > threshold {
            *v *= (threshold / peak).powf(1.0 - 1.0 / ratio);
        }
    }
}

/// A point source and a cardioid, from the distance of the scene to one that is nearer: (r/r')·(s + Bc/r')/(s + Bc/r), by the
/// bilinear transform.
fn come_nearer(x: &mut [f32], mm: f32) {
    let (from, to) = (f64::from(DISTANCE_MM) / 1000.0, f64::from(DISTANCE_MM - mm) / 1000.0);
    let corner = |r: f64| f64::from(GRADIENT_SHARE) * 343.0 / r;
    let k = 2.0 * f64::from(RATE_HZ);
    let (zero, pole, level) = (corner(to), corner(from), from / to);
    let (b0, b1) = (level * (k + zero) / (k + pole), level * (zero - k) / (k + pole));
    let a1 = (pole - k) / (k + pole);
    let (mut last_x, mut last_y) = (0.0, 0.0);
    for v in x {
        let now = f64::from(*v);
        last_y = b0 * now + b1 * last_x - a1 * last_y;
        last_x = now;
        *v = last_y as f32;
    }
}

fn peak(x: &[f32]) -> f32 {
    x.iter().fold(0f32, |a, v| a.max(v.abs()))
}

/// What happens to the recording.
fn spoil_recording(dose: Dose, size: Size, x: &mut [f32], sounding: &[usize], seed: u64) {
    let gross = size == Size::Gross;
    let places = &sounding[3..if gross { 6 } else { 4 }];
    match dose.code {
        "wrong_channel" if dose.form == "silent" => x.fill(0.0),
        "polarity" => x.iter_mut().for_each(|v| *v = -*v),
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
        "hum" => add_hum(x, FLOOR * if gross { 10.0 } else { 0.5 } * std::f32::consts::SQRT_2),
        "clipped" => {
            let scale = if gross { 4.0 } else { 1.12 } / peak(x);
            x.iter_mut().for_each(|v| *v = (*v * scale).clamp(-1.0, 1.0));
        }
        "level_low" => {
            let scale = gain(if gross { -70.0 } else { -53.0 }) / peak(x);
            x.iter_mut().for_each(|v| *v *= scale);
        }
        "dc" => x.iter_mut().for_each(|v| *v += if gross { 0.05 } else { 0.01 }),
        "snr_unknown" => add_noise(x, 0.3 * peak(x) * gain(if gross { -15.0 } else { -22.0 }), seed),
        "snr_low" => add_noise(x, FLOOR * gain(if gross { 36.0 } else { 24.0 }), seed),
        _ => {}
    }
}

fn add_noise(x: &mut [f32], level: f32, seed: u64) {
    let random = &mut Random::new(seed ^ 0x0add_ed00);
    x.iter_mut().for_each(|v| *v += level * random.normal());
}

/// Partials of the mains; `level` is √2 times the RMS of their sum.
fn add_hum(x: &mut [f32], level: f32) {
    let parts = [(50.0, 0.8), (100.0, 0.4), (150.0, 0.4), (250.0, 0.2)];
    for (i, v) in x.iter_mut().enumerate() {
        let t = (i % RATE_HZ as usize) as f32 / RATE_HZ as f32;
        let tone: f32 = parts.iter().map(|(hz, p)| p * (std::f32::consts::TAU * hz * t).sin()).sum();
        *v += level * tone;
    }
}
