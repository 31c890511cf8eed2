//! What is left of one microphone when the other is taken away from it: for takes recorded together.

use crate::clip::{checked, clip, fade, gain_factor, read};
use crate::loud::Loud;
use crate::{AuditionError, Clip, Stretch};
use fairtake_compare::{ComparisonFindings, Design, Findings, Polarity, Role, Take, TakeEntry};
use fairtake_signal::fir::{filtered, to_frequency, to_time};
use fairtake_signal::levels::energy;
use fairtake_signal::units::power_db;
use fairtake_transform::{Complex, fast_length};
use std::f64::consts::{PI, TAU};

/// Read beyond both ends of the stretch, in seconds, so that what a shift brings in is there, and the ends of what is
/// shifted can be faded.
const MARGIN_S: f64 = 0.05;
/// The same where the reference goes through a filter, which rings on.
const FILTERED_MARGIN_S: f64 = 0.5;
/// A filter's own delay is looked for this far, in seconds: half a period at 500 Hz.
const MOST_REFIT_S: f64 = 0.001;
/// Thirds are taken off so often: two samples shrink to a ten-thousandth of one.
const REFIT_STEPS: usize = 24;
/// The alignment looks for delays up to 20 ms; a longer one was not found by it.
const MOST_DELAY_S: f64 = 0.02;

/// One of two takes that are taken from each other.
#[derive(Clone, Copy)]
pub struct Side<'a> {
    /// The take.
    pub take: &'a Take,
    /// Which frames of it.
    pub stretch: Stretch,
    /// Its playback gain in dB, 0 or less.
    pub gain_db: f64,
}

/// What is left after gain and delay.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// *Against* minus reference, with fades; `trim_db` is applied.
    pub clip: Clip,
    /// By how much the reference was delayed, in seconds, negative: brought forward.
    pub delay_s: f64,
    /// Polarity of *against* as found. Where it is inverted, *against* was turned over before the reference was taken
    /// away; where it is unclear, it was not.
    pub polarity: Polarity,
    /// Energy of what is left in dB re that of *against* within this stretch; `None` where nothing is left or there was
    /// nothing.
    pub left_db: Option<f64>,
    /// Gain in dB, 0 or less, by which what is left was turned down, so that it is not louder than the louder of the two.
    pub trim_db: f64,
}

/// Takes the reference from *against*, after the gains of both and the delay and polarity of their comparison's alignment.
///
/// Where an impulse response is given, as of a [`correction_filter`](crate::correction_filter), the reference goes through it
/// first; a filter delays each frequency by something else, so that delay and gain are then fitted anew, within 1 ms, to leave least.
///
/// An alignment holds for the placements it was found at: those of the first two takes of the comparison that share a
/// performance. The delay, fractions of a sample included, is a linear phase in the frequency domain and changes no level. It is one
/// delay for all frequencies: phase responses that differ are among what is left.
///
/// # Errors
/// When the findings hold no comparison of these two in this order; when they were not recorded together; when their rates
/// or the seconds of their stretches differ; when their delay is not known at these placements; when one cannot be read
/// or played.
pub fn difference(
    reference: Side,
    against: Side,
    findings: &Findings,
    filter: Option<&[f64]>,
) -> Result<Difference, AuditionError> {
    let alignment = together(reference, against, findings)?;
    let n = checked(reference.take, reference.stretch, reference.gain_db)?;
    checked(against.take, against.stretch, against.gain_db)?;
    let rate_hz = reference.take.samples.rate_hz();
    let mut shifted = delayed(reference, alignment.delay_s, filter)?;
    let mut other = vec![0f32; n];
    read(against.take, against.stretch.start, &mut other)?;
    let turned = if alignment.polarity == Polarity::Inverted { -1.0 } else { 1.0 };
    let (mut gain_a, gain_b) = (gain_factor(reference.gain_db), turned * gain_factor(against.gain_db));
    let mut delay_s = alignment.delay_s;
    if filter.is_some() {
        let refitted = refit(&shifted, &other, f64::from(rate_hz));
        shifted = refitted.shifted;
        delay_s += refitted.delay_s;
        gain_a = gain_b * refitted.gain;
    }
    let mut samples: Vec<f32> =
        shifted.iter().zip(&other).map(|(a, b)| (f64::from(*b) * gain_b - a * gain_a) as f32).collect();
    let left_db = power_db(energy(&samples) / (energy(&other) * gain_b * gain_b).max(f64::MIN_POSITIVE));
    fade(&mut samples, rate_hz);
    let played = |side: Side| -> Result<Loud, AuditionError> {
        Ok(Loud::of(&clip(side.take, side.stretch, side.gain_db)?.samples, rate_hz))
    };
    let bound = played(reference)?.or(played(against)?);
    let trim_db = Loud::of(&samples, rate_hz).trim_db(bound);
    let trim = gain_factor(trim_db);
    samples.iter_mut().for_each(|x| *x = (f64::from(*x) * trim) as f32);
    Ok(Difference {
        clip: Clip { rate_hz, samples, gain_db: trim_db },
        delay_s,
        polarity: alignment.polarity,
        left_db,
        trim_db,
    })
}

/// Delay and polarity of *against*, where both are known to hold for these takes.
struct Aligned {
    delay_s: f64,
    polarity: Polarity,
}

fn together(reference: Side, against: Side, findings: &Findings) -> Result<Aligned, AuditionError> {
    let (a, b) = (reference.take, against.take);
    let takes = || [a.id.clone(), b.id.clone()];
    let no = |why: &str| Err(AuditionError::NotTogether { takes: takes(), why: why.to_string() });
    let own =
        |c: &&ComparisonFindings| [&c.reference, &c.against] == [&a.mic, &b.mic] && c.source == a.source;
    let Some(comparison) = findings.comparisons.iter().find(own).filter(|_| a.source == b.source) else {
        return no("no comparison has the one as reference and the other against it");
    };
    if comparison.design != Design::Together || a.performance != b.performance {
        return no("they were not recorded together");
    }
    let rates_hz = [a, b].map(|t| t.samples.rate_hz());
    if rates_hz[0] != rates_hz[1] {
        return Err(AuditionError::RatesDiffer { takes: takes(), rates_hz });
    }
    if reference.stretch != against.stretch {
        return Err(AuditionError::StretchesDiffer { takes: takes() });
    }
    let found = comparison.alignment.as_ref();
    let delay_s = found.and_then(|f| f.delay_s);
    let Some((found, delay_s)) = found.zip(delay_s.filter(|d| d.abs() <= MOST_DELAY_S)) else {
        return Err(AuditionError::NoDelay { takes: takes(), delay_s });
    };
    if aligned_placements(findings, comparison) != Some([a.placement, b.placement]) {
        return no("the delay was found at another placement");
    }
    Ok(Aligned { delay_s, polarity: found.polarity })
}

/// Placements of the takes that the alignment was found on: the first of the reference that shares performance and rate with
/// one of *against*.
fn aligned_placements(findings: &Findings, comparison: &ComparisonFindings) -> Option<[u32; 2]> {
    let of = |mic: &str| -> Vec<&TakeEntry> {
        let used = |t: &&TakeEntry| t.role == Role::Compared && !t.left_out && t.source == comparison.source;
        findings.takes.iter().filter(used).filter(|t| t.mic == mic).collect()
    };
    let against = of(&comparison.against);
    of(&comparison.reference).into_iter().find_map(|x| {
        let shares = |y: &&&TakeEntry| y.performance == x.performance && y.sample_rate_hz == x.sample_rate_hz;
        against.iter().find(shares).map(|y| [x.placement, y.placement])
    })
}

/// The stretch of a take, through a filter if there is one, later by `delay_s`.
fn delayed(side: Side, delay_s: f64, filter: Option<&[f64]>) -> Result<Vec<f64>, AuditionError> {
    let rate = f64::from(side.take.samples.rate_hz());
    let margin_s = if filter.is_some() { FILTERED_MARGIN_S } else { MARGIN_S };
    let margin = (margin_s * rate).ceil() as usize;
    let n = side.stretch.frames as usize;
    let mut samples = vec![0f32; n + 2 * margin];
    read(side.take, side.stretch.start.saturating_sub(margin as i64), &mut samples)?;
    // The outer half of the margins is faded: a cut would be smeared over what is heard.
    let over = margin / 2;
    let last = samples.len() - 1;
    for i in 0..over {
        let w = (0.5 - 0.5 * (PI * i as f64 / over as f64).cos()) as f32;
        samples[i] *= w;
        samples[last - i] *= w;
    }
    let n_fft = fast_length(samples.len() + margin);
    let exact = match filter {
        Some(impulse) => filtered(&samples, impulse),
        None => samples.iter().map(|x| f64::from(*x)).collect(),
    };
    let mut spectrum = to_frequency(exact.into_iter(), n_fft);
    for (k, x) in spectrum.iter_mut().enumerate() {
        *x *= Complex::from_polar(1.0, -TAU * k as f64 * rate * delay_s / n_fft as f64);
    }
    let shifted = to_time(spectrum, n_fft);
    Ok(shifted[margin..margin + n].to_vec())
}

/// One signal shifted and turned up or down so that least of another is left when it is taken from it.
struct Refitted {
    shifted: Vec<f64>,
    delay_s: f64,
    gain: f64,
}

/// The delay within 1 ms at which the correlation is greatest in size, and the gain of least squares there.
fn refit(x: &[f64], y: &[f32], rate_hz: f64) -> Refitted {
    let n_fft = fast_length(x.len() + (MOST_REFIT_S * rate_hz) as usize + 1);
    let of_x = to_frequency(x.iter().copied(), n_fft);
    let of_y = to_frequency(y.iter().map(|y| f64::from(*y)), n_fft);
    let cross: Vec<Complex<f64>> = of_x.iter().zip(&of_y).map(|(x, y)| x.conj() * y).collect();
    let turn = |k: usize, delay: f64| Complex::from_polar(1.0, TAU * k as f64 * delay / n_fft as f64);
    let inner = 1..cross.len().saturating_sub(1);
    let correlation = |delay: f64| {
        let sum: f64 = inner.clone().map(|k| (cross[k] * turn(k, delay)).re).sum();
        (2.0 * sum + cross[0].re) / n_fft as f64
    };
    // The nearest whole sample first, then between its neighbours.
    let lags = to_time(cross.clone(), n_fft);
    let most = (MOST_REFIT_S * rate_hz) as i64;
    let at = |lag: i64| lags[lag.rem_euclid(n_fft as i64) as usize].abs();
    let whole = (-most..=most).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(0);
    let (mut low, mut high) = (whole as f64 - 1.0, whole as f64 + 1.0);
    for _ in 0..REFIT_STEPS {
        let third = (high - low) / 3.0;
        if correlation(low + third).abs() < correlation(high - third).abs() {
            low += third;
        } else {
            high -= third;
        }
    }
    let delay = 0.5 * (low + high);
    let own: f64 = x.iter().map(|x| x * x).sum();
    let gain = correlation(delay) / own.max(f64::MIN_POSITIVE);
    let turned: Vec<Complex<f64>> = of_x.iter().enumerate().map(|(k, x)| x * turn(k, delay).conj()).collect();
    let mut shifted = to_time(turned, n_fft);
    shifted.truncate(x.len());
    Refitted { shifted, delay_s: delay / rate_hz, gain }
}

#[cfg(test)]
mod tests;
