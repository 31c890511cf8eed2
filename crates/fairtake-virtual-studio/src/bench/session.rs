//! A whole session of measurements in the boathouse, with a loudspeaker, a calibrator and four invented microphones, as takes
//! and a log. Every answer is a formula.

use super::calibrator::ToneTake;
use super::linear::{Chain, Filter, through};
use super::loudspeaker::{Distortion, Loudspeaker};
use super::recorder::Recorder;
use super::room::Room;
use super::self_noise::{SelfNoise, with_room};
use fairtake_transform::Complex;
use std::f64::consts::TAU;

/// Speed of sound at the session's 20 °C in m/s.
///
/// # Source
/// ISO 9613-1:1993, Formula (A.5); see `reference/06_speed_of_sound.csv`.
const SPEED_M_S: f64 = 343.2;
/// Sound pressure that a sine at full scale makes 1 m before the loudspeaker, in Pa (amplitude).
pub const PA_PER_FULL_SCALE: f64 = 4.0;
/// Amplitude at the converter's input at full scale, in V: 12 dB re 1 V for a sine's effective value.
const FULL_SCALE_DBV: f64 = 12.0;
/// Distance of the standard set-up in mm.
const DISTANCE_MM: f64 = 1000.0;
/// How much faster the recorder's clock runs than the player's, in parts per million.
const DRIFT_PPM: f64 = 17.0;
/// Gain of the preamp near the loudspeaker, in dB.
const NEAR_GAIN_DB: f64 = 6.0;
/// Free-field less pressure response of the measurement microphone at 1 kHz in dB, as the log has it.
const FREE_FIELD_DB: f64 = 0.1;
/// What absorbers in a corner of the boathouse leave of its walls' reflections.
const ABSORBED: f64 = 0.25;
/// Length of the takes of silence in seconds.
const SILENCE_S: f64 = 40.0;
/// A millimetre that nobody can avoid: how far placements of one set-up lie apart, in mm.
const PLACEMENTS_MM: [f64; 3] = [0.0, 1.5, -1.0];

/// A microphone of the session.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchMicrophone {
    /// Key in the log.
    pub key: &'static str,
    /// Sensitivity at 1 kHz in mV/Pa.
    pub mv_per_pa: f64,
    /// Response on the axis to a plane wave, 0 dB at 1 kHz but for a remainder.
    pub response: Chain,
    /// Share of the pressure gradient.
    pub gradient_share: f64,
    /// Acoustic centre behind the grille in mm.
    pub centre_mm: f64,
    /// Second-order distortion for 1 Pa.
    pub square_per_pa: f64,
    /// Third-order distortion for 1 Pa squared.
    pub cube_per_pa2: f64,
    /// Its noise as sound of so many dB SPL, effective value, unweighted.
    pub noise_spl_db: f64,
    /// Gain of the preamp in dB.
    pub gain_db: f64,
}

/// The session's microphones: a measurement microphone, a condenser and its twin of the same make, and a dynamic one.
pub fn microphones() -> [BenchMicrophone; 4] {
    let heron = BenchMicrophone {
        key: "heron",
        mv_per_pa: 20.0,
        response: Chain(vec![
            Filter::HighPass { hz: 25.0, q: 0.7 },
            Filter::Peak { hz: 9000.0, q: 1.0, db: 4.0 },
            Filter::Slope { hz: 30_000.0 },
        ]),
        gradient_share: 0.5,
        centre_mm: 12.0,
        square_per_pa: 1.1e-3,
        cube_per_pa2: 2e-5,
        noise_spl_db: 16.0,
        gain_db: 30.0,
    };
    // No two of a make are alike: a little more sensitive, with a dip of its own.
    let twin = BenchMicrophone {
        key: "heron-b",
        mv_per_pa: 21.5,
        response: Chain(
            heron.response.0.iter().cloned().chain([Filter::Peak { hz: 5500.0, q: 2.0, db: -1.2 }]).collect(),
        ),
        ..heron.clone()
    };
    [
        BenchMicrophone {
            key: "tern",
            mv_per_pa: 12.0,
            response: Chain(vec![Filter::Peak { hz: 12_000.0, q: 0.8, db: 1.5 }]),
            gradient_share: 0.0,
            centre_mm: 0.0,
            square_per_pa: 2e-6,
            cube_per_pa2: 0.0,
            noise_spl_db: 24.0,
            gain_db: 34.0,
        },
        heron,
        twin,
        BenchMicrophone {
            key: "moorhen",
            mv_per_pa: 1.8,
            response: Chain(vec![
                Filter::HighPass { hz: 55.0, q: 0.7 },
                Filter::Peak { hz: 5000.0, q: 1.0, db: 5.0 },
                Filter::LowPass { hz: 15_000.0, q: 0.7 },
            ]),
            gradient_share: 0.634,
            centre_mm: 18.0,
            square_per_pa: 1e-4,
            cube_per_pa2: 0.0,
            noise_spl_db: 22.0,
            gain_db: 50.0,
        },
    ]
}

impl BenchMicrophone {
    /// Response to a point source at a distance from the acoustic centres and an angle, re a plane wave on the axis at 1 kHz.
    pub fn heard(&self, hz: f64, distance_m: f64, angle_deg: f64) -> Complex<f64> {
        let b = self.gradient_share;
        let near = Complex::new(1.0, -SPEED_M_S / (TAU * hz.max(1.0) * distance_m));
        let pattern = (1.0 - b) + b * angle_deg.to_radians().cos() * near;
        self.response.response(hz) * pattern
    }

    /// Samples for pressure in Pa.
    pub fn full_scale_per_pa(&self) -> f64 {
        let volts = self.mv_per_pa / 1000.0 * 10f64.powf(self.gain_db / 20.0);
        volts / (10f64.powf(FULL_SCALE_DBV / 20.0) * 2f64.sqrt())
    }

    /// What a reflection from anywhere meets: the root of the random energy efficiency.
    fn random_gain(&self) -> f64 {
        let b = self.gradient_share;
        ((1.0 - b).powi(2) + b * b / 3.0).sqrt()
    }
}

/// One take of the session and what the log says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchSceneTake {
    /// Path from the folder.
    pub file: String,
    /// The rest of its entry in the log, line by line.
    pub logged: String,
    /// The samples, at the rate of the excitations.
    pub samples: Vec<f32>,
}

/// A session.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchScene {
    /// The log but for the takes.
    pub log_head: String,
    /// The takes.
    pub takes: Vec<BenchSceneTake>,
    /// Text files of the log: path from the folder, and text.
    pub texts: Vec<(&'static str, String)>,
}

/// What is played: path from the folder, and samples.
pub struct Played<'a> {
    /// Path from the folder.
    pub file: &'a str,
    /// The samples.
    pub samples: &'a [f32],
}

/// The log of the session, but for its takes.
const LOG_HEAD: &str = include_str!("session.toml");

/// What plays; its distortion is of full scale.
pub fn loudspeaker() -> Loudspeaker {
    Loudspeaker {
        distortion: Some(Distortion::memoryless(&[(2, 1e-3), (3, 1e-3)])),
        response: Chain(vec![
            Filter::HighPass { hz: 55.0, q: 0.8 },
            Filter::Peak { hz: 1500.0, q: 1.2, db: -2.0 },
            Filter::Slope { hz: 25_000.0 },
        ]),
    }
}

/// Renders the session: takes of a response over `sweep`, one over `steps` with several levels, a calibrator, silence.
pub fn session(sweep: &Played, steps: &Played, rate_hz: u32, seed: u64) -> BenchScene {
    let mut made = Making { rate_hz, seed, takes: Vec::new() };
    let [tern, heron, twin, moorhen] = microphones();
    let loudspeaker = loudspeaker();
    let rate = f64::from(rate_hz);
    let sound = |played: &Played| {
        let samples: Vec<f64> = played.samples.iter().map(|x| PA_PER_FULL_SCALE * f64::from(*x)).collect();
        // The bend is of full scale, not of pascals.
        let unit = Loudspeaker {
            distortion: loudspeaker.distortion.clone().map(|d| Distortion {
                terms: d.terms.iter().map(|(n, c)| (*n, c / PA_PER_FULL_SCALE.powi(*n as i32 - 1))).collect(),
                ..d
            }),
            ..loudspeaker.clone()
        };
        unit.play(&samples, rate, 0.1)
    };
    let (swept, stepped) = (sound(sweep), sound(steps));
    for repeat in 1..=3 {
        made.calibrated(&tern, repeat);
    }
    for mic in [&tern, &heron, &twin, &moorhen] {
        for (i, off_mm) in PLACEMENTS_MM.iter().enumerate() {
            let spot = Spot { distance_mm: DISTANCE_MM, off_mm: *off_mm, angle_deg: 0.0, placement: i + 1 };
            made.response(mic, "axis", sweep.file, &swept, &spot);
        }
    }
    let other_side = [-30, -60, -90, -120];
    for angle_deg in (15..=180).step_by(15).chain(other_side).map(f64::from) {
        let spot = Spot { distance_mm: DISTANCE_MM, off_mm: 0.0, angle_deg, placement: 1 };
        let side = if angle_deg < 0.0 { "minus-" } else { "" };
        made.response(&heron, &format!("{side}{:03}deg", angle_deg.abs()), sweep.file, &swept, &spot);
    }
    // Near the loudspeaker it is loud: the gain is turned down for all of these.
    let down = |mic: &BenchMicrophone| BenchMicrophone { gain_db: NEAR_GAIN_DB, ..mic.clone() };
    let (tern, heron) = ([&tern, &down(&tern)], [&heron, &down(&heron)]);
    for distance_mm in [60.0, 100.0, 160.0, 250.0, 400.0, 630.0] {
        let spot = Spot { distance_mm, off_mm: 0.0, angle_deg: 0.0, placement: 1 };
        made.response(heron[1], &format!("{distance_mm:03}mm"), sweep.file, &swept, &spot);
    }
    for mic in [tern[1], heron[1]] {
        let spot = Spot { distance_mm: 200.0, off_mm: 0.0, angle_deg: 0.0, placement: 4 };
        made.response(mic, "steps", steps.file, &stepped, &spot);
    }
    let (tern, heron) = (tern[0], heron[0]);
    made.silence(heron, tern);
    let points = |db: &dyn Fn(f64) -> f64, round: f64| {
        let hz = |i: i32| 20.0 * 2f64.powf(f64::from(i) / 3.0);
        (0..=30)
            .map(|i| format!("{:.1} {:.2}\n", hz(i), (db(hz(i)) / round).round() * round))
            .collect::<String>()
    };
    let relative = |mic: &BenchMicrophone, hz: f64| mic.response.db(hz) - mic.response.db(1000.0);
    BenchScene {
        log_head: LOG_HEAD.to_string(),
        takes: made.takes,
        texts: vec![
            ("tern.txt", format!("# Tern M1, free field, dB\n{}", points(&|hz| relative(tern, hz), 0.01))),
            (
                "heron-published.txt",
                format!("# Heron 3, as published\n{}", points(&|hz| 0.8 * relative(heron, hz), 0.5)),
            ),
            (
                "heron-tolerance.txt",
                "# Hz, lowest dB, highest dB\n40 -5 2\n100 -2 2\n5000 -2 3\n9000 -1 5\n15000 -6 4\n"
                    .to_string(),
            ),
        ],
    }
}

/// Where a microphone stands.
struct Spot {
    /// As it is logged, in mm.
    distance_mm: f64,
    /// By how much it is off that, in mm.
    off_mm: f64,
    angle_deg: f64,
    placement: usize,
}

struct Making {
    rate_hz: u32,
    seed: u64,
    takes: Vec<BenchSceneTake>,
}

impl Making {
    fn next_seed(&self) -> u64 {
        self.seed.wrapping_mul(1000).wrapping_add(self.takes.len() as u64)
    }

    fn calibrated(&mut self, mic: &BenchMicrophone, repeat: usize) {
        // 94 dB SPL are 20 µPa·10^(94/20), effective value; levels are those of a sine re one at full scale.
        let pascals = 20e-6 * 10f64.powf(94.0 / 20.0);
        // In the coupler it reads less than in the free field by what its manual states.
        let dbfs = 20.0 * (pascals * 2f64.sqrt() * mic.full_scale_per_pa()).log10() - FREE_FIELD_DB;
        let tone = ToneTake { rate_hz: self.rate_hz, ..ToneTake::good(dbfs) };
        let logged = format!("mic = \"{}\"\nrole = \"calibrator\"\ngain_db = {}\n", mic.key, mic.gain_db);
        let samples = tone.samples(self.next_seed());
        self.takes.push(BenchSceneTake {
            file: format!("takes/{}-calibrator-{repeat}.wav", mic.key),
            logged,
            samples,
        });
    }

    fn response(&mut self, mic: &BenchMicrophone, what: &str, played: &str, sound: &[f64], spot: &Spot) {
        let rate = f64::from(self.rate_hz);
        let r = (spot.distance_mm + spot.off_mm + mic.centre_mm) / 1000.0;
        let room = Room::with_walls(0.0085, 0.25);
        // Reflections come from everywhere, and lose less on their way than the direct sound of a far source.
        let reflected = ABSORBED * mic.random_gain() * r;
        let pressure = through(sound, rate, 0.3, |hz| {
            let direct = mic.heard(hz, r, spot.angle_deg) / r;
            let around = mic.response.response(hz) * (room.response(hz) - 1.0) * reflected / r;
            (direct + around) * Filter::Delay { s: r / SPEED_M_S }.response(hz)
        });
        let bent = Loudspeaker {
            distortion: Some(Distortion::memoryless(&[(2, mic.square_per_pa), (3, mic.cube_per_pa2)])),
            response: Chain::default(),
        };
        let heard = bent.play(&pressure, rate, 0.0);
        let per_pa = mic.full_scale_per_pa();
        let signal: Vec<f64> = heard.iter().map(|p| per_pa * p).collect();
        // A quiet room, 32 dB SPL, with the microphone's own noise.
        let noise_pa = 20e-6 * (10f64.powf(32.0 / 10.0) + 10f64.powf(mic.noise_spl_db / 10.0)).sqrt();
        let recorder = Recorder {
            drift_ppm: DRIFT_PPM,
            noise_dbfs: Some(20.0 * (noise_pa * per_pa).log10()),
            seed: self.next_seed(),
            ..Recorder::faultless()
        };
        let mut logged = format!(
            "mic = \"{}\"\nsource = \"box\"\nrole = \"response\"\nexcitation = \"{played}\"\ndistance_mm = {}\nplacement = {}\ngain_db = {}\n",
            mic.key, spot.distance_mm, spot.placement, mic.gain_db
        );
        if spot.angle_deg != 0.0 {
            logged += &format!("angle_deg = {}\n", spot.angle_deg);
        }
        let name = if what == "axis" { format!("axis-{}", spot.placement) } else { what.to_string() };
        let samples = recorder.record(&signal, rate);
        self.takes.push(BenchSceneTake { file: format!("takes/{}-{name}.wav", mic.key), logged, samples });
    }

    /// A microphone's silence, another one beside it, and the chain alone.
    fn silence(&mut self, mic: &BenchMicrophone, beside: &BenchMicrophone) {
        let noise = |spl_db: f64, per_pa: f64| {
            let rms = 20e-6 * 10f64.powf(spl_db / 20.0) * per_pa;
            SelfNoise { white_rms: rms, low_rms: 0.2 * rms, ..SelfNoise::clean(self.rate_hz) }
        };
        let per_pa = [mic.full_scale_per_pa(), beside.full_scale_per_pa()];
        let seed = self.next_seed();
        let mut own = noise(mic.noise_spl_db, per_pa[0]).samples(SILENCE_S, seed);
        let mut other = noise(beside.noise_spl_db, per_pa[1]).samples(SILENCE_S, seed + 1);
        let room = noise(2.0, 1.0).samples(SILENCE_S, seed + 2);
        with_room(&mut own, &mut other, &room, per_pa);
        let chain = noise(mic.noise_spl_db - 12.0, per_pa[0]).samples(SILENCE_S, seed + 3);
        for (mic, role, samples) in
            [(mic, "self-noise", own), (beside, "ambient", other), (mic, "chain-noise", chain)]
        {
            let performance = if role == "chain-noise" { 101 } else { 100 };
            let logged = format!(
                "mic = \"{}\"\nrole = \"{role}\"\nperformance = {performance}\ngain_db = {}\n",
                mic.key, mic.gain_db
            );
            self.takes.push(BenchSceneTake {
                file: format!("takes/{}-{role}.wav", mic.key),
                logged,
                samples,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_wave_at_1_khz_makes_the_stated_voltage() {
        for mic in microphones() {
            // Far away the gradient adds nothing, and the responses are 0 dB at 1 kHz but for what their bends leave there.
            let far = mic.heard(1000.0, 1e6, 0.0).norm();
            assert!((20.0 * far.log10()).abs() < 0.3, "{}: {far}", mic.key);
        }
        let cardioid = &microphones()[1];
        assert!(cardioid.heard(1000.0, 1e6, 180.0).norm() < 1e-3);
        // Exact: |1 + B/(jkr)| of a first-order receiver, B = 0.5, at 100 Hz and 100 mm.
        let near = (cardioid.heard(100.0, 0.1, 0.0) / cardioid.heard(100.0, 1e6, 0.0)).norm();
        let kr = TAU * 100.0 * 0.1 / SPEED_M_S;
        assert!((near - (1.0 + (0.5 / kr).powi(2)).sqrt()).abs() < 1e-3, "{near}");
    }

    #[test]
    fn nothing_of_the_session_is_clipped_and_every_take_is_logged() {
        // Half a second at 100 Hz and −12 dBFS, where loudspeaker and proximity together are strongest.
        let tick: Vec<f32> =
            (0..24_000).map(|i| (0.25 * (TAU * 100.0 * f64::from(i) / 48_000.0).sin()) as f32).collect();
        let played = |file| Played { file, samples: &tick };
        let scene = session(&played("sweep.wav"), &played("steps.wav"), 48_000, 1);
        assert_eq!(scene.takes.len(), 3 + 12 + 12 + 4 + 6 + 2 + 3);
        for take in &scene.takes {
            let peak = take.samples.iter().fold(0f32, |p, x| p.max(x.abs()));
            assert!(peak > 1e-6 && peak < 0.9, "{}: {peak}", take.file);
            assert!(take.logged.contains("gain_db") && take.logged.contains("role"), "{}", take.logged);
        }
    }
}
