//! A response as a curve: fractional-octave points with their uncertainty.

use super::bands::{band_powers, noise};
use super::error::ResponseError;
use super::gate::{GATE_DB, Gate, Independent, Window, checked_bands};
use super::impulse::ImpulseResponse;
use crate::band_level::DB_PER_NEPER;
use crate::found::Defect;
use crate::quantity::{Contribution, Quantity};
use fairtake_signal::bands::BandSet;
use fairtake_signal::fir::to_frequency;
use fairtake_signal::units::{power_db, power_db_at_least};
use serde::{Deserialize, Serialize};

/// How a curve is made.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ResponseSettings {
    /// Points per octave: 3, 6, 12 or 24.
    pub per_octave: u32,
    /// What is taken behind the direct sound.
    pub gate: Gate,
}

/// One point: the mean power in its band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Lower edge in Hz.
    pub from_hz: f64,
    /// Upper edge in Hz.
    pub to_hz: f64,
    /// Middle in Hz.
    pub hz: f64,
    /// Level in dB: full scale out for full scale in is 0 dB. `None`: not measured.
    pub level_db: Option<Quantity>,
}

impl Point {
    /// Level in dB.
    pub fn db(&self) -> Option<f64> {
        self.level_db.as_ref().map(|q| q.value)
    }

    /// Half width of its 95 % interval in dB.
    pub fn half_db(&self) -> Option<f64> {
        self.level_db.as_ref().and_then(|q| q.half)
    }
}

/// A response of everything between player and recorder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Response {
    /// How it was made.
    pub settings: ResponseSettings,
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Peak level of the sweep in dBFS.
    pub level_dbfs: f64,
    /// What was taken behind the direct sound, in seconds.
    pub gate_s: f64,
    /// Below this, in Hz, nothing is said: the gate is too short, or the sweep began there.
    pub lowest_hz: f64,
    /// Above this, in Hz, nothing is said: the sweep ended there.
    pub highest_hz: f64,
    /// When the direct sound arrives, in seconds; see [`ImpulseResponse::arrival_s`].
    pub delay_s: f64,
    /// Points from low to high.
    pub points: Vec<Point>,
    /// What is wrong with the recordings.
    pub defects: Vec<Defect>,
}

/// A point whose sweep is not this much above the noise, in dB, is not measured.
const LEAST_SNR_DB: f64 = 6.0;
/// What rounding and the ripple of the band limit leave, in dB (standard uncertainty). From the bench: examples/response_coverage.
const METHOD_DB: f64 = 0.0002;

impl Response {
    /// The curve of an impulse response.
    ///
    /// # Errors
    /// With a gate or a number of bands that are not offered.
    ///
    /// # Source
    /// The variance of a power that holds noise is that of a non-central chi-square law; docs/methods/response.md.
    pub fn of(impulse: &ImpulseResponse, settings: &ResponseSettings) -> Result<Response, ResponseError> {
        settings.gate.check(impulse)?;
        checked_bands(settings.per_octave)?;
        let window = Window::of(impulse, settings.gate);
        let n = window.transform_frames();
        let rate_hz = f64::from(impulse.rate_hz);
        let step_hz = rate_hz / n as f64;
        let spans = BandSet::new(settings.per_octave, 0.5 * rate_hz).spans_hz();
        let spectrum = to_frequency(window.cut(&impulse.samples, impulse.arrival()), n);
        let power: Vec<f64> = spectrum.iter().map(|x| x.norm_sqr()).collect();
        let powers = band_powers(&power, step_hz, &spans);
        let noise = noise(&window, &impulse.quiet, rate_hz, &spans);
        let lowest_hz = impulse.range_hz.0.max(window.lowest_hz());
        let points = spans
            .iter()
            .enumerate()
            .map(|(i, (from_hz, to_hz))| {
                let hz = (from_hz * to_hz).sqrt();
                let known = *from_hz >= lowest_hz && *to_hz <= impulse.range_hz.1;
                let independent = window.independent(to_hz - from_hz);
                let level_db = noise
                    .as_ref()
                    .filter(|_| known)
                    .and_then(|noise| level(powers[i], noise.powers[i], independent, noise.n_stretches))
                    .map(|(db, part)| {
                        let method = Contribution {
                            from: "deconvolution".into(),
                            standard: METHOD_DB,
                            degrees_of_freedom: None,
                        };
                        let mut budget = vec![part, method];
                        if let Gate::Seconds(_) = settings.gate {
                            budget.push(Contribution::within(
                                "gate",
                                GATE_DB * (window.lowest_hz() / hz).powi(3),
                            ));
                        }
                        Quantity::new(db, budget)
                    });
                Point { from_hz: *from_hz, to_hz: *to_hz, hz, level_db }
            })
            .collect();
        Ok(Response {
            settings: *settings,
            rate_hz: impulse.rate_hz,
            level_dbfs: impulse.level_dbfs,
            gate_s: window.gate_s(),
            lowest_hz,
            highest_hz: impulse.range_hz.1,
            delay_s: impulse.arrival_s,
            points,
            defects: impulse.defects.clone(),
        })
    }

    /// Level at a frequency in Hz, straight over the logarithm of frequency between the middles of two points; `None` where one of
    /// them is not measured.
    pub fn at(&self, hz: f64) -> Option<Quantity> {
        level_at(&self.points, hz)
    }
}

/// Level of a curve at a frequency in Hz, as [`Response::at`].
pub(crate) fn level_at(points: &[Point], hz: f64) -> Option<Quantity> {
    let after = points.partition_point(|p| p.hz < hz);
    let above = points.get(after)?;
    if (above.hz / hz - 1.0).abs() < 1e-9 {
        return above.level_db.clone();
    }
    let below = points.get(after.checked_sub(1)?)?;
    let share = (hz / below.hz).ln() / (above.hz / below.hz).ln();
    mean(&[(below.level_db.as_ref()?, 1.0 - share), (above.level_db.as_ref()?, share)])
}

/// Level of a power that holds noise of a known mean power, and its standard uncertainty in dB.
pub(super) fn level(
    power: f64,
    noise: f64,
    independent: Independent,
    n_stretches: f64,
) -> Option<(f64, Contribution)> {
    let signal = power - noise;
    if signal <= 0.0 || power_db_at_least(signal / noise.max(f64::MIN_POSITIVE), 0.0) < LEAST_SNR_DB {
        return None;
    }
    let standard = DB_PER_NEPER * independent.variance(signal, noise).sqrt() / signal;
    let degrees_of_freedom = Some(2.0 * independent.alone * n_stretches);
    Some((power_db(signal)?, Contribution { from: "noise".into(), standard, degrees_of_freedom }))
}

/// A weighted mean. What comes from noise is independent from point to point, everything else is not.
fn mean(parts: &[(&Quantity, f64)]) -> Option<Quantity> {
    let value = parts.iter().map(|(q, weight)| weight * q.value).sum();
    let (first, _) = parts.first()?;
    let budget = first.budget.iter().map(|kind| {
        let same = |q: &Quantity| q.budget.iter().find(|part| part.from == kind.from).cloned();
        let all: Vec<(Contribution, f64)> =
            parts.iter().filter_map(|(q, weight)| Some((same(q)?, *weight))).collect();
        let standard = if kind.from.starts_with("noise") {
            all.iter().map(|(part, weight)| (weight * part.standard).powi(2)).sum::<f64>().sqrt()
        } else {
            all.iter().map(|(part, weight)| weight * part.standard).sum()
        };
        Contribution { from: kind.from.clone(), standard, degrees_of_freedom: kind.degrees_of_freedom }
    });
    Some(Quantity::new(value, budget.collect()))
}
