//! What bare files are to each other: one performance recorded at once, one recording played back for each, or strangers.
//!
//! Stretches spread over the first file are looked for in the others at one common delay, or at a delay that drifts
//! evenly, as between two clocks. Recordings of one performance, and replays of one recording, correlate there, whatever
//! the microphones; two passes of playing do not, however alike. What was recorded at once also shares the noise between
//! what is played; what was replayed does not, or drifts. Method: docs/methods/designs.md.

mod places;

use crate::measure::{Streamed, stream};
use crate::parallel::{in_parallel, in_parallel_with};
use crate::{Design, ReadError, Take};
use fairtake_signal::shared::{Correlator, CorrelatorRoom, NoiseFound, NoiseShared};
use fairtake_stats::student::t_quantile;
use places::{Places, STRETCH_S, read_at};
use std::collections::HashMap;
use std::sync::Arc;

/// Delays looked at between bare files, to each side, in seconds: 20 ms is 7 m of path.
const MOST_DELAY_S: f64 = 0.02;
/// The same between takes that are said to be replays of one recording: what was started by hand lies further apart.
const MOST_REPLAY_DELAY_S: f64 = 0.5;
/// Mean largely whitened correlation from which files hold one waveform. Reason: made takes of one performance reach 0.88,
/// two passes on one drum with their hits at the same times 0.12: docs/methods/designs.md.
const SAME_FROM: f64 = 0.2;
/// Clocks differ by less than this, in millionths. Common practice, no source: crystals of 100 at worst, two of them.
const MOST_DRIFT_PPM: f64 = 300.0;
/// A stretch lies on a line of drift when its own best delay is within this of it, in seconds.
const ON_LINE_S: f64 = 1e-4;
/// Below this a drift is no clock's: interpolation between samples moves delays by hundredths.
const LEAST_DRIFT_FRAMES: f64 = 0.25;

/// How two takes come to hold one performance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowShared {
    /// Recorded at once: the noise between what is played is shared too, and the clocks are one.
    AtOnce,
    /// One recording played back for each: the clocks drift, or the noise is not shared.
    Replayed,
    /// It cannot be told.
    Unclear,
}

/// Two takes that hold one performance.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedPair {
    /// Ids of the takes.
    pub takes: [String; 2],
    /// How it comes that they share it.
    pub how: HowShared,
    /// Why, in words.
    pub reason: String,
    /// Coherence of the noise between what is played; `None` where there is none to be seen.
    pub noise_coherence: Option<f64>,
    /// By how much the second clock runs slower, in millionths; `None` where no drift shows.
    pub drift_ppm: Option<f64>,
}

/// What was recognised among bare files.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recognised {
    /// Every pair that holds one performance.
    pub pairs: Vec<SharedPair>,
    /// What one pass over each take that was compared left behind, by the takes' ids: measuring need not make it again. Grows
    /// with their length, by 23 MB an hour.
    streamed: HashMap<String, Arc<Streamed>>,
}

impl Recognised {
    /// What is known of two takes.
    pub fn between(&self, a: &str, b: &str) -> Option<&SharedPair> {
        self.pairs.iter().find(|p| p.takes == [a, b] || p.takes == [b, a])
    }

    pub(crate) fn streamed(&self, take: &str) -> Option<&Arc<Streamed>> {
        self.streamed.get(take)
    }
}

/// Gives takes that hold the performance of an earlier one its number, the others keep theirs; and tells of every such
/// pair whether it was recorded at once. What the user states of the design holds: takes stated to be recorded together
/// share one performance, those in turn do not, whatever they sound like.
///
/// # Errors
/// When a take cannot be read.
pub fn recognise_performances(takes: &mut [Take], stated: Option<Design>) -> Result<Recognised, ReadError> {
    let mut found = Recognised::default();
    if let Some(design) = stated {
        if design == Design::Together
            && let Some(first) = takes.first().map(|t| t.performance)
        {
            takes.iter_mut().for_each(|t| t.performance = first);
        }
        return Ok(found);
    }
    let alike = |i: usize| (0..takes.len()).any(|j| j != i && alike_in_length(&takes[j], &takes[i]));
    let concerned: Vec<&Take> = (0..takes.len()).filter(|i| alike(*i)).map(|i| &takes[i]).collect();
    let streamed = in_parallel(&concerned, |t| stream(t).map(|s| (t.id.clone(), Arc::new(s))))?;
    found.streamed = streamed.into_iter().collect();
    let places: Vec<Option<Places>> =
        takes.iter().map(|t| found.streamed(&t.id).map(|s| Places::of(&s.envelope))).collect();
    for i in 1..takes.len() {
        let mut joined = None;
        for j in 0..i {
            if !alike_in_length(&takes[j], &takes[i]) {
                continue;
            }
            let Some(here) = &places[j] else { continue };
            if let Some(line) = common_line(here, &takes[j], &takes[i], MOST_DELAY_S)? {
                joined.get_or_insert(takes[j].performance);
                found.pairs.push(how_shared(here, &takes[j], &takes[i], &line)?);
            }
        }
        if let Some(performance) = joined {
            takes[i].performance = performance;
        }
    }
    Ok(found)
}

/// By how many seconds what is played comes later in each take than in the first, for takes that are replays of one
/// recording; `None` for one that does not hold it within half a second. `streamed` holds what a pass
/// over each of them left behind.
///
/// # Errors
/// When a take cannot be read.
pub(crate) fn replays_later_s(
    takes: &[&Take],
    streamed: &[Arc<Streamed>],
) -> Result<Vec<Option<f64>>, ReadError> {
    let Some((first, of_first)) = takes.first().zip(streamed.first()) else { return Ok(Vec::new()) };
    let places = Places::of(&of_first.envelope);
    takes
        .iter()
        .enumerate()
        .map(|(i, take)| {
            if i == 0 {
                return Ok(Some(0.0));
            }
            // Rates that differ are not correlated: the user's word holds, without a shift.
            if take.samples.rate_hz() != first.samples.rate_hz() {
                return Ok(None);
            }
            let line = common_line(&places, first, take, MOST_REPLAY_DELAY_S)?;
            Ok(line.map(|l| l.middle_frames() / f64::from(take.samples.rate_hz())))
        })
        .collect()
}

/// Files of one recording start and stop together.
fn alike_in_length(a: &Take, b: &Take) -> bool {
    let rate = a.samples.rate_hz();
    rate == b.samples.rate_hz() && a.samples.frames().abs_diff(b.samples.frames()) <= u64::from(rate) / 2
}

/// Where every stretch of the first take stands in the second.
#[derive(Debug, Clone, PartialEq)]
struct Line {
    /// Delay in frames at the start of the take, and its change per frame.
    at_start_frames: f64,
    slope: f64,
    /// Start of each stretch that lies on the line, and its own delay in frames, between samples too.
    found: Vec<(f64, f64)>,
}

impl Line {
    fn at(&self, start: f64) -> f64 {
        self.at_start_frames + self.slope * start
    }

    /// Delay in the middle of what was looked at.
    fn middle_frames(&self) -> f64 {
        let n = self.found.len().max(1) as f64;
        self.at(self.found.iter().map(|(s, _)| s).sum::<f64>() / n)
    }

    /// Drift in millionths where it shows: a straight line through the delays, tested at one in a thousand.
    fn drift_ppm(&self) -> Option<f64> {
        let n = self.found.len() as f64;
        if n < 4.0 {
            return None;
        }
        let mean = |f: &dyn Fn(&(f64, f64)) -> f64| self.found.iter().map(f).sum::<f64>() / n;
        let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
        let xx: f64 = self.found.iter().map(|p| (p.0 - x).powi(2)).sum();
        let slope = self.found.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / xx.max(1e-9);
        let left: f64 = self.found.iter().map(|p| (p.1 - y - slope * (p.0 - x)).powi(2)).sum();
        let sd = (left / (n - 2.0) / xx.max(1e-9)).sqrt();
        let span = self.found.iter().map(|p| p.0).fold(0.0, f64::max)
            - self.found.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
        let shows =
            slope.abs() > t_quantile(0.9995, n - 2.0) * sd && slope.abs() * span >= LEAST_DRIFT_FRAMES;
        shows.then_some(slope * 1e6)
    }
}

/// The delay, constant or evenly drifting, at which the second take holds what the first does; `None`: nowhere.
fn common_line(places: &Places, a: &Take, b: &Take, most_delay_s: f64) -> Result<Option<Line>, ReadError> {
    let rate = f64::from(a.samples.rate_hz());
    let (length, reach) = ((STRETCH_S * rate) as usize, (most_delay_s * rate) as usize);
    let correlator = Correlator::new(length, reach);
    let found = in_parallel_with(&places.loud, CorrelatorRoom::default, |room, start| {
        let x = read_at(a, *start as i64, length)?;
        let y = read_at(b, *start as i64 - reach as i64, length + 2 * reach)?;
        Ok(correlator.correlate(&x, &y, room).map(|curve| (*start as f64, curve)))
    })?;
    let curves: Vec<(f64, Vec<f64>)> = found.into_iter().flatten().collect();
    let n = curves.len();
    if n == 0 {
        return Ok(None);
    }
    // One delay for all.
    let mean: Vec<f64> =
        (0..2 * reach + 1).map(|i| curves.iter().map(|(_, c)| c[i]).sum::<f64>() / n as f64).collect();
    let most = greatest(&mean);
    let constant = (mean[most].abs() >= SAME_FROM).then_some((most as f64, 0.0, mean[most].signum()));
    // A delay that drifts: every pair of stretches draws a line, and nearly all others have to lie on it.
    let peaks: Vec<usize> = curves.iter().map(|(_, c)| greatest(c)).collect();
    let near = (ON_LINE_S * rate).max(1.0);
    let mut best = constant.map(|c| (on_line(&curves, &peaks, (c.0, c.1), near), c));
    if n >= 4 {
        for i in 0..n {
            for j in i + 1..n {
                let slope = (peaks[j] as f64 - peaks[i] as f64) / (curves[j].0 - curves[i].0);
                if slope == 0.0 || slope.abs() * 1e6 > MOST_DRIFT_PPM {
                    continue;
                }
                let at_start = peaks[i] as f64 - slope * curves[i].0;
                let on = on_line(&curves, &peaks, (at_start, slope), near);
                let height: f64 = on.iter().map(|k| curves[*k].1[peaks[*k]].abs()).sum::<f64>() / n as f64;
                let more = best.as_ref().is_none_or(|(found, _)| on.len() > found.len());
                if more && on.len() + n.div_ceil(6) >= n && height >= SAME_FROM {
                    let sign = curves[i].1[peaks[i]].signum();
                    best = Some((on, (at_start, slope, sign)));
                }
            }
        }
    }
    Ok(best.map(|(on, (at_start, slope, sign))| Line {
        at_start_frames: at_start - reach as f64,
        slope,
        found: on
            .into_iter()
            .map(|k| (curves[k].0, between_samples(&curves[k].1, peaks[k], sign) - reach as f64))
            .collect(),
    }))
}

/// Stretches whose own best delay lies on a line.
fn on_line(
    curves: &[(f64, Vec<f64>)],
    peaks: &[usize],
    (at_start, slope): (f64, f64),
    near: f64,
) -> Vec<usize> {
    (0..curves.len()).filter(|k| (peaks[*k] as f64 - at_start - slope * curves[*k].0).abs() <= near).collect()
}

fn greatest(curve: &[f64]) -> usize {
    (0..curve.len()).max_by(|x, y| curve[*x].abs().total_cmp(&curve[*y].abs())).unwrap_or(0)
}

/// The top of a parabola through the greatest value and its neighbours.
fn between_samples(curve: &[f64], peak: usize, sign: f64) -> f64 {
    if peak == 0 || peak + 1 >= curve.len() {
        return peak as f64;
    }
    let [y0, y1, y2] = [peak - 1, peak, peak + 1].map(|i| sign * curve[i]);
    let bend = y0 - 2.0 * y1 + y2;
    let off = if bend < 0.0 { 0.5 * (y0 - y2) / bend } else { 0.0 };
    peak as f64 + off.clamp(-0.5, 0.5)
}

/// Recorded at once, replayed, or neither can be shown.
fn how_shared(places: &Places, a: &Take, b: &Take, line: &Line) -> Result<SharedPair, ReadError> {
    let drift_ppm = line.drift_ppm();
    let noise = noise_shared(places, a, b, line)?;
    let (how, reason) = reasoned(noise, drift_ppm, !places.quiet.is_empty());
    Ok(SharedPair {
        takes: [a.id.clone(), b.id.clone()],
        how,
        reason: format!("the files hold the same performance; {reason}"),
        noise_coherence: noise.map(|n| n.coherence),
        drift_ppm,
    })
}

fn reasoned(noise: Option<NoiseFound>, drift_ppm: Option<f64>, gaps: bool) -> (HowShared, String) {
    match (noise.and_then(|n| n.shared), drift_ppm) {
        (Some(true), None) => (
            HowShared::AtOnce,
            "the noise between what is played is shared too, and no clock drift shows: recorded at once"
                .to_string(),
        ),
        (Some(true), Some(ppm)) => (
            HowShared::Unclear,
            format!(
                "the noise between what is played is shared, but the clocks drift by {:.1} millionths: recorded at \
                 once by two recorders, or replayed, cannot be told",
                ppm.abs()
            ),
        ),
        (_, Some(ppm)) => (
            HowShared::Replayed,
            format!("the clocks drift by {:.1} millionths: one recording was played back for each", ppm.abs()),
        ),
        (Some(false), None) => (
            HowShared::Replayed,
            "the noise between what is played is not shared: taken as one recording played back for each; if they \
             were recorded at once, state the design"
                .to_string(),
        ),
        (None, None) if gaps => (
            HowShared::Unclear,
            "there is too little noise between what is played to tell whether they were recorded at once"
                .to_string(),
        ),
        (None, None) => (
            HowShared::Unclear,
            "there is no gap whose noise would tell whether they were recorded at once".to_string(),
        ),
    }
}

/// Coherence of the noise in the quiet places of the first take, where the second is quiet as well.
fn noise_shared(places: &Places, a: &Take, b: &Take, line: &Line) -> Result<Option<NoiseFound>, ReadError> {
    let rate_hz = a.samples.rate_hz();
    let length = (STRETCH_S * f64::from(rate_hz)) as usize;
    let mut found = NoiseShared::new(rate_hz, length);
    let pairs = in_parallel(&places.quiet, |start| {
        let later = line.at(*start as f64).round() as i64;
        let (x, y) = (read_at(a, *start as i64, length)?, read_at(b, *start as i64 + later, length)?);
        Ok((fairtake_signal::levels::energy(&y), found.stretch(&x, &y)))
    })?;
    let mut energies: Vec<f64> = pairs.iter().map(|(e, _)| *e).filter(|e| *e > 0.0).collect();
    energies.sort_by(f64::total_cmp);
    let Some(middle) = energies.get(energies.len() / 2).copied() else { return Ok(None) };
    pairs.iter().filter(|(e, _)| *e > 0.0 && *e <= middle * places::STEADY).for_each(|(_, s)| found.add(s));
    Ok(found.found())
}

#[cfg(test)]
mod tests;
