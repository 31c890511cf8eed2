//! Excerpts for a blind test: equally long, equally loud, at one rate, cut on events.

mod contestants;

pub use contestants::Contestant;

use crate::clip::{checked, fade_over, gain_factor, read};
use crate::imposed::{Extent, imposed};
use crate::pairing::compared_mics;
use crate::{AuditionError, Clip, Stretch};
use contestants::with_contestants;
use fairtake_compare::{Design, Findings, Role, Take, TakeMeasure};
use fairtake_listen::{Excerpt, Material, Paired};
use fairtake_signal::loudness::KWeighting;
use fairtake_signal::units::power_db;
use serde::Serialize;

/// Length of the fades in seconds.
const FADE_S: f64 = 0.01;
/// An excerpt begins this long before its first onset, in seconds: longer than the fade, so that no attack is faded.
const LEAD_S: f64 = 0.05;
/// Where too few excerpts of the length asked for fit, half of it is tried, down to this, in seconds.
const SHORTEST_S: f64 = 0.25;
/// A pass should give so many excerpts, so that another one can be the unknown.
const FEWEST: usize = 2;

/// What is presented besides the excerpts as recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// As recorded, level-matched.
    AsRecorded,
    /// The reference of the comparison has the found difference imposed: what is heard then is not the spectrum.
    EqualSpectrum,
}

/// What excerpts are asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct WantedExcerpts {
    /// Keys of the microphones.
    pub mics: Vec<String>,
    /// Microphones with a filter besides these; theirs need not be among `mics`.
    pub contestants: Vec<Contestant>,
    /// Length in seconds, 0.25 to 10; shorter where too few fit.
    pub seconds: f64,
    /// No more of each pass than this.
    pub most_per_pass: usize,
    /// As recorded or not.
    pub condition: Condition,
}

/// What is to be said of the excerpts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AboutExcerpts {
    /// Sampling rate in Hz, of all.
    pub rate_hz: u32,
    /// Frames, of each.
    pub frames: usize,
    /// Length in seconds, of each.
    pub seconds: f64,
    /// Event loudness of all, in LUFS.
    pub loudness_lufs: f64,
    /// How far each was turned down, in dB, 0 or less.
    pub gains_db: Vec<f64>,
    /// As recorded or not.
    pub condition: Condition,
    /// What is left as it is in a condition of equal spectra.
    pub remarks: Vec<String>,
}

/// Excerpts with what they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Excerpts {
    /// Which they are.
    pub material: Material,
    /// Their samples, in the same order; full scale ±1.
    pub clips: Vec<Clip>,
    /// What is to be said of them.
    pub about: AboutExcerpts,
}

/// Where an excerpt lies.
#[derive(Clone)]
struct Place<'a> {
    take: &'a Take,
    stretch: Stretch,
    /// Equal for what is the same sound.
    sound: u32,
    words: String,
}

/// Cuts excerpts of a source: stretches that begin 50 ms before an event and hold no event that was left out, one after the other.
///
/// Each is faded over 10 ms at both ends and then turned down to the event loudness of the softest, so that all are
/// equally loud whatever was played.
///
/// # Errors
/// When the microphones were not compared on the source, the rates differ, nothing of that length can be cut, or no
/// difference is known that could be imposed.
///
/// # Source
/// Event loudness: docs/methods/levels.md. Equal loudness within 0.1 LU: docs/methods/listening.md.
pub fn equal_excerpts(
    takes: &[Take],
    measures: &[TakeMeasure],
    findings: &Findings,
    source: &str,
    wanted: &WantedExcerpts,
) -> Result<Excerpts, AuditionError> {
    let none = |why: String| AuditionError::NoExcerpts { source: source.to_string(), why };
    let known = compared_mics(findings, source);
    let mut mics = wanted.mics.clone();
    for contestant in &wanted.contestants {
        if !mics.contains(&contestant.of) {
            mics.push(contestant.of.clone());
        }
    }
    if let Some(mic) = mics.iter().find(|m| !known.contains(m)) {
        return Err(AuditionError::NotCompared { mic: mic.clone(), source: source.to_string() });
    }
    if !(SHORTEST_S..=10.0).contains(&wanted.seconds) {
        return Err(none(format!("{} s is no length for an excerpt; 0.25 to 10 s are", wanted.seconds)));
    }
    let lanes = lanes(takes, measures, findings, source, &mics)?;
    let rate_hz = lanes.first().map_or(0, |l| l.take.samples.rate_hz());
    if let Some(lane) = lanes.iter().find(|l| l.take.samples.rate_hz() != rate_hz) {
        let (other, id) = (lane.take.samples.rate_hz(), &lane.take.id);
        return Err(none(format!("{id} has {other} Hz and the first take {rate_hz} Hz")));
    }
    let paired = paired(findings, source, &mics);
    let mut seconds = wanted.seconds;
    let places = loop {
        let found = places(&lanes, paired, seconds, wanted.most_per_pass);
        if enough(&found, &mics, paired) {
            break found;
        }
        seconds /= 2.0;
        if seconds < SHORTEST_S {
            return Err(none(format!(
                "no {SHORTEST_S} s and longer can be cut twice from takes of each microphone without events that were left out"
            )));
        }
    };
    let mut clips = Vec::new();
    for place in &places {
        clips.push(cut(place)?);
    }
    let remarks = match wanted.condition {
        Condition::AsRecorded => Vec::new(),
        Condition::EqualSpectrum => equal_spectra(&mut clips, &places, findings, source, &wanted.mics)?,
    };
    let (keys, places, mut clips) = with_contestants(places, clips, wanted);
    let loudness_lufs = match_loudness(&mut clips).ok_or_else(|| none("one of them is silent".into()))?;
    let excerpts = places
        .iter()
        .zip(keys)
        .map(|(p, mic)| Excerpt {
            mic,
            placement: p.take.placement,
            performance: p.take.performance,
            sound: p.sound,
            words: p.words.clone(),
        })
        .collect();
    let frames = clips.first().map_or(0, |c| c.samples.len());
    let about = AboutExcerpts {
        rate_hz,
        frames,
        seconds: frames as f64 / f64::from(rate_hz),
        loudness_lufs,
        gains_db: clips.iter().map(|c| c.gain_db).collect(),
        condition: wanted.condition,
        remarks,
    };
    let has_equal_spectra = wanted.condition == Condition::EqualSpectrum;
    let material = Material { source: source.to_string(), paired, excerpts, has_equal_spectra };
    Ok(Excerpts { material, clips, about })
}

/// Event loudness in LUFS; `None` of silence.
pub fn event_loudness_lufs(samples: &[f32], rate_hz: u32) -> Option<f64> {
    /// Seconds of BS.1770's gating block, to which the energy of an event is referred.
    const BLOCK_S: f64 = 0.4;
    let energy: f64 = KWeighting::new(rate_hz).energies(samples, samples.len().max(1)).iter().sum();
    power_db(energy / f64::from(rate_hz) / BLOCK_S).map(|db| db - 0.691)
}

struct Lane<'a> {
    take: &'a Take,
    measure: &'a TakeMeasure,
}

fn lanes<'a>(
    takes: &'a [Take],
    measures: &'a [TakeMeasure],
    findings: &Findings,
    source: &str,
    mics: &[String],
) -> Result<Vec<Lane<'a>>, AuditionError> {
    let used = findings
        .takes
        .iter()
        .filter(|t| t.source == source && t.role == Role::Compared && !t.left_out && mics.contains(&t.mic));
    used.map(|entry| {
        let take = takes.iter().find(|t| t.id == entry.id);
        let measure = measures.iter().find(|m| m.take == entry.id);
        Ok(Lane {
            take: take.ok_or_else(|| AuditionError::NoSamples { take: entry.id.clone() })?,
            measure: measure.ok_or_else(|| AuditionError::NoMeasure { take: entry.id.clone() })?,
        })
    })
    .collect()
}

/// The same sound where all microphones are in step with the reference of the findings, be that among them or not; a microphone and
/// itself with a filter hear the same sound too.
fn paired(findings: &Findings, source: &str, mics: &[String]) -> Paired {
    if mics.len() < 2 {
        return Paired::SameSound;
    }
    let theirs = findings.comparisons.iter().filter(|c| c.source == source && mics.contains(&c.against));
    let in_step: Vec<bool> =
        theirs.map(|c| matches!(c.design, Design::Together | Design::Replayed)).collect();
    // Where nothing is compared nothing is known to be in step.
    match !in_step.is_empty() && in_step.iter().all(|is| *is) {
        true => Paired::SameSound,
        false => Paired::PlayedAgain,
    }
}

fn is_replayed(lanes: &[Lane]) -> bool {
    let shared = |p: u32| lanes.iter().filter(|l| l.take.performance == p).count() > 1;
    !lanes.iter().any(|l| shared(l.take.performance))
}

fn places<'a>(lanes: &[Lane<'a>], paired: Paired, seconds: f64, most: usize) -> Vec<Place<'a>> {
    match paired {
        Paired::PlayedAgain => {
            let mut sound = 0;
            lanes
                .iter()
                .flat_map(|lane| {
                    let first = sound;
                    let found = of_group(&[lane], seconds, most);
                    sound += found.len() as u32;
                    found.into_iter().enumerate().map(move |(i, mut place)| {
                        place.sound = first + i as u32;
                        place
                    })
                })
                .collect()
        }
        Paired::SameSound => {
            // Takes of one performance; of what was played back, all takes hold the one recording.
            let replayed = is_replayed(lanes);
            let mut groups: Vec<(u32, Vec<&Lane<'a>>)> = Vec::new();
            for lane in lanes {
                let key = if replayed { 0 } else { lane.take.performance };
                match groups.iter_mut().find(|(k, _)| *k == key) {
                    Some((_, group)) => group.push(lane),
                    None => groups.push((key, vec![lane])),
                }
            }
            let mut out = Vec::new();
            for (g, (_, group)) in groups.iter().enumerate() {
                let mut found = of_group(group, seconds, most);
                found.iter_mut().for_each(|p| p.sound += 10_000 * g as u32);
                out.extend(found);
            }
            out
        }
    }
}

/// Excerpts of takes whose events correspond one to one.
fn of_group<'a>(group: &[&Lane<'a>], seconds: f64, most: usize) -> Vec<Place<'a>> {
    let n_events = group.iter().map(|l| l.measure.events.len()).min().unwrap_or(0);
    let usable = |i: usize| group.iter().all(|l| l.measure.events[i].left_out.is_none());
    let sustained = |l: &Lane| l.measure.playing == fairtake_compare::Playing::Sustained;
    let starts_s = |l: &Lane, i: usize| {
        let lead = if sustained(l) { 0.0 } else { LEAD_S };
        (if sustained(l) { l.measure.events[i].start_s } else { l.measure.events[i].onset_s }) - lead
    };
    let mut out: Vec<Place<'a>> = Vec::new();
    let (mut i, mut n) = (0, 0);
    while i < n_events && n < most {
        let first = i;
        // Events that begin within the excerpt, in any of the takes.
        let mut end = first + 1;
        while end < n_events && group.iter().any(|l| starts_s(l, end) + LEAD_S < starts_s(l, first) + seconds)
        {
            end += 1;
        }
        let fits = group.iter().all(|l| {
            let rate = f64::from(l.take.samples.rate_hz());
            let from = starts_s(l, first);
            let long_enough = !sustained(l)
                || l.measure.events[end - 1].end_s - l.measure.events[first].start_s >= seconds - 1e-6;
            from >= 0.0 && long_enough && ((from + seconds) * rate) as u64 <= l.take.samples.frames()
        });
        if !fits || !(first..end).all(usable) {
            i += 1;
            continue;
        }
        for l in group {
            let rate = f64::from(l.take.samples.rate_hz());
            let start = (starts_s(l, first) * rate).round() as i64;
            let frames = (seconds * rate).round() as u64;
            let what = if end - first == 1 {
                format!("event {}", first + 1)
            } else {
                format!("events {} to {}", first + 1, end)
            };
            let words = format!("{what} of {}, from {:.2} s", l.take.id, starts_s(l, first).max(0.0));
            out.push(Place { take: l.take, stretch: Stretch { start, frames }, sound: first as u32, words });
        }
        n += 1;
        i = end;
    }
    out
}

/// Every microphone has excerpts, and, where all was played again, a pass with two.
fn enough(places: &[Place], mics: &[String], paired: Paired) -> bool {
    mics.iter().all(|mic| {
        let own: Vec<&Place> = places.iter().filter(|p| p.take.mic == *mic).collect();
        let in_pass = |take: &Take| own.iter().filter(|p| p.take.id == take.id).count();
        let most = own.iter().map(|p| in_pass(p.take)).max().unwrap_or(0);
        most >= if paired == Paired::SameSound { 1 } else { FEWEST }
    })
}

fn cut(place: &Place) -> Result<Clip, AuditionError> {
    let n = checked(place.take, place.stretch, 0.0)?;
    let mut samples = vec![0f32; n];
    read(place.take, place.stretch.start, &mut samples)?;
    let rate_hz = place.take.samples.rate_hz();
    fade_over(&mut samples, rate_hz, FADE_S);
    Ok(Clip { rate_hz, samples, gain_db: 0.0 })
}

/// Turns all down to the event loudness of the softest, and returns it in LUFS; `None` where one is silent.
fn match_loudness(clips: &mut [Clip]) -> Option<f64> {
    let own: Option<Vec<f64>> = clips.iter().map(|c| event_loudness_lufs(&c.samples, c.rate_hz)).collect();
    let own = own?;
    let softest = own.iter().copied().fold(f64::INFINITY, f64::min);
    for (clip, lufs) in clips.iter_mut().zip(&own) {
        let gain = gain_factor(softest - lufs);
        clip.samples.iter_mut().for_each(|x| *x = (f64::from(*x) * gain) as f32);
        clip.gain_db += softest - lufs;
    }
    softest.is_finite().then_some(softest)
}

/// Imposes the found difference on the excerpts of the comparison's reference.
fn equal_spectra(
    clips: &mut [Clip],
    places: &[Place],
    findings: &Findings,
    source: &str,
    mics: &[String],
) -> Result<Vec<String>, AuditionError> {
    let of = |c: &&fairtake_compare::ComparisonFindings| {
        c.source == source && mics.len() == 2 && mics.contains(&c.reference) && mics.contains(&c.against)
    };
    let comparison = findings.comparisons.iter().find(of).ok_or_else(|| AuditionError::NoExcerpts {
        source: source.to_string(),
        why: "spectra are made equal between two microphones that were compared with each other".into(),
    })?;
    let mut remarks = Vec::new();
    for (clip, place) in clips.iter_mut().zip(places) {
        if place.take.mic == comparison.reference {
            let made = imposed(clip, std::slice::from_ref(clip), comparison, Extent::Everywhere)?;
            remarks = made.remarks;
            *clip = made.clip;
            fade_over(&mut clip.samples, clip.rate_hz, FADE_S);
        }
    }
    Ok(remarks)
}

#[cfg(test)]
mod tests;
