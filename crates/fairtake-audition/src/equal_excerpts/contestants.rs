//! Microphones with a filter among the excerpts of a blind test.

use super::{FADE_S, Place, WantedExcerpts};
use crate::Clip;
use crate::clip::fade_over;
use crate::imposed::through;

/// A microphone with a filter, as one more contestant.
#[derive(Debug, Clone, PartialEq)]
pub struct Contestant {
    /// Key under which it takes part.
    pub key: String,
    /// Key of the microphone that is filtered.
    pub of: String,
    /// Impulse response at the rate of its takes, as of a [`correction_filter`](crate::correction_filter).
    pub filter: Vec<f64>,
}

/// The excerpts of the microphones that take part, and of those with a filter; by which key each does.
pub(super) fn with_contestants<'a>(
    places: Vec<Place<'a>>,
    clips: Vec<Clip>,
    wanted: &WantedExcerpts,
) -> (Vec<String>, Vec<Place<'a>>, Vec<Clip>) {
    let mut out = (Vec::new(), Vec::new(), Vec::new());
    let mut put = |key: &str, place: &Place<'a>, clip: Clip| {
        out.0.push(key.to_string());
        out.1.push(place.clone());
        out.2.push(clip);
    };
    let all = || places.iter().zip(&clips);
    for (place, clip) in all().filter(|(place, _)| wanted.mics.contains(&place.take.mic)) {
        put(&place.take.mic, place, clip.clone());
    }
    for contestant in &wanted.contestants {
        for (place, clip) in all().filter(|(place, _)| place.take.mic == contestant.of) {
            let mut made = through(&contestant.filter, clip, std::slice::from_ref(clip), Vec::new()).clip;
            // The filter rings on where the excerpt ends.
            fade_over(&mut made.samples, made.rate_hz, FADE_S);
            put(&contestant.key, place, made);
        }
    }
    out
}
