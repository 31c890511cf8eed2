//! Checks on one take by itself.

use super::effect;
use super::limits::{self, Limit};
use crate::wording::plain;
use crate::{CheckResult, LeftOut, Outcome, Role, Take, TakeMeasure};
use fairtake_signal::defects::Places;
use fairtake_signal::units::amplitude_db;

/// How far the take lies below the strongest of those that were recorded with it, in dB, by the middle event's loudness;
/// `None` where it stands alone.
pub(super) fn below_partners_db(take: &Take, m: &TakeMeasure, all: &[(&Take, &TakeMeasure)]) -> Option<f64> {
    let middle = |m: &TakeMeasure| -> Option<f64> {
        let mut loudness: Vec<f64> = m.events.iter().map(|e| e.loudness_db).collect();
        loudness.sort_by(f64::total_cmp);
        loudness.get(loudness.len() / 2).copied()
    };
    let plays = |t: &Take| matches!(t.role, Role::Compared | Role::Witness);
    let partners = all.iter().filter(|(t, _)| {
        plays(t) && t.source == take.source && t.performance == take.performance && t.id != take.id
    });
    let strongest = partners.filter_map(|(_, p)| middle(p)).max_by(f64::total_cmp)?;
    plays(take).then_some(())?;
    Some((strongest - middle(m)?).max(0.0))
}

/// Every check on one take.
pub(super) fn of_take(
    take: &Take,
    m: &TakeMeasure,
    below_partners_db: Option<f64>,
    bands_per_octave: u32,
) -> Vec<CheckResult> {
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
            clipped_text(m, n_clipped),
            "turn the preamp down and play again",
        ),
        on(
            &limits::LEVEL_LOW,
            if quiet { Outcome::Caution } else { Outcome::Fair },
            peak_db,
            match peak_db {
                Some(db) => format!("highest sample {} dBFS", plain(db, 1)),
                None => "digital silence".to_string(),
            },
            "turn the preamp up",
        ),
        on(
            &limits::DC,
            if dc > limits::DC.value { Outcome::Caution } else { Outcome::Fair },
            Some(dc),
            match (dc > limits::DC.value).then(|| effect::dc_lifts_db(m, bands_per_octave)) {
                None => format!("mean value {dc:.5} of full scale"),
                Some(None) => {
                    format!("mean value {dc:.5} of full scale; the lowest octave holds nothing else")
                }
                Some(Some(db)) => {
                    format!(
                        "mean value {dc:.5} of full scale; its energy alone lifts the lowest octave by {db:.1} dB, sound that is in \
                         step with it there makes that more or less"
                    )
                }
            },
            "look for the converter or preamp that makes it",
        ),
        on(
            &limits::SNR_UNKNOWN,
            if m.noise.is_some() { Outcome::Fair } else { Outcome::Caution },
            m.noise.as_ref().map(|n| n.duration_s),
            match &m.noise {
                Some(n) => format!("noise measured on {:.1} s", n.duration_s),
                None => "no stretch lies 30 dB below what is played: there is no gap, or the noise is loud; it is not \
                         subtracted, and no band is held back"
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
    let silent = m.file.sample_peak == 0.0 && take.role != Role::RoomTone;
    let far_below = below_partners_db.is_some_and(|db| db > limits::WRONG_CHANNEL.value);
    out.push(on(
        &limits::WRONG_CHANNEL,
        match (silent, far_below) {
            (true, _) => Outcome::Unfair,
            (false, true) => Outcome::Caution,
            (false, false) => Outcome::Fair,
        },
        below_partners_db,
        match below_partners_db {
            _ if silent => "digital silence: nothing arrived on this channel".to_string(),
            Some(db) => format!("{db:.0} dB below the strongest take recorded with it"),
            None => "there is sound, and no other take of this performance to hold it against".to_string(),
        },
        "check the routing: which input does the microphone go to, and which channel was recorded",
    ));
    let found = &m.defects.in_samples;
    let defects = [
        (
            &limits::DROPOUT,
            found.dropouts,
            "holes of zeros in the sound",
            "record again with larger buffers, or look at the cable of a digital connection",
        ),
        (
            &limits::REPEATED_BUFFER,
            found.repeats,
            "stretches that come twice in a row",
            "record again with larger buffers",
        ),
        (
            &limits::CLICK,
            found.clicks,
            "jumps between two samples",
            "edit with crossfades, or look at the clock of a digital connection",
        ),
    ];
    out.extend(defects.into_iter().map(|(limit, places, what, advice)| {
        let outcome = if places.count as f64 > limit.value { Outcome::Caution } else { Outcome::Fair };
        on(limit, outcome, Some(places.count as f64), place(places, what, m), advice)
    }));
    out.extend(m.defects.hum.map(|hum| {
        let stands_out = hum.excess_db > limits::HUM.value;
        on(
            &limits::HUM,
            if stands_out { Outcome::Caution } else { Outcome::Fair },
            Some(hum.excess_db),
            if stands_out {
                format!(
                    "hum of {} Hz mains stands {:.0} dB above the noise beside it; a band at {} Hz has {:.0} dB less \
                     signal-to-noise for it",
                    hum.mains_hz, hum.excess_db, hum.strongest_hz, hum.strongest_db
                )
            } else {
                "no hum stands out of the noise between events".to_string()
            },
            "move the cable away from mains leads, and look for a loop through two earths",
        )
    }));
    out
}

/// How many events clipped, and what leaving them out does.
fn clipped_text(m: &TakeMeasure, n_clipped: usize) -> String {
    let first = m.events.iter().position(|e| e.left_out == Some(LeftOut::Clipped)).map_or(0, |i| i + 1);
    let n_events = m.events.len();
    match (n_clipped, effect::clipped_lowers_db(m)) {
        (0, _) => format!("0 of {n_events} events clipped"),
        (_, None) => format!("{n_clipped} of {n_events} events clipped, event {first} first"),
        (_, Some(db)) => format!(
            "{n_clipped} of {n_events} events clipped, event {first} first; they are left out, and the mean loudness of the \
             rest is lower by {:.1} dB or more",
            db.max(0.0)
        ),
    }
}

/// How often something was found, and where first.
fn place(places: Places, what: &str, m: &TakeMeasure) -> String {
    let Some(frame) = places.first_frame else { return format!("no {what}") };
    let event = match effect::event_at(m, frame) {
        Some(event) => format!("in event {event}"),
        None => "between events".to_string(),
    };
    format!("{what}: {}, the first at {:.3} s, {event}", places.count, frame as f64 / f64::from(m.rate_hz))
}
