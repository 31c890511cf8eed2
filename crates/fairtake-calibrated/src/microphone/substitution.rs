//! Substitution: the microphone and a reference microphone, one after the other at the same point of the same sound.
//!
//! Loudspeaker and room are the same for both and fall out of the difference. What remains is the microphone against the reference;
//! with the correction file of the reference it is the microphone itself.

use crate::quantity::{Contribution, Quantity, normal_95};
use crate::response::{Point, Response, level_at};
use crate::text_curve::TextCurve;
use serde::{Deserialize, Serialize};
use std::fmt;

/// The reference microphone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reference {
    /// Its own response: frequency in Hz and dB. `None`: taken as level.
    pub correction: Option<TextCurve>,
    /// What its certificate states, in dB either way.
    pub half_db: f64,
    /// With this coverage factor (2 on most certificates).
    pub coverage_factor: f64,
}

/// How patterns of both compare, for what reflections do below the gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pattern {
    /// Both alike: reflections are taken as alike to a tenth (assumption).
    Same,
    /// One may miss a reflection entirely that the other hears.
    Different,
}

/// Curves without a gate, for frequencies that the gate leaves open.
#[derive(Debug, Clone, Copy)]
pub struct Ungated<'a> {
    /// Of the microphone.
    pub tested: &'a Response,
    /// Of the reference.
    pub reference: &'a Response,
    /// Amplitude of all that comes behind the gate against the direct sound; [`crate::ImpulseResponse::reflected_share`].
    pub reflected_share: f64,
    /// How patterns compare.
    pub pattern: Pattern,
}

/// Response of a microphone; its level at 1 kHz is 0 dB.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MicrophoneResponse {
    /// Below this, in Hz, it comes from curves without a gate; `None`: nothing does.
    pub ungated_below_hz: Option<f64>,
    /// Points from low to high.
    pub points: Vec<Point>,
}

/// No response of the microphone.
#[derive(Debug, Clone, PartialEq)]
pub enum SubstitutionError {
    /// Curves were made with other bands or at other rates.
    Unlike,
    /// The certificate states nothing that can be.
    Stated {
        /// Half width in dB.
        half_db: f64,
        /// Coverage factor.
        coverage_factor: f64,
    },
    /// Nothing is known around 1 kHz.
    NoOneKilohertz,
    /// The correction file has no frequency in common with the curves.
    Correction {
        /// Its lowest frequency in Hz.
        from_hz: f64,
        /// Its highest frequency in Hz.
        to_hz: f64,
    },
}

/// Share of reflections that patterns which are alike do not share.
const SAME_PATTERN_SHARE: f64 = 0.1;
/// A Rayleigh distributed amplitude is below this many times its effective value in 95 of 100: √(−ln 0.05).
const RAYLEIGH_95: f64 = 1.730_818_382_602_285;
/// Reflections of this amplitude against the direct sound may cancel it: nothing is known then.
const MOST_REFLECTED: f64 = 0.8;

/// The response of the microphone, from its curve and that of the reference.
///
/// # Errors
/// Where the two cannot be compared, or nothing is known at 1 kHz to refer to.
///
/// # Source
/// IEC 60268-4 (free-field response by substitution; clause from memory); JCGM 100:2008 for the budget.
pub fn substituted(
    tested: &Response,
    reference_take: &Response,
    reference: &Reference,
    ungated: Option<Ungated<'_>>,
) -> Result<MicrophoneResponse, SubstitutionError> {
    let Reference { half_db, coverage_factor, .. } = *reference;
    if !(half_db >= 0.0 && half_db.is_finite() && coverage_factor >= 1.0 && coverage_factor.is_finite()) {
        return Err(SubstitutionError::Stated { half_db, coverage_factor });
    }
    if !alike(tested, reference_take)
        || ungated.is_some_and(|u| !alike(tested, u.tested) || !alike(tested, u.reference))
    {
        return Err(SubstitutionError::Unlike);
    }
    if let Some((from_hz, to_hz)) = reference.correction.as_ref().map(TextCurve::range_hz)
        && !tested.points.iter().any(|p| p.hz >= from_hz && p.hz <= to_hz)
    {
        return Err(SubstitutionError::Correction { from_hz, to_hz });
    }
    let mut ungated_below_hz = None;
    let differences: Vec<Point> = tested
        .points
        .iter()
        .enumerate()
        .map(|(i, point)| {
            let gated = difference(point, &reference_take.points[i], reference);
            let level_db = gated.or_else(|| {
                let u = ungated.filter(|_| point.from_hz < tested.lowest_hz.max(reference_take.lowest_hz))?;
                let open = difference(&u.tested.points[i], &u.reference.points[i], reference)?;
                let half_db = reflections_db(&u)?;
                ungated_below_hz = Some(point.to_hz);
                let mut budget = open.budget;
                budget.push(Contribution::expanded("pattern in reflections", half_db, normal_95()));
                Some(Quantity::new(open.value, budget))
            });
            Point { level_db, ..point.clone() }
        })
        .collect();
    let mut at = level_at(&differences, 1000.0).ok_or(SubstitutionError::NoOneKilohertz)?;
    // What the certificate states holds at each frequency against 1 kHz already.
    at.budget.retain(|part| part.from != STATED);
    let points = differences.into_iter().map(|point| {
        let level_db = point.level_db.as_ref().map(|level| {
            let mut budget = level.budget.clone();
            let renamed = at
                .budget
                .iter()
                .map(|part| Contribution { from: format!("{} at 1 kHz", part.from), ..part.clone() });
            budget.extend(renamed);
            Quantity::new(level.value - at.value, budget)
        });
        Point { level_db, ..point }
    });
    Ok(MicrophoneResponse { points: points.collect(), ungated_below_hz })
}

/// What reflections that are not shared do to a difference, in dB either way in 95 of 100 frequencies; `None`: anything.
///
/// At one frequency many reflections add up with phases as good as random: their amplitude is Rayleigh distributed around the
/// share of all frequencies. Against the direct sound they take off more than they add, and that side counts.
fn reflections_db(u: &Ungated) -> Option<f64> {
    let unlike = if u.pattern == Pattern::Same { SAME_PATTERN_SHARE } else { 1.0 };
    let most = RAYLEIGH_95 * unlike * u.reflected_share;
    (most < MOST_REFLECTED).then(|| -fairtake_signal::units::amplitude_db(1.0 - most).unwrap_or(0.0))
}

/// What the certificate states, in a budget.
const STATED: &str = "reference microphone";

fn alike(a: &Response, b: &Response) -> bool {
    a.points.len() == b.points.len() && a.settings.per_octave == b.settings.per_octave
}

/// Microphone less reference, and the reference's own response.
fn difference(tested: &Point, taken: &Point, reference: &Reference) -> Option<Quantity> {
    let (tested, of_reference) = (tested.level_db.as_ref()?, taken.level_db.as_ref()?);
    let correction_db = match &reference.correction {
        Some(curve) => curve.db(taken.hz)?,
        None => 0.0,
    };
    let mut budget = tested.budget.clone();
    budget.extend(
        of_reference.budget.iter().filter(|part| part.from != "gate").map(|part| Contribution {
            from: format!("{} of the reference take", part.from),
            ..part.clone()
        }),
    );
    budget.push(Contribution::expanded(STATED, reference.half_db, reference.coverage_factor));
    Some(Quantity::new(tested.value - of_reference.value + correction_db, budget))
}

impl SubstitutionError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            SubstitutionError::Unlike => {
                "measure both with one excitation, one gate and the same points per octave"
            }
            SubstitutionError::Stated { .. } => {
                "write what the certificate says: an uncertainty in dB and its coverage factor, often 2"
            }
            SubstitutionError::NoOneKilohertz => "play a range that holds 1 kHz, or lengthen the gate",
            SubstitutionError::Correction { .. } => {
                "give the correction file of the reference microphone, in Hz and dB"
            }
        }
    }
}

impl fmt::Display for SubstitutionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SubstitutionError::Unlike => {
                f.write_str("the curves of microphone and reference were made differently")
            }
            SubstitutionError::Stated { half_db, coverage_factor } => {
                write!(
                    f,
                    "a reference that is known to {half_db} dB with a coverage factor of {coverage_factor}"
                )
            }
            SubstitutionError::NoOneKilohertz => {
                f.write_str("nothing is measured at 1 kHz, to which the response refers")
            }
            SubstitutionError::Correction { from_hz, to_hz } => {
                write!(f, "the correction goes from {from_hz} Hz to {to_hz} Hz, where nothing was measured")
            }
        }
    }
}

impl std::error::Error for SubstitutionError {}
