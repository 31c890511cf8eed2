//! `write-up`: everything that is said, shown and heard of a shootout, in one folder with a manifest.

use super::analysis::{self, Input};
use super::compare::to_json;
use crate::cli::WriteUpArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_audition::{Moment, Reel, Wanted, gains_db, moments, reel};
use fairtake_compare::{Findings, Measurement};
use fairtake_files::wav::{CueMarker, Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{FolderInMaking, write_whole};
use fairtake_report::captions::{Caption, subrip, webvtt};
use fairtake_report::figure::{Corridor, FigureError, Letters, Still, png, reveal, svg};
use fairtake_report::spoken::{About, Chapter, Length, description, speech, table};
use fairtake_report::{events, page, pdf};
use std::path::Path;

/// Runs the command.
pub(crate) fn run(args: &WriteUpArgs) -> Outcome {
    let target = args.into.clone().unwrap_or_else(|| args.folder.join("write-up"));
    let making = FolderInMaking::begin(&target).map_err(|e| Failure::new(&e, e.hint()))?;
    let input = analysis::open_folder(&args.folder)?;
    let (measurement, settings) = analysis::measure(&input, &args.analysis)?;
    let mut findings = measurement.findings.clone();
    findings.keep_own_words(&input.shootout);
    let into = making.path();
    let put = |name: &str, text: &str| put(into, name, text.as_bytes());
    let heard = super::listen::heard(&args.folder, &input.shootout)?;
    put("report.html", &page::page_with(&findings, &heard))?;
    write_pdf(into, &findings)?;
    put("data/findings.json", &to_json(&findings)?)?;
    put("data/events.csv", &events::table(&measurement.measures, settings.bands_per_octave))?;
    put("words/spoken-60-s.txt", &speech(&findings, About::Whole, Length::Minute).text)?;
    put("words/spoken-180-s.txt", &speech(&findings, About::Whole, Length::ThreeMinutes).text)?;
    for (i, c) in findings.comparisons.iter().enumerate() {
        let name =
            format!("{}-{}-against-{}", file_name(&c.source), file_name(&c.against), file_name(&c.reference));
        put(&format!("words/{name}-60-s.txt"), &speech(&findings, About::Pair(i), Length::Minute).text)?;
        put(
            &format!("words/{name}-180-s.txt"),
            &speech(&findings, About::Pair(i), Length::ThreeMinutes).text,
        )?;
        put(&format!("words/{name}-table.txt"), &table(&findings, c))?;
        write_figures(into, &name, &Corridor::new(&findings, c))?;
    }
    let mut chapters = Vec::new();
    for source in &findings.sources {
        match reel_of(&input, &measurement, &source.id, args) {
            Ok(made) => chapters.push((source.id.clone(), write_reel(into, &findings, &source.id, &made)?)),
            // What needs no audio is written all the same, and what could not be is named.
            Err(why) => eprintln!("no reel of {}: {why}", source.name),
        }
    }
    for (source, of_reel) in &chapters {
        let place = findings.comparisons.iter().position(|c| c.source == *source);
        let about = place.map_or(About::Whole, About::Pair);
        put(
            &format!("reels/{}-description.txt", file_name(source)),
            &description(&findings, about, of_reel),
        )?;
    }
    if let Some(licence) = &args.licence {
        put("LICENCE.txt", &format!("{licence}\n"))?;
    }
    let manifest = making.manifest().map_err(|e| Failure::new(&e, e.hint()))?;
    put("manifest.sha256", &manifest)?;
    making.complete().map_err(|e| Failure::new(&e, e.hint()))?;
    println!("{}", target.display());
    Ok(Done::Clean)
}

fn put(into: &Path, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let path = into.join(name);
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)
            .map_err(|e| Failure::new(format!("{}: {e}", folder.display()), "check space and permissions"))?;
    }
    write_whole(&path, bytes, Replace::Never).map_err(|e| Failure::new(&e, e.hint()))
}

fn write_pdf(into: &Path, findings: &Findings) -> Result<(), Failure> {
    let made = pdf::pdf(findings).map_err(|e| Failure::new(&e, "please report this with the findings"))?;
    put(into, "report.pdf", &made.bytes)
}

/// One pair for screen, as SVG and PNG, for a telephone, and step by step.
fn write_figures(into: &Path, name: &str, corridor: &Corridor) -> Result<(), Failure> {
    let fail = |e: FigureError| Failure::new(&e, "please report this with the findings");
    let upright = Still { width: 1080, height: 1350, letters: Letters::Large, ..Still::SCREEN };
    put(into, &format!("figures/{name}.svg"), svg(corridor, &Still::SCREEN).map_err(fail)?.as_bytes())?;
    put(into, &format!("figures/{name}-upright.png"), &png(corridor, &upright).map_err(fail)?.bytes)?;
    // The last step of the series is the whole picture.
    for (i, still) in reveal(&Still::SCREEN).iter().enumerate() {
        let picture = png(corridor, still).map_err(fail)?;
        put(into, &format!("figures/{name}-step-{}.png", i + 1), &picture.bytes)?;
    }
    Ok(())
}

/// The reel of a source; in words why there is none.
fn reel_of(input: &Input, m: &Measurement, source: &str, args: &WriteUpArgs) -> Result<Reel, String> {
    let moments: Vec<Moment> =
        moments(&input.takes, &m.measures, &m.findings, source).map_err(|e| e.to_string())?;
    let mics: Vec<String> = moments[0].parts.iter().map(|p| p.mic.clone()).collect();
    let gains = gains_db(&m.findings, source, &mics).map_err(|e| e.to_string())?;
    let wanted =
        Wanted { gap_s: args.gap, most_moments: args.moments, most_s: args.seconds, orders: Vec::new() };
    reel(&input.takes, &moments, &gains, &wanted).map_err(|e| e.to_string())
}

/// Sound with cue markers, captions in two forms; the chapters for a description.
fn write_reel(into: &Path, findings: &Findings, source: &str, made: &Reel) -> Result<Vec<Chapter>, Failure> {
    let seconds = |frame: u64| frame as f64 / f64::from(made.rate_hz);
    let name = |mic: &str| page::mic_name(findings, mic).to_string();
    let captions: Vec<Caption> = made
        .pieces
        .iter()
        .map(|p| Caption { from_s: seconds(p.from_frame), to_s: seconds(p.to_frame), text: name(&p.mic) })
        .collect();
    let cue_markers = (1u32..)
        .zip(&made.pieces)
        .map(|(id, p)| CueMarker { id, frame: p.from_frame, label: name(&p.mic) })
        .collect();
    let stem = format!("reels/{}", file_name(source));
    put(into, &format!("{stem}.vtt"), webvtt(&captions).as_bytes())?;
    put(into, &format!("{stem}.srt"), subrip(&captions).as_bytes())?;
    let spec =
        WavSpec { rate_hz: made.rate_hz, n_channels: 1, store_as: StoreAs::Int24, bext: None, cue_markers };
    let path = into.join(format!("{stem}.wav"));
    WavWriter::create(&path, spec, Replace::Never)
        .and_then(|mut w| w.write(&made.samples).and_then(|()| w.finish()))
        .map_err(|e| Failure::new(&e, e.hint()))?;
    let db = |v: Option<f64>| fairtake_report::words::number(v);
    eprintln!(
        "{source}: {} pieces, {:.1} s, {} LUFS, true peak {} dBTP",
        made.pieces.len(),
        seconds(made.samples.len() as u64),
        db(made.loudness_lufs),
        db(made.true_peak_dbtp)
    );
    Ok(captions.iter().filter_map(|c| Chapter::new(c.from_s, &c.text)).collect())
}

/// A key as part of a file's name: keys of a log may hold anything.
fn file_name(key: &str) -> String {
    fairtake_files::key_of(key)
}
