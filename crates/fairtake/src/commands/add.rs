//! `add`: a recording into the shootout folder and its log. Nothing is copied before it is confirmed where the file is
//! to be cut or its channels are to be shared out; nothing is ever overwritten.

use crate::cli::{AddArgs, CutArg};
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_compare::{ReadError, Role};
use fairtake_files::{
    AudioError, AudioFile, FolderError, GapSettings, Intake, Log, LogError, LogFile, Proposal,
    ShootoutFolder, TakeEntry, channel_names, cut_at_gaps, cut_at_list, cut_at_markers, key_of,
};
use std::fmt::Write;

/// One take that would be logged.
struct Planned {
    /// Frames, where the file is cut.
    part: Option<(u64, u64)>,
    entry: TakeEntry,
}

/// Runs the command.
pub(crate) fn run(args: &AddArgs) -> Outcome {
    let folder = ShootoutFolder::open(&args.folder).map_err(of_folder)?;
    let log = folder.log().map_err(of_folder)?;
    let audio = AudioFile::open(&args.file).map_err(of_audio)?;
    let planned = match args.cut {
        Some(cut) => parts(args, cut, &audio, &log)?,
        None => channels(args, &audio, &log)?,
    };
    let needs_word = args.cut.is_some() || planned.len() > 1;
    if needs_word && !args.yes {
        print!("{}", shown(&planned, audio.rate_hz()));
        eprintln!(
            "nothing is written yet; say --yes when this is right, or name the microphones with --mics"
        );
        return Ok(Done::Clean);
    }
    let mut file = LogFile::read(&folder.log_path()).map_err(of_log)?;
    // The log has the first word: what it refuses is not copied.
    for take in &planned {
        let mut entry = take.entry.clone();
        if take.part.is_some() {
            entry.channel = 1;
        }
        file.add_take(&entry).map_err(of_log)?;
    }
    let mut intake = Intake::new(&args.folder);
    for (i, take) in planned.iter().enumerate() {
        let name = take.entry.file.trim_start_matches("takes/");
        match take.part {
            Some(part) => drop(intake.cut(&audio, take.entry.channel, part, name).map_err(of_audio)?),
            // Channels of one file share its copy.
            None if i == 0 => drop(intake.copy(&args.file, name).map_err(of_audio)?),
            None => {}
        }
    }
    let placed = intake.place().map_err(of_audio)?;
    if let Err(e) = file.write() {
        // What this run put in place is of no use without its line in the log.
        placed.take_back();
        return Err(of_log(e));
    }
    print!("{}", shown(&planned, audio.rate_hz()));
    Ok(Done::Clean)
}

/// One take per channel of a file that is taken whole.
fn channels(args: &AddArgs, audio: &AudioFile, log: &Log) -> Result<Vec<Planned>, Failure> {
    let n = usize::from(audio.n_channels());
    let names = match args.mics.len() {
        0 if !audio.metadata().track_names.is_empty() => channel_names(audio.metadata(), audio.n_channels()),
        given if given == n => args.mics.clone(),
        given => {
            return Err(Failure::new(
                format!("{}: channels {n}, microphones named {given}", args.file.display()),
                "name one microphone per channel: --mics A,B",
            ));
        }
    };
    let file = args.file.file_name().map(|f| f.to_string_lossy().into_owned()).unwrap_or_default();
    let performance = args.performance.unwrap_or(next(log, |t| t.performance));
    Ok(names
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let mut entry = entry(args, log, &format!("takes/{file}"), i as u16 + 1, &key_of(name));
            entry.performance = performance;
            entry.placement = args.placement.unwrap_or(last_placement(log, &entry).max(1));
            Planned { part: None, entry }
        })
        .collect())
}

/// One take per part of a file that is cut; a microphone that returns was set up again.
fn parts(args: &AddArgs, cut: CutArg, audio: &AudioFile, log: &Log) -> Result<Vec<Planned>, Failure> {
    let proposals: Vec<Proposal> = match (cut, &args.list) {
        (CutArg::Gaps, _) => {
            let quiet_peak = 10f64.powf(args.quiet / 20.0) as f32;
            let samples = audio.channel(1).map_err(of_audio)?;
            cut_at_gaps(&samples, GapSettings { quiet_peak, gap_s: args.gap })
                .map_err(|e: ReadError| Failure::new(&e, &e.hint))?
        }
        (CutArg::Markers, _) => cut_at_markers(audio.metadata(), audio.frames()),
        (CutArg::List, Some(path)) => {
            let text = std::fs::read_to_string(path)
                .map_err(|e| Failure::new(format!("{}: {e}", path.display()), "check the path"))?;
            cut_at_list(&text, audio.rate_hz(), audio.frames())
                .map_err(|e| Failure::new(&e, "write lines such as `1:30 moorhen`, in order of time"))?
        }
        (CutArg::List, None) => {
            return Err(Failure::new("no list is named", "name a text file with --list FILE"));
        }
    };
    if proposals.is_empty() {
        return Err(Failure::new(
            format!("{}: nothing to cut at was found", args.file.display()),
            "try --cut gaps with another --gap or --quiet, or write a list",
        ));
    }
    if !args.mics.is_empty() && args.mics.len() != proposals.len() {
        return Err(Failure::new(
            format!("{} parts were found, and {} microphones are named", proposals.len(), args.mics.len()),
            "name one per part, in order; look at the parts by leaving --mics out",
        ));
    }
    let stem = args.file.file_stem().map(|s| key_of(&s.to_string_lossy())).unwrap_or_default();
    let first = next(log, |t| t.performance);
    let mut out: Vec<Planned> = Vec::new();
    for (i, proposal) in proposals.iter().enumerate() {
        let mic = key_of(args.mics.get(i).unwrap_or(&proposal.name));
        let file = format!("takes/{stem}-{}-{mic}.wav", i + 1);
        let mut entry = entry(args, log, &file, 1, &mic);
        entry.performance = args.performance.unwrap_or(first).saturating_add(i as u32);
        entry.order = entry.order.map(|o| o.saturating_add(i as u32));
        let earlier = out.iter().filter(|p| p.entry.mic == mic).count() as u32;
        entry.placement = args.placement.unwrap_or(last_placement(log, &entry).saturating_add(1 + earlier));
        // The quiet before a part is where its noise is measured.
        let lead = u64::from(audio.rate_hz()) * 2;
        let from = if cut == CutArg::Gaps {
            let before = if i == 0 { 0 } else { proposals[i - 1].end_frame };
            proposal.start_frame.saturating_sub(lead).max(before)
        } else {
            proposal.start_frame
        };
        out.push(Planned { part: Some((from, proposal.end_frame)), entry });
    }
    Ok(out)
}

fn entry(args: &AddArgs, log: &Log, file: &str, channel: u16, mic: &str) -> TakeEntry {
    let mut entry = TakeEntry::new(file, channel, mic, &key_of(&args.source));
    entry.role = Role::from(args.role);
    entry.position = args.position.clone();
    entry.chain.gain_db = args.gain;
    entry.order = Some(next(log, |t| t.order.unwrap_or(0)));
    entry
}

/// One more than the greatest number logged.
fn next(log: &Log, number: impl Fn(&TakeEntry) -> u32) -> u32 {
    log.takes.iter().map(number).max().unwrap_or(0).saturating_add(1)
}

/// The last setting-up logged of a microphone at a source; 0 where there is none.
fn last_placement(log: &Log, entry: &TakeEntry) -> u32 {
    let same = |t: &&TakeEntry| t.mic == entry.mic && t.source == entry.source;
    log.takes.iter().filter(same).map(|t| t.placement).max().unwrap_or(0)
}

fn shown(planned: &[Planned], rate_hz: u32) -> String {
    let mut out = format!(
        "{:<36} {:>9} {:>9}  {:<16} {:<16} {:>9} {:>11}\n",
        "take", "from, s", "to, s", "microphone", "source", "placement", "performance"
    );
    for p in planned {
        let at = |frame: u64| format!("{:.2}", frame as f64 / f64::from(rate_hz));
        let (from, to) = p.part.map_or(("start".into(), "end".into()), |(a, b)| (at(a), at(b)));
        let name = if p.part.is_none() && p.entry.channel > 1 {
            format!("{} channel {}", p.entry.file, p.entry.channel)
        } else {
            p.entry.file.clone()
        };
        let e = &p.entry;
        let _ = writeln!(
            out,
            "{name:<36} {from:>9} {to:>9}  {:<16} {:<16} {:>9} {:>11}",
            e.mic, e.source, e.placement, e.performance
        );
    }
    out
}

fn of_folder(e: FolderError) -> Failure {
    Failure::new(&e, e.hint())
}

fn of_audio(e: AudioError) -> Failure {
    Failure::new(&e, e.hint())
}

fn of_log(e: LogError) -> Failure {
    Failure::new(&e, &e.hint)
}
