//! The statistical model behind the curve tier: its sizes are drawn anew for every comparison.

use crate::bands::twelfth_octaves;
use crate::cells::{Cell, MicPair};
use crate::curve::{identical, sustained};
use crate::field::{SmoothField, between, heavy_tail, normal};
use fairtake_compare::{BandSpan, SettingUp, distance_change_db};
use fairtake_signal::weighting::k_power;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// Distance errors are drawn from this many equally likely values, so that their mean effect is known exactly.
const N_DISTANCES: usize = 33;

/// Speed of sound in the made rooms.
const SPEED_OF_SOUND_M_S: f64 = 343.4;

/// What is fixed within one comparison: source, microphones, bands.
#[derive(Debug, Clone)]
pub(crate) struct Scene {
    pub(crate) bands: Vec<BandSpan>,
    /// Source + microphone per band: reference, against, witness.
    base: [Vec<f64>; 3],
    /// Mean effect of setting up, per side.
    mean_placed: [Vec<f64>; 3],
    /// Mean effect of the echo, the same for all.
    mean_echo: Vec<f64>,
    k: Vec<f64>,
}

impl Scene {
    /// Band levels of one event.
    pub(crate) fn levels(&self, side: usize, parts: &[&[f64]]) -> Vec<f64> {
        let mut row = self.base[side].clone();
        for part in parts {
            row.iter_mut().zip(*part).for_each(|(r, p)| *r += p);
        }
        row
    }

    /// Event loudness and plain level of one row of band levels.
    pub(crate) fn loudness_and_rms(&self, row: &[f64]) -> [f64; 2] {
        let (mut weighted, mut plain) = (0.0, 0.0);
        for (db, k) in row.iter().zip(&self.k) {
            // 10^(x/10) = e^(x·ln 10/10)
            let energy = (db * std::f64::consts::LN_10 / 10.0).exp();
            weighted += k * energy;
            plain += energy;
        }
        [-0.691 + 10.0 * (weighted / 0.4).log10(), 10.0 * plain.log10()]
    }

    /// Expected band levels over setting up, playing and events.
    pub(crate) fn expected_curve(&self, side: usize) -> Vec<f64> {
        self.levels(side, &[&self.mean_placed[side]])
    }

    /// The same with the mean effect of the echo, which both microphones share.
    pub(crate) fn expected_spectrum(&self, side: usize) -> Vec<f64> {
        self.levels(side, &[&self.mean_placed[side], &self.mean_echo])
    }

    /// Share of every band in the loudness: the derivative of loudness by band level.
    pub(crate) fn shares(&self, side: usize) -> Vec<f64> {
        let energy: Vec<f64> =
            self.base[side].iter().zip(&self.k).map(|(db, k)| k * 10f64.powf(db / 10.0)).collect();
        let total: f64 = energy.iter().sum();
        energy.into_iter().map(|e| e / total).collect()
    }
}

/// One draw of everything that varies; both microphones set up with the same random numbers.
pub(crate) struct Draw {
    pub(crate) placed: [Vec<f64>; 2],
    pub(crate) played: Vec<f64>,
    pub(crate) event: Vec<f64>,
    pub(crate) own: Vec<f64>,
}

/// Sizes of what varies, for one comparison.
struct Sizes {
    strength_db: f64,
    brighter_per_db: f64,
    timbre_db: f64,
    rough_db: f64,
    own_db: f64,
    low_scatter_db: f64,
    take_strength_db: f64,
    take_tilt_db: f64,
    take_timbre_db: f64,
    angle_db: f64,
    echo_gain: f64,
    echo_s: f64,
}

/// The generator of one comparison.
pub(crate) struct Model {
    rng: ChaCha8Rng,
    scene: Scene,
    octaves: Vec<f64>,
    sizes: Sizes,
    /// Per band what an event scatters by itself, and what is one microphone's own, in dB.
    scatter: Vec<(f64, f64)>,
    timbre: SmoothField,
    angle: SmoothField,
    /// Change per distance value and band, per side.
    distances: [Vec<Vec<f64>>; 3],
    setting_up: SettingUp,
}

impl Model {
    pub(crate) fn new(cell: &Cell, seed: u64) -> Model {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let bands = twelfth_octaves();
        let hz: Vec<f64> = bands.iter().map(|b| b.centre_hz()).collect();
        let octaves: Vec<f64> = hz.iter().map(|f| (f / 1000.0).log2()).collect();
        let sizes = Sizes {
            strength_db: between(&mut rng, 1.0, 3.0),
            brighter_per_db: between(&mut rng, 0.0, 0.15),
            timbre_db: between(&mut rng, 0.3, 1.5),
            rough_db: between(&mut rng, 0.3, 1.5),
            own_db: between(&mut rng, 0.15, 0.5),
            low_scatter_db: if sustained(cell) { 0.5 } else { between(&mut rng, 0.5, 2.0) },
            take_strength_db: between(&mut rng, 0.5, 2.0),
            take_tilt_db: between(&mut rng, 0.05, 0.3),
            take_timbre_db: between(&mut rng, 0.1, 0.6),
            angle_db: between(&mut rng, 0.4, 1.6),
            echo_gain: between(&mut rng, 0.02, 0.12),
            echo_s: between(&mut rng, 0.001, 0.006),
        };
        let timbre = SmoothField::new(&octaves, between(&mut rng, 0.4, 1.5));
        let angle = SmoothField::new(&octaves, between(&mut rng, 0.3, 0.8));
        let source = source_curve(&mut rng, &octaves);
        let k: Vec<f64> = hz.iter().map(|f| k_power(*f)).collect();
        let (gradient, mics) = microphones(cell, &mut rng, &octaves, &hz, &source, &k);
        let base = mics.map(|m| source.iter().zip(&m).map(|(s, m)| s + m).collect());
        let (distances, distance_mm) = distance_tables(&mut rng, &hz, gradient);
        let setting_up = SettingUp {
            distance_mm,
            radius_mm: None,
            gradient_share: [gradient[0], gradient[1]],
            centre_offset_mm: [15.0, 15.0],
            speed_of_sound_m_s: SPEED_OF_SOUND_M_S,
        };
        let mean_placed = [0, 1, 2].map(|side: usize| {
            (0..hz.len())
                .map(|b| {
                    distances[side].iter().map(|row: &Vec<f64>| row[b]).sum::<f64>() / N_DISTANCES as f64
                })
                .collect()
        });
        // Low bands hold few cycles of a short event and scatter more.
        let more = |hz: &f64| (50.0 / hz).sqrt().min(1.5);
        let scatter = hz
            .iter()
            .map(|f| {
                let (event, own) = (sizes.low_scatter_db * more(f), 0.4 * sizes.low_scatter_db * more(f));
                (sizes.rough_db.hypot(event), sizes.own_db.hypot(own))
            })
            .collect();
        let mean_echo = hz.iter().map(|f| mean_echo_db(&sizes, *f)).collect();
        let scene = Scene { bands, base, mean_placed, mean_echo, k };
        Model { rng, scene, octaves, sizes, scatter, timbre, angle, distances, setting_up }
    }

    pub(crate) fn scene(&self) -> Scene {
        self.scene.clone()
    }

    /// What a log would say of the setting-up.
    pub(crate) fn setting_up_as_logged(&self) -> SettingUp {
        self.setting_up
    }

    pub(crate) fn n_bands(&self) -> usize {
        self.octaves.len()
    }

    /// Effect of setting one microphone up: distance, angle, one echo. Includes the mean effect.
    pub(crate) fn placed(&mut self, side: usize) -> Vec<f64> {
        let draw = self.setting_up();
        self.placed_with(side, &draw)
    }

    fn setting_up(&mut self) -> (usize, Vec<f64>, f64) {
        let distance = (between(&mut self.rng, 0.0, N_DISTANCES as f64) as usize).min(N_DISTANCES - 1);
        let tail = heavy_tail(&mut self.rng);
        let angle = self.angle.draw(&mut self.rng).iter().map(|v| v * tail).collect();
        (distance, angle, normal(&mut self.rng))
    }

    fn placed_with(&self, side: usize, setting_up: &(usize, Vec<f64>, f64)) -> Vec<f64> {
        self.placed_with_echo(side, setting_up, &self.echo(setting_up))
    }

    /// The echo of a setting-up in every band, the same on both sides.
    fn echo(&self, (_, _, echo): &(usize, Vec<f64>, f64)) -> Vec<f64> {
        self.scene.bands.iter().map(|band| echo_db(&self.sizes, band.centre_hz(), *echo)).collect()
    }

    fn placed_with_echo(
        &self,
        side: usize,
        (distance, angle, _): &(usize, Vec<f64>, f64),
        echo_db: &[f64],
    ) -> Vec<f64> {
        (0..self.octaves.len())
            .map(|b| {
                let hz = self.scene.bands[b].centre_hz();
                // The angle matters more the shorter the wave; below 200 Hz hardly.
                let grows = self.sizes.angle_db * (0.15 + hz / 10_000.0).min(1.5);
                self.distances[side][*distance][b] + grows * angle[b] + echo_db[b]
            })
            .collect()
    }

    /// How one take is played: strength, brightness, timbre.
    pub(crate) fn played(&mut self) -> Vec<f64> {
        let strength = self.sizes.take_strength_db * normal(&mut self.rng);
        let tilt = self.sizes.take_tilt_db * normal(&mut self.rng);
        let tail = heavy_tail(&mut self.rng);
        let timbre = self.timbre.draw(&mut self.rng);
        let s = &self.sizes;
        (0..self.octaves.len())
            .map(|b| {
                let bright = (s.brighter_per_db * strength + tilt) * self.octaves[b].clamp(-3.0, 4.0);
                strength + bright + s.take_timbre_db * tail * timbre[b]
            })
            .collect()
    }

    fn one_event(&mut self) -> Vec<f64> {
        let strength = self.sizes.strength_db * normal(&mut self.rng);
        let tail = heavy_tail(&mut self.rng);
        let timbre = self.timbre.draw(&mut self.rng);
        let rough: Vec<f64> = (0..self.octaves.len()).map(|_| normal(&mut self.rng)).collect();
        let s = &self.sizes;
        (0..self.octaves.len())
            .map(|b| {
                let bright = s.brighter_per_db * strength * self.octaves[b].clamp(-3.0, 4.0);
                strength + bright + tail * (s.timbre_db * timbre[b] + self.scatter[b].0 * rough[b])
            })
            .collect()
    }

    fn one_own(&mut self) -> Vec<f64> {
        let tail = heavy_tail(&mut self.rng);
        let scatter: Vec<f64> = (0..self.octaves.len()).map(|_| normal(&mut self.rng)).collect();
        let smooth = self.timbre.draw(&mut self.rng);
        let s = &self.sizes;
        (0..self.octaves.len())
            .map(|b| tail * (self.scatter[b].1 * scatter[b] + 0.5 * s.own_db * smooth[b]))
            .collect()
    }

    /// What the source does in `n` events, in order; neighbours correlate by `correlation`.
    pub(crate) fn events(&mut self, n: usize, correlation: f64) -> Vec<Vec<f64>> {
        self.series(n, correlation, Model::one_event)
    }

    /// What is one microphone's own in `n` events.
    pub(crate) fn own_scatter(&mut self, n: usize, correlation: f64) -> Vec<Vec<f64>> {
        self.series(n, correlation, Model::one_own)
    }

    fn series(&mut self, n: usize, correlation: f64, one: impl Fn(&mut Model) -> Vec<f64>) -> Vec<Vec<f64>> {
        let fresh = (1.0 - correlation * correlation).sqrt();
        let mut out: Vec<Vec<f64>> = Vec::with_capacity(n);
        for _ in 0..n {
            let new = one(self);
            let row = match out.last() {
                Some(last) => last.iter().zip(&new).map(|(l, n)| correlation * l + fresh * n).collect(),
                None => new,
            };
            out.push(row);
        }
        out
    }

    /// Everything that varies, once.
    pub(crate) fn draw(&mut self) -> Draw {
        let setting_up = self.setting_up();
        let echo = self.echo(&setting_up);
        let placed = [0, 1].map(|side| self.placed_with_echo(side, &setting_up, &echo));
        Draw { placed, played: self.played(), event: self.one_event(), own: self.one_own() }
    }
}

/// What the early echo does at a frequency; `off` is how far its delay is off its mean, in standard deviations.
fn echo_db(sizes: &Sizes, hz: f64, off: f64) -> f64 {
    let g = sizes.echo_gain;
    let phase = 2.0 * std::f64::consts::PI * hz * sizes.echo_s * (1.0 + 0.02 * off);
    10.0 * (1.0 + 2.0 * g * phase.cos() + g * g).log10()
}

/// Its mean over setting up, by the trapezoidal rule over ±4 standard deviations.
fn mean_echo_db(sizes: &Sizes, hz: f64) -> f64 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in -32..=32 {
        let x = f64::from(i) / 8.0;
        let w = (-0.5 * x * x).exp();
        sum += w * echo_db(sizes, hz, x);
        weight += w;
    }
    sum / weight
}

/// A source: a broad hump somewhere between 80 and 500 Hz, falling to both sides, with smooth and rough detail.
fn source_curve(rng: &mut ChaCha8Rng, octaves: &[f64]) -> Vec<f64> {
    let centre = between(rng, -3.6, -1.0);
    let (below, above) = (between(rng, 4.0, 9.0), between(rng, 2.0, 5.0));
    let detail = SmoothField::new(octaves, 0.3).draw(rng);
    octaves
        .iter()
        .zip(detail)
        .map(|(o, d)| {
            let x = o - centre;
            -40.0 - if x < 0.0 { -x * below } else { x * above } + 2.5 * d
        })
        .collect()
}

/// Gradient shares and response curves: reference, against, witness.
fn microphones(
    cell: &Cell,
    rng: &mut ChaCha8Rng,
    octaves: &[f64],
    hz: &[f64],
    source: &[f64],
    k: &[f64],
) -> ([f64; 3], [Vec<f64>; 3]) {
    let mut one = || {
        let share = [0.0, 0.5, 0.5, 0.63, 1.0][(between(rng, 0.0, 5.0) as usize).min(4)];
        let field = SmoothField::new(octaves, 0.8).draw(rng);
        let detail = SmoothField::new(octaves, 0.2).draw(rng);
        let (corner, top, sensitivity) =
            (between(rng, 25.0, 90.0), between(rng, 12_000.0, 22_000.0), between(rng, -6.0, 6.0));
        let curve: Vec<f64> = (0..hz.len())
            .map(|b| {
                let low = -10.0 * (1.0 + (corner / hz[b]).powi(2)).log10();
                let high = -10.0 * (1.0 + (hz[b] / top).powi(4)).log10();
                sensitivity + low + high + 1.5 * field[b] + 0.4 * detail[b]
            })
            .collect();
        (share, curve)
    };
    let (a, b, witness) = (one(), one(), one());
    let start = between(rng, -4.0, 2.5);
    let sign = if normal(rng) > 0.0 { 1.0 } else { -1.0 };
    let octave: Vec<f64> =
        octaves.iter().map(|o| f64::from(u8::from(*o >= start && *o < start + 1.0))).collect();
    let wanted_db = match cell.mics {
        MicPair::Drawn => return ([a.0, b.0, witness.0], [a.1, b.1, witness.1]),
        MicPair::Identical => 0.0,
        MicPair::OctaveStep { decibels } => decibels,
        MicPair::Bump3Db => 3.0,
    };
    // The match takes part of the step away: find the step that leaves what is wanted.
    let energy: Vec<f64> = (0..hz.len()).map(|i| k[i] * 10f64.powf((source[i] + a.1[i]) / 10.0)).collect();
    let total: f64 = energy.iter().sum();
    let mut step = wanted_db * sign;
    for _ in 0..30 {
        let with: f64 = energy.iter().zip(&octave).map(|(e, o)| e * 10f64.powf(step * o / 10.0)).sum();
        step = wanted_db * sign + 10.0 * (with / total).log10();
    }
    let curve = a.1.iter().zip(&octave).map(|(a, o)| a + step * o).collect();
    debug_assert!(!identical(cell) || step == 0.0);
    ([a.0, a.0, witness.0], [a.1, curve, witness.1])
}

/// Effect of every distance value on every band, per side; the source's size is drawn and unknown to the method.
/// Beside it the distance that a log would state, from the grille.
fn distance_tables(rng: &mut ChaCha8Rng, hz: &[f64], gradient: [f64; 3]) -> ([Vec<Vec<f64>>; 3], f64) {
    let distance_mm = between(rng, 40.0, 200.0);
    let radius_mm = if between(rng, 0.0, 1.0) < 0.3 { 0.0 } else { between(rng, 30.0, 200.0) };
    let error_mm = between(rng, 1.0, 5.0);
    let tables = gradient.map(|share| {
        (0..N_DISTANCES)
            .map(|i| {
                // Quantiles of a logistic distribution: heavier tails than normal, unit standard deviation.
                let p = (i as f64 + 0.5) / N_DISTANCES as f64;
                let logistic = (p / (1.0 - p)).ln() * 3f64.sqrt() / std::f64::consts::PI;
                let to = (distance_mm + error_mm * logistic).max(15.0);
                hz.iter()
                    .map(|f| distance_change_db(distance_mm, to, *f, share, radius_mm, SPEED_OF_SOUND_M_S))
                    .collect()
            })
            .collect()
    });
    // What is drawn is the effective distance; the acoustic centre lies 15 mm behind the grille.
    (tables, distance_mm - 15.0)
}
