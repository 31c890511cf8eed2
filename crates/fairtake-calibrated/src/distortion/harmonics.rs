//! Harmonics of the orders 2 to 5 over the frequency of the fundamental.

use crate::quantity::{Contribution, Quantity};
use crate::response::{
    GATE_DB, Gate, ImpulseResponse, Independent, Noise, ResponseError, Window, band_powers, checked_bands,
    noise,
};
use fairtake_signal::bands::BandSet;
use fairtake_signal::fir::to_frequency;
use fairtake_signal::units::db_to_power;
use fairtake_transform::Complex;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Orders that are measured.
pub(super) const ORDERS: [u32; 4] = [2, 3, 4, 5];
/// A figure is given where it is this many of its standard uncertainties from nothing.
const KNOWN_FROM: f64 = 3.0;
/// Else it is at most what was found and so many of them.
const AT_MOST: f64 = 2.0;

/// An amplitude against that of the fundamental, in percent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Measured.
    Measured(Quantity),
    /// Not told from the noise: at most so much.
    AtMost(f64),
}

impl Figure {
    /// The value, where it was measured.
    pub fn measured(&self) -> Option<&Quantity> {
        match self {
            Figure::Measured(quantity) => Some(quantity),
            Figure::AtMost(_) => None,
        }
    }
}

/// Distortion at one frequency of the fundamental.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DistortionPoint {
    /// Middle of the band in Hz.
    pub hz: f64,
    /// Orders 2, 3, 4, 5 in percent of the fundamental; `None` where the order lies beyond the sweep, or below what the gate says.
    pub harmonics: [Option<Figure>; 4],
    /// Root of the summed squares of the orders there are, in percent of the fundamental.
    pub thd: Option<Figure>,
    /// The highest order that is counted in it.
    pub highest_order: u32,
    /// Level of the fundamental as recorded, effective value in dBFS (a sine of full scale is −3.01).
    pub fundamental_dbfs: Option<f64>,
}

/// Distortion of one level of a sweep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Distortion {
    /// Points per octave.
    pub per_octave: u32,
    /// What was taken behind the direct sound.
    pub gate: Gate,
    /// Peak level of the sweep in dBFS.
    pub level_dbfs: f64,
    /// From low to high.
    pub points: Vec<DistortionPoint>,
}

impl Distortion {
    /// The harmonics that an impulse response came with.
    ///
    /// # Errors
    /// With a gate or a number of bands that are not offered.
    ///
    /// # Source
    /// A. Farina (2000) and A. Novak et al. (2015): harmonics of an exponential sweep are deconvolved to impulse responses of their own,
    /// earlier by L·ln n; at n·f they hold the n-th harmonic of f. THD against the fundamental (THD_F).
    pub fn of(impulse: &ImpulseResponse, per_octave: u32, gate: Gate) -> Result<Distortion, ResponseError> {
        gate.check(impulse)?;
        checked_bands(per_octave)?;
        let spectra = Spectra::of(impulse, gate);
        let spans = BandSet::new(per_octave, 0.5 * f64::from(impulse.rate_hz)).spans_hz();
        let powers = spectra.powers(impulse, &spans);
        let played = db_to_power(impulse.level_dbfs) / 2.0;
        let points = spans.iter().enumerate().map(|(i, span)| {
            let fundamental = powers[0].at(i, span);
            let orders: Vec<Option<Power>> =
                (1..=4).map(|o| powers[o].at(i, &scaled(span, o as u32 + 1))).collect();
            let gate_share = spectra.gate_share(gate, span);
            let figure = |power: &Power| fundamental.as_ref().map(|f| power.figure(f, gate_share));
            let there: Vec<&Power> = orders.iter().map_while(|o| o.as_ref()).collect();
            let thd = (!there.is_empty()).then(|| Power::sum(&there)).as_ref().and_then(figure);
            DistortionPoint {
                hz: (span.0 * span.1).sqrt(),
                harmonics: std::array::from_fn(|o| orders[o].as_ref().and_then(figure)),
                highest_order: if thd.is_some() { there.len() as u32 + 1 } else { 0 },
                thd,
                fundamental_dbfs: fundamental
                    .as_ref()
                    .and_then(|f| fairtake_signal::units::power_db(f.signal * played)),
            }
        });
        Ok(Distortion { per_octave, gate, level_dbfs: impulse.level_dbfs, points: points.collect() })
    }

    /// The point nearest to a frequency in Hz.
    pub fn at(&self, hz: f64) -> Option<&DistortionPoint> {
        self.points.iter().min_by(|a, b| (a.hz / hz).ln().abs().total_cmp(&(b.hz / hz).ln().abs()))
    }
}

/// A band of the n-th harmonic of a band.
pub(super) fn scaled(span: &(f64, f64), order: u32) -> (f64, f64) {
    (f64::from(order) * span.0, f64::from(order) * span.1)
}

/// Spectra of fundamental and harmonics, phases against the zero of time of each.
pub(super) struct Spectra {
    /// Fundamental first, then the orders 2 to 5.
    pub spectra: Vec<Vec<Complex<f64>>>,
    windows: Vec<Window>,
    step_hz: f64,
    highest_hz: f64,
    lowest_hz: f64,
}

impl Spectra {
    pub fn of(impulse: &ImpulseResponse, gate: Gate) -> Spectra {
        let rate_hz = f64::from(impulse.rate_hz);
        let (samples, zero) = impulse.samples();
        let mut windows = vec![Window::of(impulse, gate)];
        windows.extend(impulse.harmonics.iter().map(|h| Window::of_harmonic(impulse, h, gate)));
        let n = windows.iter().map(Window::transform_frames).max().unwrap_or(256);
        let one = |window: &Window, samples: &[f64], zero: f64| {
            let arrival = zero + impulse.arrival_s * rate_hz;
            let mut spectrum = to_frequency(window.cut(samples, arrival), n);
            let early = zero - window.first(arrival) as f64;
            for (k, x) in spectrum.iter_mut().enumerate() {
                *x *= Complex::from_polar(1.0, TAU * k as f64 / n as f64 * early);
            }
            spectrum
        };
        let mut spectra = vec![one(&windows[0], samples, zero as f64)];
        for (harmonic, window) in impulse.harmonics.iter().zip(&windows[1..]) {
            spectra.push(one(window, &harmonic.samples, harmonic.zero));
        }
        Spectra {
            spectra,
            windows,
            step_hz: rate_hz / n as f64,
            highest_hz: impulse.range_hz.1,
            lowest_hz: impulse.range_hz.0,
        }
    }

    /// Lowest frequency in Hz about which fundamental (0) or an order (1 to 4 for 2 to 5) says something.
    pub fn lowest_hz(&self, idx: usize) -> f64 {
        self.windows[idx].lowest_hz().max(self.lowest_hz)
    }

    /// By what share of amplitude the gate may have changed the fundamental in a band.
    pub fn gate_share(&self, gate: Gate, span: &(f64, f64)) -> f64 {
        match gate {
            Gate::Seconds(_) => db_to_power(GATE_DB * (self.lowest_hz(0) / span.0).powi(3)).sqrt() - 1.0,
            Gate::Whole => 0.0,
        }
    }

    /// Powers of fundamental and orders in the bands (the orders in those of their harmonics).
    fn powers(&self, impulse: &ImpulseResponse, spans: &[(f64, f64)]) -> Vec<Powers> {
        (0..self.spectra.len())
            .map(|idx| {
                let power: Vec<f64> = self.spectra[idx].iter().map(|x| x.norm_sqr()).collect();
                self.banded(idx, &power, impulse, spans)
            })
            .collect()
    }

    /// Powers per bin of an order in bands, with the noise that its window sees.
    pub fn banded(
        &self,
        idx: usize,
        power: &[f64],
        impulse: &ImpulseResponse,
        spans: &[(f64, f64)],
    ) -> Powers {
        let own: Vec<(f64, f64)> = spans.iter().map(|span| scaled(span, idx as u32 + 1)).collect();
        Powers {
            powers: band_powers(power, self.step_hz, &own),
            noise: noise(&self.windows[idx], &impulse.quiet, f64::from(impulse.rate_hz), &own),
            window: self.windows[idx].clone(),
            range_hz: (self.lowest_hz(idx), self.highest_hz),
        }
    }
}

/// Powers in bands.
pub(super) struct Powers {
    powers: Vec<f64>,
    noise: Option<Noise>,
    window: Window,
    range_hz: (f64, f64),
}

impl Powers {
    /// Power in one band, with its noise.
    pub fn raw(&self, i: usize) -> f64 {
        self.powers[i]
    }

    /// In one band; `None` where it is not measured.
    pub fn at(&self, i: usize, span: &(f64, f64)) -> Option<Power> {
        let noise = self.noise.as_ref().filter(|_| span.0 >= self.range_hz.0 && span.1 <= self.range_hz.1)?;
        let independent = self.window.independent(span.1 - span.0);
        let (signal, power) = (self.powers[i] - noise.powers[i], noise.powers[i]);
        Some(Power {
            signal,
            noise: power,
            independent,
            variance: independent.variance(signal, power),
            degrees_of_freedom: 2.0 * independent.alone * noise.n_stretches,
        })
    }
}

/// A power without its noise, and how well it is known.
#[derive(Debug, Clone)]
pub(super) struct Power {
    /// Without noise.
    pub signal: f64,
    /// Mean power of the noise.
    pub noise: f64,
    /// How many independent values were averaged.
    pub independent: Independent,
    /// Of `signal`.
    pub variance: f64,
    /// Of `variance`.
    pub degrees_of_freedom: f64,
}

impl Power {
    /// With its noise.
    pub fn raw(&self) -> f64 {
        self.signal + self.noise
    }

    fn sum(all: &[&Power]) -> Power {
        let variance: f64 = all.iter().map(|p| p.variance).sum();
        let doubt: f64 = all.iter().map(|p| p.variance * p.variance / p.degrees_of_freedom).sum();
        Power {
            signal: all.iter().map(|p| p.signal).sum(),
            noise: all.iter().map(|p| p.noise).sum(),
            independent: all[0].independent,
            variance,
            degrees_of_freedom: if doubt > 0.0 { variance * variance / doubt } else { 1.0 },
        }
    }

    /// As an amplitude in percent of a fundamental. `gate_share`: by what share a gate may be wrong.
    pub fn figure(&self, fundamental: &Power, gate_share: f64) -> Figure {
        let deviation = self.variance.sqrt();
        let percent = |power: f64| 100.0 * (power.max(0.0) / fundamental.signal).sqrt();
        if self.signal < KNOWN_FROM * deviation || fundamental.signal <= 0.0 {
            return Figure::AtMost(percent(self.signal.max(0.0) + AT_MOST * deviation));
        }
        let value = percent(self.signal);
        // An amplitude is off by half the share by which its power is.
        let share = 0.5
            * (self.variance / self.signal.powi(2) + fundamental.variance / fundamental.signal.powi(2))
                .sqrt();
        let mut budget = vec![Contribution {
            from: "noise".into(),
            standard: value * share,
            degrees_of_freedom: Some(self.degrees_of_freedom),
        }];
        if gate_share > 0.0 {
            budget.push(Contribution::within("gate", value * gate_share));
        }
        Figure::Measured(Quantity::new(value, budget))
    }
}
