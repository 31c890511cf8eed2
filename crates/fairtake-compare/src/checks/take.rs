//! Checks on one take by itself.

use super::limits::{self, Limit};
use crate::{CheckResult, LeftOut, Outcome, Take, TakeMeasure};
use fairtake_signal::defects::Places;
use fairtake_signal::units::amplitude_db;

/// Every check on one take.
pub(super) fn of_take(take: &Take, m: &TakeMeasure) -> Vec<CheckResult> {
    let on = |limit: &Limit, outcome, measured, text: String, advice: &str| CheckResult {
        code: limit.code.to_string(),
        outcome,
        take: Some(take.id.clone()),
        comparison: None,
        measured,
        limit: Some(limit.value),
        unit: limit.unit.to_string(),
        text,
        advice: advice.to_string(),
    };
    let n_clipped = m.events.iter().filter(|e| e.left_out == Some(LeftOut::Clipped)).count();
    let n_used = m.events.iter().filter(|e| e.left_out.is_none()).count();
    let clipped_share = n_clipped as f64 / m.events.len().max(1) as f64;
    let clipped = match n_clipped {
        0 => Outcome::Fair,
        _ if clipped_share > limits::CLIPPED.value => Outcome::Unfair,
        _ => Outcome::Caution,
    };
    let peak_db = amplitude_db(m.file.sample_peak);
    let quiet = peak_db.is_none_or(|db| db < limits::LEVEL_LOW.value);
    let dc = m.file.dc.abs();
    let mut out = vec![
        on(
            &limits::CLIPPED,
            clipped,
            Some(clipped_share),
            format!("{n_clipped} of {} events clipped; clipped events are left out", m.events.len()),
            "turn the preamp down and play again",
        ),
        on(
            &limits::LEVEL_LOW,
            if quiet { Outcome::Caution } else { Outcome::Fair },
            peak_db,
            match peak_db {
                Some(db) => format!("highest sample {db:.1} dBFS"),
                None => "digital silence".to_string(),
            },
            "turn the preamp up",
        ),
        on(
            &limits::DC,
            if dc > limits::DC.value { Outcome::Caution } else { Outcome::Fair },
            Some(dc),
            format!("mean value {dc:.5} of full scale; it lifts the lowest bands"),
            "look for the converter or preamp that makes it",
        ),
        on(
            &limits::SNR_UNKNOWN,
            if m.noise.is_some() { Outcome::Fair } else { Outcome::Caution },
            m.noise.as_ref().map(|n| n.duration_s),
            match &m.noise {
                Some(n) => format!("noise measured on {:.1} s", n.duration_s),
                None => "no gap to measure noise on: noise is not subtracted, and no band is held back"
                    .to_string(),
            },
            "leave two seconds of silence before playing, or record a room-tone take",
        ),
        on(
            &limits::LOSSY,
            if take.stored_as.lossy { Outcome::Caution } else { Outcome::Fair },
            Some(f64::from(u8::from(take.stored_as.lossy))),
            format!("stored as {}", take.stored_as.format),
            "use the original recording: a lossy coding changes what is compared",
        ),
        on(
            &limits::TOO_FEW_EVENTS,
            if (n_used as f64) < limits::TOO_FEW_EVENTS.value { Outcome::Caution } else { Outcome::Fair },
            Some(n_used as f64),
            format!("{n_used} events used"),
            "play at least eight more hits, or ten more seconds of sustained sound",
        ),
    ];
    let found = &m.defects.in_samples;
    let defects = [
        (
            &limits::DROPOUT,
            found.dropouts,
            "hole(s) of zeros in the sound",
            "record again with larger buffers, or look at the cable of a digital connection",
        ),
        (
            &limits::REPEATED_BUFFER,
            found.repeats,
            "stretch(es) that come twice in a row",
            "record again with larger buffers",
        ),
        (
            &limits::CLICK,
            found.clicks,
            "jump(s) between two samples",
            "edit with crossfades, or look at the clock of a digital connection",
        ),
    ];
    out.extend(defects.into_iter().map(|(limit, places, what, advice)| {
        let outcome = if places.count as f64 > limit.value { Outcome::Caution } else { Outcome::Fair };
        on(limit, outcome, Some(places.count as f64), place(places, what, m.rate_hz), advice)
    }));
    out.extend(m.defects.hum.map(|hum| {
        let stands_out = hum.excess_db > limits::HUM.value;
        on(
            &limits::HUM,
            if stands_out { Outcome::Caution } else { Outcome::Fair },
            Some(hum.excess_db),
            if stands_out {
                format!(
                    "hum of {} Hz mains stands {:.0} dB above the noise beside it",
                    hum.mains_hz, hum.excess_db
                )
            } else {
                "no hum stands out of the noise between events".to_string()
            },
            "move the cable away from mains leads, and look for a loop through two earths",
        )
    }));
    out
}

/// How often something was found, and where first.
fn place(places: Places, what: &str, rate_hz: u32) -> String {
    match places.first_frame {
        None => format!("no {what}"),
        Some(frame) => {
            format!("{} {what}, the first at {:.3} s", places.count, frame as f64 / f64::from(rate_hz))
        }
    }
}
