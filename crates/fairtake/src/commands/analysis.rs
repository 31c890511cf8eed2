//! From what was typed to a measurement: shared by the commands that analyse.

use super::compare::to_json;
use crate::cli::{AnalysisArgs, InputArgs};
use crate::failure::Failure;
use fairtake_bridge::{Bridge, USUAL_LIMITS, bridge_all, rate_of};
use fairtake_compare::{
    CompareError, Comparison, Design, Findings, Measurement, Mic, Recognised, Remembered, Settings, Shootout,
    Source, Take, compare_remembering, recognise_performances,
};
use fairtake_files::{ShootoutFolder, bare_takes, cache_key, contents_of};
use fairtake_write_up::findings_key;
use std::path::Path;

/// Takes and log of bare files or of one folder.
pub(crate) struct Input {
    pub shootout: Shootout,
    pub takes: Vec<Take>,
    /// What was recognised among bare files; `None` for a folder.
    pub recognised: Option<Recognised>,
    /// Where derived results are kept; `None` for bare files.
    folder: Option<ShootoutFolder>,
}

/// Opens what was typed: one folder, or two or more files.
pub(crate) fn open(args: &InputArgs) -> Result<Input, Failure> {
    if let [only] = args.paths.as_slice() {
        return if only.is_dir() { open_folder(only) } else { Err(single(only)) };
    }
    let mut takes = bare_takes(&args.paths, args.channel).map_err(|e| Failure::new(&e, e.hint()))?;
    let stated = args.analysis.design.map(Design::from);
    let recognised = recognise_performances(&mut takes, stated).map_err(|e| Failure::new(&e, &e.hint))?;
    let shootout = bare_log(&takes, &args.analysis);
    Ok(Input { shootout, takes, recognised: Some(recognised), folder: None })
}

/// Opens a shootout folder.
pub(crate) fn open_folder(path: &Path) -> Result<Input, Failure> {
    let folder = ShootoutFolder::open(path).map_err(|e| Failure::new(&e, e.hint()))?;
    let (shootout, takes) = folder.load().map_err(|e| Failure::new(&e, e.hint()))?;
    Ok(Input { shootout, takes, recognised: None, folder: Some(folder) })
}

/// One file has nothing to be compared with; a file that is not there is said to be missing.
fn single(path: &Path) -> Failure {
    let hint = "give two or more files, or a shootout folder";
    if path.exists() {
        Failure::new(format!("{} is a single file", path.display()), hint)
    } else {
        Failure::new(format!("{}: there is no such file or folder", path.display()), hint)
    }
}

/// What can be known of bare files: distance and pattern as typed, for the placement allowance.
fn bare_log(takes: &[Take], analysis: &AnalysisArgs) -> Shootout {
    let mut shootout = Shootout::default();
    for take in takes {
        let pattern = analysis.pattern.map(Into::into);
        shootout.mics.insert(take.mic.clone(), Mic { name: take.mic.clone(), pattern, ..Mic::default() });
        let source = Source {
            name: take.source.clone(),
            distance_mm: analysis.distance,
            radius_mm: analysis.radius,
            ..Source::default()
        };
        shootout.sources.insert(take.source.clone(), source);
    }
    shootout
}

/// The findings; of a folder those of the last run where neither log, takes nor settings have changed since.
pub(crate) fn findings(input: &Input, args: &AnalysisArgs) -> Result<Findings, Failure> {
    let Some(folder) = input.folder.as_ref().filter(|_| !args.anew) else {
        return Ok(measure(input, args)?.0.findings);
    };
    let key = key_of(input, args);
    let kept = folder.cache_get(&key).and_then(|bytes| serde_json::from_slice::<Findings>(&bytes).ok());
    if let Some(findings) = kept {
        return Ok(with_own_words(findings, input));
    }
    let findings = measure(input, args)?.0.findings;
    keep(input, args, &findings)?;
    Ok(with_own_words(findings, input))
}

/// How much of each difference is equalising, at the sampling rate of the reference's takes.
pub(crate) fn bridged(input: &Input, measurement: &Measurement) -> Vec<Bridge> {
    let rate_hz = |mic: &str, source: &str| rate_of(&input.takes, source, mic).map_or(0.0, f64::from);
    bridge_all(&measurement.findings, &measurement.tables, USUAL_LIMITS, rate_hz)
}

/// The findings and their bridges; of a folder those of the last run where nothing changed since.
pub(crate) fn findings_and_bridges(
    input: &Input,
    args: &AnalysisArgs,
) -> Result<(Findings, Vec<Bridge>), Failure> {
    let key = cache_key(env!("CARGO_PKG_VERSION"), &key_of(input, args), "bridges");
    if let Some(folder) = input.folder.as_ref().filter(|_| !args.anew) {
        let kept = folder.cache_get(&key).and_then(|bytes| serde_json::from_slice(&bytes).ok());
        if let Some(bridges) = kept {
            return Ok((findings(input, args)?, bridges));
        }
    }
    let (measurement, _) = measure(input, args)?;
    let bridges = bridged(input, &measurement);
    keep(input, args, &measurement.findings)?;
    if let Some(folder) = &input.folder
        && let Err(e) = folder.cache_put(&key, to_json(&bridges)?.as_bytes())
    {
        eprintln!("the bridges are not kept: {e}");
    }
    Ok((with_own_words(measurement.findings, input), bridges))
}

/// Own words are not kept with the result: nothing is computed from them.
fn with_own_words(mut findings: Findings, input: &Input) -> Findings {
    findings.keep_own_words(&input.shootout);
    findings
}

/// Under which key the folder keeps them.
fn key_of(input: &Input, args: &AnalysisArgs) -> String {
    let contents = contents_of(&input.shootout, &input.takes);
    let settings = args.settings(input.shootout.margin_db);
    findings_key(&contents, &settings, args.reference.as_ref(), args.pair.as_ref())
}

/// Keeps findings in the folder, without own words. What cannot be kept is computed again next time: worth a word, not a
/// failure.
pub(crate) fn keep(input: &Input, args: &AnalysisArgs, findings: &Findings) -> Result<(), Failure> {
    let Some(folder) = &input.folder else { return Ok(()) };
    let bytes = to_json(findings)?;
    if let Err(e) = folder.cache_put(&key_of(input, args), bytes.as_bytes()) {
        eprintln!("the result is not kept: {e}");
    }
    Ok(())
}

/// Runs the comparison on the audio.
pub(crate) fn measure(input: &Input, args: &AnalysisArgs) -> Result<(Measurement, Settings), Failure> {
    measure_remembering(input, args, &mut Remembered::default())
}

/// The same, leaving what was measured for what is asked next.
pub(crate) fn measure_remembering(
    input: &Input,
    args: &AnalysisArgs,
    remembered: &mut Remembered,
) -> Result<(Measurement, Settings), Failure> {
    let settings = args.settings(input.shootout.margin_db);
    let pair = named_pair(args)?;
    let asked = Comparison {
        reference: args.reference.clone(),
        pair,
        source: None,
        recognised: input.recognised.clone(),
        version: env!("CARGO_PKG_VERSION").to_string(),
    };
    let measurement = compare_remembering(&input.takes, &input.shootout, &settings, &asked, remembered)
        .map_err(|e| not_compared(&e))?;
    Ok((measurement, settings))
}

/// The pair that `--pair` names.
pub(crate) fn named_pair(args: &AnalysisArgs) -> Result<Option<(String, String)>, Failure> {
    let Some(text) = &args.pair else { return Ok(None) };
    match text.split_once(',') {
        Some((a, b)) => Ok(Some((a.trim().to_string(), b.trim().to_string()))),
        None => Err(Failure::new(format!("--pair {text} names one microphone"), "write --pair A,B")),
    }
}

/// Why nothing was compared, with what to do.
pub(crate) fn not_compared(e: &CompareError) -> Failure {
    let hint = match e {
        CompareError::Read(read) => read.hint.clone(),
        CompareError::NothingToCompare { .. } => {
            "give two or more files, or log takes by two microphones".into()
        }
        CompareError::NoSuchMicrophone { .. } => {
            "use the key of the log, or the file's name without its ending".into()
        }
    };
    Failure::new(e, hint)
}
