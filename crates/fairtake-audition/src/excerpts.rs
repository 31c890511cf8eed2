//! Shorter moments from longer ones: one event each, or so many seconds each.

use crate::moments::LEAD_S;
use crate::{Moment, MomentKind, Stretch};

/// What one piece of a reel holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Excerpt {
    /// A moment as it stands: a passage of several events.
    Passage,
    /// One event. Sustained sound, in which no onsets are counted, stays as it stands.
    Event,
    /// So many seconds, 0.2 to 60; a rest of less than half of it is left away.
    Seconds(f64),
}

/// Shortest and longest excerpt in seconds.
pub const EXCERPT_S: (f64, f64) = (0.2, 60.0);

/// The moments cut into excerpts, in order, all parts at the same places. Where moments are cut, the whole of a performance is
/// left away if passages hold the same again.
pub fn excerpts(moments: &[Moment], excerpt: Excerpt) -> Vec<Moment> {
    let cut = |m: &Moment, spans: &[(f64, f64)]| -> Vec<Moment> {
        spans.iter().filter_map(|(from_s, to_s)| within(m, *from_s, *to_s)).collect()
    };
    match excerpt {
        Excerpt::Passage => moments.to_vec(),
        Excerpt::Event => once(moments).flat_map(|m| cut(m, &events(m))).collect(),
        Excerpt::Seconds(s) => {
            let s = s.clamp(EXCERPT_S.0, EXCERPT_S.1);
            once(moments).flat_map(|m| cut(m, &slices(m.duration_s, s))).collect()
        }
    }
}

/// Every sound once: the whole of a take is left away where passages hold it again.
pub(crate) fn once(moments: &[Moment]) -> impl Iterator<Item = &Moment> {
    let take = |m: &Moment| m.parts.first().map(|p| p.take.clone());
    let again =
        move |whole: &Moment| moments.iter().any(|m| m.kind != MomentKind::Whole && take(m) == take(whole));
    moments.iter().filter(move |m| m.kind != MomentKind::Whole || !again(m))
}

/// From shortly before each onset to shortly before the next.
fn events(m: &Moment) -> Vec<(f64, f64)> {
    let begins: Vec<f64> = m.onsets_s.iter().map(|o| (o - LEAD_S).max(0.0)).collect();
    match begins.as_slice() {
        [] | [_] => vec![(0.0, m.duration_s)],
        _ => {
            let ends = begins.iter().skip(1).copied().chain([m.duration_s]);
            begins.iter().copied().zip(ends).filter(|(from, to)| to > from).collect()
        }
    }
}

fn slices(duration_s: f64, s: f64) -> Vec<(f64, f64)> {
    let n = (duration_s / s).floor() as usize;
    let mut out: Vec<(f64, f64)> = (0..n).map(|k| (k as f64 * s, (k + 1) as f64 * s)).collect();
    let rest = duration_s - n as f64 * s;
    if n == 0 || rest >= s / 2.0 {
        out.push((n as f64 * s, duration_s));
    }
    out
}

/// A stretch of a moment; `None` where it holds no frame.
fn within(m: &Moment, from_s: f64, to_s: f64) -> Option<Moment> {
    let mut out = m.clone();
    for part in &mut out.parts {
        let frame = |s: f64| ((s * f64::from(part.rate_hz)).round() as u64).min(part.stretch.frames);
        let (from, to) = (frame(from_s), frame(to_s));
        part.stretch = Stretch { start: part.stretch.start + from as i64, frames: to - from };
    }
    if out.parts.iter().any(|p| p.stretch.frames == 0) {
        return None;
    }
    out.kind = if m.onsets_s.len() > 1 { MomentKind::Event } else { m.kind };
    out.duration_s = to_s - from_s;
    out.onsets_s = m.onsets_s.iter().filter(|o| **o >= from_s && **o < to_s).map(|o| o - from_s).collect();
    if out.onsets_s.len() > 1 {
        out.kind = MomentKind::Passage;
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Paired, Part};

    /// Hits a second apart in 4.3 s of sound, of two microphones at different rates.
    fn moment() -> Moment {
        let part = |mic: &str, rate_hz: u32, start: i64| Part {
            mic: mic.into(),
            take: mic.into(),
            rate_hz,
            stretch: Stretch { start, frames: (4.3 * f64::from(rate_hz)) as u64 },
        };
        Moment {
            source: "drum".into(),
            kind: MomentKind::Passage,
            paired: Paired::SamePerformance,
            duration_s: 4.3,
            onsets_s: vec![0.05, 1.05, 2.05, 3.05],
            parts: vec![part("a", 48_000, 100), part("b", 96_000, -50)],
        }
    }

    #[test]
    fn one_event_lasts_until_the_next_begins() {
        let cut = excerpts(&[moment()], Excerpt::Event);
        let starts: Vec<(i64, i64)> =
            cut.iter().map(|m| (m.parts[0].stretch.start, m.parts[1].stretch.start)).collect();
        assert_eq!(starts, [(100, -50), (48_100, 95_950), (96_100, 191_950), (144_100, 287_950)]);
        assert!(cut[..3].iter().all(|m| m.parts[0].stretch.frames == 48_000 && m.kind == MomentKind::Event));
        assert_eq!(cut[3].parts[0].stretch.frames, 62_400);
        assert!(cut.iter().all(|m| m.onsets_s.len() == 1 && (m.onsets_s[0] - 0.05).abs() < 1e-9));
    }

    #[test]
    fn seconds_are_counted_and_a_short_rest_is_left_away() {
        let n = |s: f64| excerpts(&[moment()], Excerpt::Seconds(s)).len();
        assert_eq!((n(1.0), n(2.0), n(0.8), n(10.0)), (4, 2, 5, 1));
        let cut = excerpts(&[moment()], Excerpt::Seconds(2.0));
        assert!(cut.iter().all(|m| m.parts[1].stretch.frames == 192_000 && m.kind == MomentKind::Passage));
    }

    #[test]
    fn the_whole_is_not_heard_twice_and_sustained_sound_stays_as_it_is() {
        let whole = Moment { kind: MomentKind::Whole, ..moment() };
        assert_eq!(excerpts(&[moment(), whole.clone()], Excerpt::Event).len(), 4);
        assert_eq!(excerpts(&[moment(), whole.clone()], Excerpt::Passage).len(), 2);
        // A whole that is one passage is not there a second time.
        assert_eq!(excerpts(&[whole], Excerpt::Event).len(), 4);
        let held = Moment { kind: MomentKind::Beginning, onsets_s: vec![0.05], ..moment() };
        let cut = excerpts(std::slice::from_ref(&held), Excerpt::Event);
        assert_eq!((cut.len(), cut[0].parts[0].stretch), (1, held.parts[0].stretch));
    }
}
