//! A microphone at distances from a loudspeaker: levels of a first-order receiver in a field that is a formula or a sum
//! over the radiating face.

use crate::field::{between, normal};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use std::f64::consts::TAU;

/// A series of distances. Rectangular errors are drawn within ± what is stated.
#[derive(Debug, Clone, PartialEq)]
pub struct DistanceRun {
    /// Gradient share of the microphone.
    pub share: f64,
    /// Sum of the acoustic centres' offsets in mm.
    pub centre_mm: f64,
    /// Radius of a baffled piston in mm; 0 for a point.
    pub radius_mm: f64,
    /// Speed of sound in m/s.
    pub speed_m_s: f64,
    /// Logged distances in mm.
    pub distances_mm: Vec<f64>,
    /// Middles of bands in Hz.
    pub bands_hz: Vec<f64>,
    /// Standard deviation of a level in dB.
    pub level_db: f64,
    /// Of each distance, in mm either way.
    pub distance_mm: f64,
    /// Amplitude of a reflection re a source at 1 m; its phase is drawn for every distance and band.
    pub reflection: f64,
}

/// What is measured at one distance.
#[derive(Debug, Clone, PartialEq)]
pub struct AtDistance {
    /// Logged distance in mm.
    pub distance_mm: f64,
    /// Levels in dB, one for each band.
    pub levels_db: Vec<f64>,
}

impl DistanceRun {
    /// A cardioid near a small loudspeaker at these distances, third octaves from 50 Hz to 2 kHz.
    pub fn cardioid(distances_mm: Vec<f64>) -> DistanceRun {
        DistanceRun {
            share: 0.5,
            centre_mm: 18.0,
            radius_mm: 0.0,
            speed_m_s: 343.2,
            distances_mm,
            bands_hz: (17..=33).map(|k| 10f64.powf(f64::from(k) / 10.0)).collect(),
            level_db: 0.05,
            distance_mm: 0.0,
            reflection: 0.0,
        }
    }

    /// Pressure plus gradient part of what the receiver gives, as a complex amplitude re 1 Pa at 1 m, phases apart from e^(−jkz).
    fn received(&self, distance_m: f64, hz: f64) -> (f64, f64) {
        let k = TAU * hz / self.speed_m_s;
        let (a, b) = (1.0 - self.share, self.share);
        if self.radius_mm == 0.0 {
            // (1 − B) + B·(1 + 1/(jkr)), over r.
            return ((a + b) / distance_m, -b / (k * distance_m) / distance_m);
        }
        // Rings of the piston: pressure e^(−jks)/s; velocity along the axis (z/s)·(1 + 1/(jks)) of that. Scaled to 1/r far away.
        let n = 400;
        let radius = self.radius_mm / 1000.0;
        let (mut re, mut im) = (0.0, 0.0);
        for i in 0..n {
            let y = (f64::from(i) + 0.5) / f64::from(n) * radius;
            let s = distance_m.hypot(y);
            let weight = 2.0 * y * (radius / f64::from(n)) / (radius * radius);
            let along = distance_m / s;
            // (a + b·along) − j·b·along/(ks), times e^(−jk(s − z)).
            let (p, q) = (a + b * along, -b * along / (k * s));
            let (sin, cos) = (k * (s - distance_m)).sin_cos();
            re += weight / s * (p * cos + q * sin);
            im += weight / s * (q * cos - p * sin);
        }
        (re, im)
    }

    /// Level in dB at an acoustic distance in mm, without anything that disturbs.
    pub fn level_at_db(&self, acoustic_mm: f64, hz: f64) -> f64 {
        let (re, im) = self.received(acoustic_mm / 1000.0, hz);
        10.0 * (re * re + im * im).log10()
    }

    /// Logged distance in mm at which a point source's near field lifts this frequency by so many dB over a plane wave, by halving.
    pub fn rise_at_mm(&self, hz: f64, rise_db: f64) -> f64 {
        let k = TAU * hz / self.speed_m_s;
        let rise = |r: f64| 10.0 * (1.0 + (self.share / (k * r)).powi(2)).log10();
        let (mut near, mut far) = (1e-4, 1e2);
        for _ in 0..200 {
            let middle = 0.5 * (near + far);
            if rise(middle) > rise_db { near = middle } else { far = middle }
        }
        1000.0 * near - self.centre_mm
    }

    /// What is measured.
    pub fn measured(&self, seed: u64) -> Vec<AtDistance> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let gains: Vec<f64> = self.bands_hz.iter().map(|_| 6.0 * normal(&mut rng)).collect();
        self.distances_mm
            .iter()
            .map(|logged| {
                let acoustic_mm =
                    logged + self.centre_mm + between(&mut rng, -self.distance_mm, self.distance_mm);
                let levels_db = self
                    .bands_hz
                    .iter()
                    .zip(&gains)
                    .map(|(hz, gain)| {
                        let (re, im) = self.received(acoustic_mm / 1000.0, *hz);
                        let phase = between(&mut rng, 0.0, TAU);
                        let (re, im) =
                            (re + self.reflection * phase.cos(), im + self.reflection * phase.sin());
                        10.0 * (re * re + im * im).log10() + gain + self.level_db * normal(&mut rng)
                    })
                    .collect();
                AtDistance { distance_mm: *logged, levels_db }
            })
            .collect()
    }
}
