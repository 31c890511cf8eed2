//! A microphone with the correction of an equaliser bridge: to be heard, and to be taken from the one that it becomes like.

use crate::difference::{Side, difference};
use crate::excerpts::once;
use crate::imposed::through;
use crate::moments::moments;
use crate::{AuditionError, Clip, Imposed, Paired, Stretch, gains_db};
use fairtake_bridge::Bridge;
use fairtake_compare::{Findings, Take, TakeMeasure};
use fairtake_signal::fir::{ample_taps, minimum_phase_fir};
use fairtake_signal::units::{db_to_power, power_db};
use serde::{Deserialize, Serialize};

/// By which of a bridge's two filters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// The smoothest correction.
    Correction,
    /// The equaliser's bands and its gain.
    Equaliser,
}

/// Impulse response of a bridge's filter at a sampling rate, minimum-phase as an equaliser is. `None` where nothing can be
/// corrected.
///
/// The equaliser is that of the rate which its bridge was made for: at another rate its gain over frequency stays the same.
pub fn correction_filter(bridge: &Bridge, by: By, rate_hz: u32) -> Option<Vec<f64>> {
    let curve = bridge.correction()?;
    let made_for = bridge.wanted.rate_hz;
    let highest = 0.5 * made_for;
    let gain = |hz: f64| match by {
        By::Correction => curve.db(hz),
        By::Equaliser => bridge.equaliser.db(made_for, hz.min(highest)),
    };
    Some(minimum_phase_fir(rate_hz, ample_taps(rate_hz), gain))
}

/// A clip of the microphone that is corrected, through the correction. `moment` holds the clips heard beside it.
pub fn corrected(reference: &Clip, moment: &[Clip], bridge: &Bridge, by: By) -> Option<Imposed> {
    let impulse = correction_filter(bridge, by, reference.rate_hz)?;
    let first = bridge.bands.first()?.from_hz;
    let last = bridge.bands.last()?.to_hz;
    let known = format!(
        "the difference is known from {} to {}",
        fairtake_compare::wording::hertz(first),
        fairtake_compare::wording::hertz(last)
    );
    Some(through(&impulse, reference, moment, vec![known]))
}

/// So many seconds are enough to tell what is left (assumption).
const ENOUGH_S: f64 = 15.0;

/// Energy of what is left when one microphone is taken from the other, in dB re that of the other (null depth), over
/// what they recorded together, one moment after the other, until a quarter of a minute is reached. Less is better; what is left is
/// what no filter of this kind carries.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LeftOver {
    /// After gain and delay alone.
    pub without_db: f64,
    /// The first one through the smoothest correction.
    pub correction_db: f64,
    /// The first one through the equaliser.
    pub equaliser_db: f64,
    /// Over so many seconds.
    pub seconds: f64,
}

/// What is left of the pair of a bridge. `None` where they were not recorded together, their delay is not known, or nothing can
/// be corrected.
///
/// # Errors
/// When a take cannot be read, or the findings know one that is not at hand.
pub fn left_over(
    takes: &[Take],
    measures: &[TakeMeasure],
    findings: &Findings,
    bridge: &Bridge,
) -> Result<Option<LeftOver>, AuditionError> {
    let moments = match moments(takes, measures, findings, &bridge.source) {
        Ok(moments) => moments,
        Err(AuditionError::NothingPairs { .. }) => return Ok(None),
        Err(e) => return Err(e),
    };
    let mics = [bridge.from.clone(), bridge.to.clone()];
    let gains = gains_db(findings, &bridge.source, &mics)?;
    let mut energies = [0.0; 4];
    let mut seconds = 0.0;
    for moment in once(&moments) {
        let part = |mic: &String| moment.parts.iter().find(|p| p.mic == *mic);
        let [Some(a), Some(b)] = [part(&mics[0]), part(&mics[1])] else { continue };
        if seconds >= ENOUGH_S {
            break;
        }
        if moment.paired != Paired::SamePerformance {
            return Ok(None);
        }
        let [a, b] = [(a, gains[0].gain_db), (b, gains[1].gain_db)].map(|(part, gain_db)| {
            let take = takes.iter().find(|t| t.id == part.take);
            take.map(|take| Side { take, stretch: part.stretch, gain_db })
        });
        let [Some(a), Some(b)] = [a, b] else { continue };
        let rate_hz = a.take.samples.rate_hz();
        let filters = [By::Correction, By::Equaliser].map(|by| correction_filter(bridge, by, rate_hz));
        let [Some(correction), Some(equaliser)] = filters else { return Ok(None) };
        // What changes nothing is fitted in delay and gain like the others.
        let ways = [&[1.0], correction.as_slice(), equaliser.as_slice()];
        let mut left = [0.0; 3];
        for (left, way) in left.iter_mut().zip(ways) {
            match difference(a, b, findings, Some(way)) {
                Ok(found) => *left = found.left_db.map_or(0.0, db_to_power),
                // A delay is known for some placements only: others cannot be taken from each other.
                Err(AuditionError::Read(e)) => return Err(AuditionError::Read(e)),
                Err(_) => *left = f64::NAN,
            }
        }
        if left.iter().any(|x| x.is_nan()) {
            continue;
        }
        let whole = energy(b)?;
        seconds += moment.duration_s;
        energies[3] += whole;
        energies.iter_mut().zip(left).for_each(|(sum, share)| *sum += share * whole);
    }
    let db = |i: usize| power_db(energies[i] / energies[3].max(f64::MIN_POSITIVE));
    let known = db(0).zip(db(1)).zip(db(2));
    Ok(known.map(|((without_db, correction_db), equaliser_db)| LeftOver {
        without_db,
        correction_db,
        equaliser_db,
        seconds,
    }))
}

fn energy(side: Side) -> Result<f64, AuditionError> {
    let Stretch { start, frames } = side.stretch;
    let mut samples = vec![0f32; frames as usize];
    crate::clip::read(side.take, start, &mut samples)?;
    Ok(fairtake_signal::levels::energy(&samples))
}

#[cfg(test)]
mod tests;
