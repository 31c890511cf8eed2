//! Proposals for cutting one long recording in which microphones were changed in turn. Nothing is copied here.

use crate::wav::Metadata;
use fairtake_compare::{ReadError, Samples};

/// A proposed stretch, `start_frame..end_frame`, with a name for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// First frame.
    pub start_frame: u64,
    /// The frame after the last.
    pub end_frame: u64,
    /// Label of the marker, typed name, or `part N`.
    pub name: String,
}

/// What counts as a gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapSettings {
    /// A block whose peak stays below this (full scale = 1) is quiet.
    pub quiet_peak: f32,
    /// Quiet for at least so long is a gap.
    pub gap_s: f64,
}

/// A typed list could not be understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListError {
    /// Line, counted from 1.
    pub line: usize,
    /// What was found.
    pub what: String,
}

impl std::fmt::Display for ListError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "line {} of the list: {}", self.line, self.what)
    }
}

impl std::error::Error for ListError {}

/// Blocks of a twentieth of a second: shorter than any pause between microphones.
const BLOCKS_PER_S: u32 = 20;

/// Cuts at gaps, to the nearest block of 50 ms.
///
/// # Errors
/// When the samples cannot be read.
pub fn cut_at_gaps(samples: &dyn Samples, settings: GapSettings) -> Result<Vec<Proposal>, ReadError> {
    let block_frames = (samples.rate_hz() / BLOCKS_PER_S) as usize;
    let gap_frames = (settings.gap_s * f64::from(samples.rate_hz())) as u64;
    let mut block = vec![0.0f32; block_frames];
    let mut stretches: Vec<(u64, u64)> = Vec::new();
    let mut at = 0u64;
    while at < samples.frames() {
        let n = samples.read(at, &mut block)?;
        if n == 0 {
            break;
        }
        let end = at + n as u64;
        if block[..n].iter().any(|x| x.abs() >= settings.quiet_peak) {
            match stretches.last_mut() {
                Some(last) if at - last.1 < gap_frames => last.1 = end,
                _ => stretches.push((at, end)),
            }
        }
        at = end;
    }
    let named = stretches.iter().enumerate();
    Ok(named
        .map(|(i, (start, end))| Proposal {
            start_frame: *start,
            end_frame: *end,
            name: format!("part {}", i + 1),
        })
        .collect())
}

/// Cuts at cue markers: each begins a stretch that ends at the next, or at the end. What lies before the first is
/// left out, and markers beyond the end are passed over.
pub fn cut_at_markers(metadata: &Metadata, n_frames: u64) -> Vec<Proposal> {
    let starts = metadata.cue_markers.iter().map(|m| (m.frame, m.label.clone())).collect();
    between(starts, n_frames)
}

/// Cuts at a typed list, one stretch a line: `seconds name` or `minutes:seconds name`, in order of time.
///
/// # Errors
/// When a line has no time, is out of order or beyond the end.
pub fn cut_at_list(list: &str, rate_hz: u32, n_frames: u64) -> Result<Vec<Proposal>, ListError> {
    let mut starts: Vec<(u64, String)> = Vec::new();
    for (idx, text) in list.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let fail = |what| ListError { line: idx + 1, what };
        let (time, name) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), ""));
        let time_s = seconds(time).ok_or_else(|| fail(format!("`{time}` is no time (seconds, or m:ss)")))?;
        let frame = (time_s * f64::from(rate_hz)).round() as u64;
        if frame >= n_frames {
            return Err(fail(format!("`{time}` is beyond the end of the recording")));
        }
        if starts.last().is_some_and(|(last, _)| frame <= *last) {
            return Err(fail(format!("`{time}` is not after the line before")));
        }
        starts.push((frame, name.trim().into()));
    }
    Ok(between(starts, n_frames))
}

/// Names for the channels of a polyphonic file, from its track names; `channel N` where there is none.
pub fn channel_names(metadata: &Metadata, n_channels: u16) -> Vec<String> {
    let named = |c: u16| metadata.track_names.iter().find(|(channel, _)| *channel == c);
    (1..=n_channels).map(|c| named(c).map_or(format!("channel {c}"), |(_, name)| name.clone())).collect()
}

fn seconds(time: &str) -> Option<f64> {
    let (minutes, rest) = time.split_once(':').unwrap_or(("0", time));
    let (minutes, rest_s) = (minutes.parse::<u32>().ok()?, rest.parse::<f64>().ok()?);
    (rest_s.is_finite() && rest_s >= 0.0).then(|| f64::from(minutes) * 60.0 + rest_s)
}

fn between(mut starts: Vec<(u64, String)>, n_frames: u64) -> Vec<Proposal> {
    starts.retain(|(frame, _)| *frame < n_frames);
    starts.dedup_by_key(|(frame, _)| *frame);
    let ends: Vec<u64> = starts.iter().skip(1).map(|(frame, _)| *frame).chain([n_frames]).collect();
    let joined = starts.into_iter().zip(ends).enumerate();
    joined
        .map(|(i, ((start_frame, name), end_frame))| {
            let name = if name.is_empty() { format!("part {}", i + 1) } else { name };
            Proposal { start_frame, end_frame, name }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::CueMarker;

    struct Made(Vec<f32>);

    impl Samples for Made {
        fn rate_hz(&self) -> u32 {
            8000
        }
        fn frames(&self) -> u64 {
            self.0.len() as u64
        }
        fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
            let left = &self.0[start as usize..];
            let n = out.len().min(left.len());
            out[..n].copy_from_slice(&left[..n]);
            Ok(n)
        }
    }

    fn part(start_frame: u64, end_frame: u64, name: &str) -> Proposal {
        Proposal { start_frame, end_frame, name: name.into() }
    }

    #[test]
    fn a_long_pause_cuts_and_a_short_one_does_not() {
        let mut x = vec![0.0; 80_000];
        x[8000..16_000].fill(0.5);
        x[20_000..24_000].fill(-0.5);
        x[48_000..60_000].fill(0.5);
        let settings = GapSettings { quiet_peak: 0.1, gap_s: 2.0 };
        let parts = cut_at_gaps(&Made(x), settings).expect("reads");
        assert_eq!(parts, [part(8000, 24_000, "part 1"), part(48_000, 60_000, "part 2")]);
        assert_eq!(cut_at_gaps(&Made(vec![0.0; 9]), settings).expect("reads"), []);
    }

    #[test]
    fn markers_and_lists_cut_where_they_say() {
        let cue = |frame, label: &str| CueMarker { id: frame as u32, frame, label: label.into() };
        let cue_markers = vec![cue(10, "heron"), cue(50, ""), cue(500, "late")];
        let metadata =
            Metadata { cue_markers, track_names: vec![(2, "moorhen".into())], ..Metadata::default() };
        assert_eq!(cut_at_markers(&metadata, 100), [part(10, 50, "heron"), part(50, 100, "part 2")]);
        assert_eq!(channel_names(&metadata, 2), ["channel 1", "moorhen"]);
        let list = "0.5 heron\n\n1:01.25 the moorhen\n";
        let parts = cut_at_list(list, 8000, 1_000_000).expect("is good");
        assert_eq!(parts, [part(4000, 490_000, "heron"), part(490_000, 1_000_000, "the moorhen")]);
        for (bad, line) in
            [("x heron", 1), ("2 a\n1 b", 2), ("1 a\n\n999999 b", 3), ("-1 a", 1), ("nan a", 1)]
        {
            assert_eq!(cut_at_list(bad, 8000, 1_000_000).expect_err(bad).line, line);
        }
    }
}
