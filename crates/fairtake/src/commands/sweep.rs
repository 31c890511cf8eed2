//! `sweep`: writes an excitation for a loudspeaker.

use super::compare::to_json;
use crate::cli::SweepArgs;
use crate::cli_sweep::KindArg;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_calibrated::excitation::{Form, Kind};
use fairtake_calibrated::{Excitation, TextCurve};
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{described_in, write_whole};
use std::path::Path;

/// Said with every file: what sounds next can hurt.
const CAUTION: &str = "caution: a sweep and a tone are louder than music of the same peak, and tweeters take less than woofers. Begin \
                       with the volume down, bring it up on a first run, stay out of the beam and wear hearing protection where it \
                       is loud; local rules for noise at work come first.";

/// Runs the command.
pub(crate) fn run(args: &SweepArgs) -> Outcome {
    let excitation = Excitation::new(form(args)?).map_err(|e| Failure::new(&e, e.hint()))?;
    let spec = WavSpec {
        rate_hz: excitation.rate_hz(),
        n_channels: 1,
        store_as: StoreAs::Int24,
        bext: None,
        cue_markers: Vec::new(),
    };
    let described = described_in(&args.file);
    if let Some(there) = [&args.file, &described].into_iter().find(|path| path.exists()) {
        let what = format!("{}: exists already", there.display());
        return Err(Failure::new(what, "name another file: what was played is never replaced"));
    }
    let json = to_json(&excitation)?;
    // The description first: a sound without it cannot be measured with.
    write_whole(&described, json.as_bytes(), Replace::Never).map_err(|e| Failure::new(&e, e.hint()))?;
    let written = WavWriter::create(&args.file, spec, Replace::Never)
        .and_then(|mut w| w.write(&excitation.render()).and_then(|()| w.finish()));
    if let Err(e) = written {
        // It is ours, of this moment, and of no use alone.
        let _ = std::fs::remove_file(&described);
        return Err(Failure::new(&e, e.hint()));
    }
    if args.json {
        println!("{json}");
    } else {
        println!("{}", told(&excitation));
    }
    eprintln!("wrote {} and {}, which says what it is\n{CAUTION}", args.file.display(), described.display());
    Ok(Done::Clean)
}

fn form(args: &SweepArgs) -> Result<Form, Failure> {
    let kind = match args.kind {
        KindArg::Sweep => Kind::Sweep,
        KindArg::Pink => Kind::PinkNoise,
        KindArg::White => Kind::WhiteNoise,
        KindArg::Tone => Kind::Tone,
    };
    let (from_hz, to_hz) = match kind {
        Kind::Tone => (args.tone, args.tone),
        _ => (args.from, args.to.unwrap_or_else(|| Form::standard_to_hz(args.rate))),
    };
    Ok(Form {
        kind,
        rate_hz: args.rate,
        from_hz,
        to_hz,
        seconds: args.seconds,
        levels_dbfs: args.level.clone(),
        repeats: args.repeats,
        pause_s: args.pause,
        seed: args.seed,
        loudspeaker: args.loudspeaker.as_deref().map(curve).transpose()?,
    })
}

/// A curve from a text file.
fn curve(path: &Path) -> Result<TextCurve, Failure> {
    let text = std::fs::read_to_string(path).map_err(|e| {
        Failure::new(format!("{}: {e}", path.display()), "name a text of frequency in Hz and level in dB")
    })?;
    TextCurve::parse(&text).map_err(|e| Failure::new(format!("{}: {e}", path.display()), e.hint))
}

/// What it is, in words.
fn told(excitation: &Excitation) -> String {
    let form = excitation.form();
    let range = match form.kind {
        Kind::Tone => format!("{} Hz", form.from_hz),
        _ => format!("{} Hz to {} Hz", form.from_hz, form.to_hz),
    };
    let levels: Vec<String> = form.levels_dbfs.iter().map(f64::to_string).collect();
    let times = if form.repeats == 1 { String::new() } else { format!(", each {} times", form.repeats) };
    let flat = if form.loudspeaker.is_some() { ", equalised against the loudspeaker" } else { "" };
    format!(
        "{}, {range}{flat}: {:.2} s a pass, peak {} dBFS{times}, {} s of silence after each\n{} Hz, {:.1} s in all, code {:04x} in its marks",
        form.kind.words(),
        excitation.pass_s(),
        levels.join(", "),
        form.pause_s,
        form.rate_hz,
        excitation.total_s(),
        excitation.code()
    )
}
