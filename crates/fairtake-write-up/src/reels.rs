//! What is heard of a source: a reel with captions, its pieces by themselves, and a reel with numbers in place of names.

use crate::blind::{Drawn, equally_long};
use crate::jobs::Remarks;
use crate::names::Names;
use crate::{Material, ReelsWanted, WriteUpError};
use fairtake_audition::{
    AuditionError, Moment, PlaybackGain, Reel, Wanted, excerpts, gains_db, moments, reel,
};
use fairtake_files::FolderInMaking;
use fairtake_files::wav::{CueMarker, StoreAs, WavSpec};
use fairtake_report::captions::{Caption, subrip, webvtt};
use fairtake_report::spoken::{About, Chapter, description};
use fairtake_report::words::number;
use std::fmt::Write;

/// What of a source can be played, and how loud.
pub(crate) struct Playable {
    pub moments: Vec<Moment>,
    pub gains: Vec<PlaybackGain>,
}

/// What can be played of a source, by these microphones only where some are named; in words why nothing.
pub(crate) fn playable(
    m: &Material<'_>,
    source: &str,
    only: Option<[&str; 2]>,
    wanted: &ReelsWanted,
) -> Result<Playable, String> {
    let gone = m.gone_of(source);
    if !gone.is_empty() {
        return Err(format!("{} gone", list(&gone)));
    }
    let words = |e: AuditionError| e.to_string();
    let mut found = moments(m.takes, m.measures, m.findings, source).map_err(words)?;
    if let Some(mics) = only {
        for moment in &mut found {
            moment.parts.retain(|p| mics.contains(&p.mic.as_str()));
            moment.parts.sort_by_key(|p| mics.iter().position(|mic| *mic == p.mic));
        }
        found.retain(|moment| moment.parts.len() == mics.len());
    }
    let found = excerpts(&found, wanted.excerpt);
    let mics: Vec<String> =
        found.first().map_or(Vec::new(), |f| f.parts.iter().map(|p| p.mic.clone()).collect());
    let gains = gains_db(m.findings, source, &mics).map_err(words)?;
    Ok(Playable { moments: found, gains })
}

/// `a is`, `a and b are`, `a, b and 3 more are`.
fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => format!("{one} is"),
        [one, other] => format!("{one} and {other} are"),
        [one, other, more @ ..] => format!("{one}, {other} and {} more are", more.len()),
    }
}

/// What is asked of a reel.
pub(crate) fn asked(wanted: &ReelsWanted, orders: Vec<Vec<usize>>) -> Wanted {
    Wanted { gap_s: wanted.gap_s, most_moments: wanted.most_moments, most_s: wanted.most_s, orders }
}

/// Everything heard of one source.
pub(crate) fn reels(
    m: &Material<'_>,
    place: usize,
    source: &str,
    names: &Names,
    wanted: &ReelsWanted,
    into: &FolderInMaking,
) -> Remarks {
    let name = m.source_name(source);
    let stem = names.source(source);
    let playable = match playable(m, source, None, wanted) {
        Ok(playable) => playable,
        Err(why) => {
            return Ok(vec![describe(m, source, &stem, &[], into, format!("no reel of {name}: {why}"))?]);
        }
    };
    let made = match reel(m.takes, &playable.moments, &playable.gains, &asked(wanted, Vec::new())) {
        Ok(made) => made,
        Err(e) => return Ok(vec![describe(m, source, &stem, &[], into, format!("no reel of {name}: {e}"))?]),
    };
    let called = |mic: &str| m.mic_name(mic).to_string();
    let chapters = write_reel(into, &format!("reels/{stem}"), &made, called)?;
    write_excerpts(into, names, &stem, &made)?;
    let remark = describe(m, source, &stem, &chapters, into, stated(name, &made))?;
    let mut remarks = vec![remark];
    remarks.extend(playable.gains.iter().filter_map(|g| {
        let why = g.remark.as_ref()?;
        Some(format!("{name}, {}: {why}", m.mic_name(&g.mic)))
    }));
    if let Some(draw) = wanted.blind {
        let moments = equally_long(playable.moments);
        let drawn = draw.of(place, moments[0].parts.len(), moments.len());
        match reel(m.takes, &moments, &playable.gains, &asked(wanted, drawn.orders.clone())) {
            Ok(made) => write_blind(m, into, &stem, &moments, &made, &drawn, draw.seed)?,
            Err(e) => remarks.push(format!("no blind reel of {name}: {e}")),
        }
    }
    Ok(remarks)
}

/// Loudness as EBU R 128 wants it stated.
fn stated(name: &str, made: &Reel) -> String {
    format!(
        "{name}: {} pieces, {:.1} s, {} LUFS, true peak {} dBTP",
        made.pieces.len(),
        seconds(made, made.samples.len() as u64),
        number(made.loudness_lufs),
        number(made.true_peak_dbtp)
    )
}

fn seconds(made: &Reel, frame: u64) -> f64 {
    frame as f64 / f64::from(made.rate_hz)
}

/// The text that goes with a reel: what was found on the source, pair by pair, and when what is heard. Gives the remark back.
fn describe(
    m: &Material<'_>,
    source: &str,
    stem: &str,
    chapters: &[Chapter],
    into: &FolderInMaking,
    remark: String,
) -> Result<String, WriteUpError> {
    let here: Vec<usize> =
        (0..m.findings.comparisons.len()).filter(|i| m.findings.comparisons[*i].source == source).collect();
    let last = here.last().copied();
    let texts = here.iter().map(|i| {
        let chapters = if Some(*i) == last { chapters } else { &[] };
        description(m.findings, m.heard, About::Pair(*i), chapters)
    });
    into.put(&format!("reels/{stem}-description.txt"), texts.collect::<Vec<_>>().join("\n").as_bytes())?;
    Ok(remark)
}

/// What plays when, by the name that each microphone is called by.
pub(crate) fn captions(made: &Reel, called: impl Fn(&str) -> String) -> Vec<Caption> {
    let one = |p: &fairtake_audition::Piece| Caption {
        from_s: seconds(made, p.from_frame),
        to_s: seconds(made, p.to_frame),
        text: called(&p.mic),
    };
    made.pieces.iter().map(one).collect()
}

/// One channel of 24 bits.
pub(crate) fn spec(rate_hz: u32, cue_markers: Vec<CueMarker>) -> WavSpec {
    WavSpec { rate_hz, n_channels: 1, store_as: StoreAs::Int24, bext: None, cue_markers }
}

/// Sound with cue markers, captions in two forms; the chapters for a description.
fn write_reel(
    into: &FolderInMaking,
    stem: &str,
    made: &Reel,
    called: impl Fn(&str) -> String,
) -> Result<Vec<Chapter>, WriteUpError> {
    let captions = captions(made, &called);
    let cue_markers = (1u32..)
        .zip(&made.pieces)
        .map(|(id, p)| CueMarker { id, frame: p.from_frame, label: called(&p.mic) })
        .collect();
    into.put(&format!("{stem}.vtt"), webvtt(&captions).as_bytes())?;
    into.put(&format!("{stem}.srt"), subrip(&captions).as_bytes())?;
    into.put_wav(&format!("{stem}.wav"), spec(made.rate_hz, cue_markers), &made.samples)?;
    Ok(captions.iter().filter_map(|c| Chapter::new(c.from_s, &c.text)).collect())
}

/// Every piece of a reel as a file.
fn write_excerpts(into: &FolderInMaking, names: &Names, stem: &str, made: &Reel) -> Result<(), WriteUpError> {
    for p in &made.pieces {
        let name = format!("excerpts/{stem}-{:02}-{}.wav", p.moment + 1, names.mic(&p.mic));
        let samples = &made.samples[p.from_frame as usize..p.to_frame as usize];
        into.put_wav(&name, spec(made.rate_hz, Vec::new()), samples)?;
    }
    Ok(())
}

/// The reel under numbers, and its key in a folder of its own.
fn write_blind(
    m: &Material<'_>,
    into: &FolderInMaking,
    stem: &str,
    moments: &[Moment],
    made: &Reel,
    drawn: &Drawn,
    seed: u64,
) -> Result<(), WriteUpError> {
    let mics: Vec<&str> = moments[0].parts.iter().map(|p| p.mic.as_str()).collect();
    let number_of = |mic: &str| {
        mics.iter().position(|x| *x == mic).map_or(String::new(), |i| drawn.numbers[i].to_string())
    };
    write_reel(into, &format!("blind/{stem}"), made, number_of)?;
    let mut key = format!("Key of blind/{stem}.wav. To be read when the answers are written down.\n\n");
    let mut by_number: Vec<(String, &str)> = mics.iter().map(|mic| (number_of(mic), *mic)).collect();
    by_number.sort_by_key(|(number, _)| number.parse::<usize>().unwrap_or(0));
    for (number, mic) in by_number {
        let _ = writeln!(key, "{number} = {}", fairtake_report::spoken::one_line(m.mic_name(mic)));
    }
    key.push_str("\nIn order of playing, from s: number\n");
    for p in &made.pieces {
        let _ = writeln!(key, "{:.3}: {}", seconds(made, p.from_frame), number_of(&p.mic));
    }
    let _ = writeln!(key, "\nDrawn with seed {seed}.");
    into.put(&format!("key/{stem}.txt"), key.as_bytes())?;
    Ok(())
}
