//! `bridge`: how much of a difference an equaliser carries, as filters, settings and a picture.

use super::analysis::{self, Input};
use super::compare::to_json;
use crate::cli::BridgeArgs;
use crate::failure::Failure;
use crate::{Done, Outcome};
use fairtake_bridge::{Bridge, BridgeError, Wanted, bridge, rate_of, sentences};
use fairtake_compare::{Comparison, Findings, Measurement, Role, Settings, compare};
use fairtake_files::wav::Replace;
use fairtake_files::{FolderInMaking, write_whole};
use fairtake_report::bridge::{page, settings_text};
use fairtake_report::page::mic_name;
use fairtake_write_up::{bridge_files, distinct_names};
use std::path::Path;

/// Runs the command.
pub(crate) fn run(args: &BridgeArgs) -> Outcome {
    let making = args.into.as_ref().map(|target| FolderInMaking::begin(target, Replace::Never)).transpose();
    let making = making.map_err(|e| Failure::new(&e, e.hint()))?;
    let input = analysis::open(&args.input)?;
    let (from, to) = pair(&input, args)?;
    let settings = args.input.analysis.settings(input.shootout.margin_db);
    let measured = measured(&input, args, (&from, &to), &settings)?;
    let wanted = |source: &str, mic: &str| Wanted {
        most_boost_db: args.boost,
        most_bands: usize::from(args.most_bands),
        rate_hz: args.rate.or_else(|| rate_of(&input.takes, source, mic)).map_or(0.0, f64::from),
    };
    let findings = &measured.findings;
    let mut bridges = Vec::new();
    for (c, tables) in findings.comparisons.iter().zip(&measured.tables) {
        match bridge(
            tables,
            [&c.source, &c.reference, &c.against],
            &settings,
            &wanted(&c.source, &c.reference),
        ) {
            Ok(made) => bridges.push(made),
            Err(why @ BridgeError::Wanted(_)) => return Err(Failure::new(&why, why.hint())),
            Err(why) => eprintln!("{}: {why}; {}", c.source, why.hint()),
        }
    }
    if bridges.is_empty() {
        let hint = "record more of both microphones; what is missing stands above";
        return Err(Failure::new("nothing can be bridged", hint));
    }
    let mut told = Vec::new();
    if let Some(making) = &making {
        told = write(making.path(), findings, &bridges, args.length)?;
    }
    if args.json {
        println!("{}", to_json(&bridges)?);
    } else {
        bridges.iter().for_each(|b| say(findings, b));
        told.iter().for_each(|line| println!("{line}"));
    }
    if let Some(making) = making {
        making.complete().map_err(|e| Failure::new(&e, e.hint()))?;
        eprintln!("wrote {}", args.into.as_deref().unwrap_or(Path::new("")).display());
    }
    Ok(Done::Clean)
}

/// Which microphone is corrected, and which it becomes like.
fn pair(input: &Input, args: &BridgeArgs) -> Result<(String, String), Failure> {
    let mut mics: Vec<&str> = Vec::new();
    for take in input.takes.iter().filter(|t| t.role == Role::Compared) {
        let here = args.source.as_ref().is_none_or(|s| *s == take.source);
        if here && !mics.contains(&take.mic.as_str()) {
            mics.push(&take.mic);
        }
    }
    let other_than =
        |mic: Option<&String>| mics.iter().find(|m| mic.is_none_or(|not| *not != **m)).map(|m| m.to_string());
    // What every analysis can be told holds here too: the reference is what is corrected.
    let analysis = &args.input.analysis;
    let (first, second) = analysis::named_pair(analysis)?.unzip();
    let from = args.from.clone().or(first).or_else(|| analysis.reference.clone());
    let to = args.to.clone().or(second);
    let from = from.or_else(|| other_than(to.as_ref()));
    let to = to.or_else(|| other_than(from.as_ref()));
    match from.zip(to) {
        Some((from, to)) if from != to => Ok((from, to)),
        Some((same, _)) => Err(Failure::new(
            format!("{same} is like itself already"),
            "name two microphones with --from and --to",
        )),
        None => Err(Failure::new("there are not two microphones", "give takes by two, or another --source")),
    }
}

fn measured(
    input: &Input,
    args: &BridgeArgs,
    (from, to): (&str, &str),
    settings: &Settings,
) -> Result<Measurement, Failure> {
    let asked = Comparison {
        reference: None,
        pair: Some((from.to_string(), to.to_string())),
        source: args.source.clone(),
        recognised: input.recognised.clone(),
        version: env!("CARGO_PKG_VERSION").to_string(),
    };
    compare(&input.takes, &input.shootout, settings, &asked).map_err(|e| analysis::not_compared(&e))
}

fn say(findings: &Findings, bridge: &Bridge) {
    let name = |key: &str| mic_name(findings, key).to_string();
    println!("{}: {} to {}", bridge.source, name(&bridge.from), name(&bridge.to));
    for said in sentences(bridge, name) {
        println!("  {said}");
    }
    print!("{}", settings_text(bridge, &name(&bridge.from), &name(&bridge.to)));
    println!();
}

/// Everything in a folder; what is to be said of the filters.
fn write(
    into: &Path,
    findings: &Findings,
    bridges: &[Bridge],
    length_s: f64,
) -> Result<Vec<String>, Failure> {
    let put = |name: &str, text: &str| {
        let path = into.join(name);
        write_whole(&path, text.as_bytes(), Replace::Never).map_err(|e| Failure::new(&e, e.hint()))
    };
    put("bridge.html", &page(findings, bridges))?;
    put("bridge.json", &to_json(&bridges)?)?;
    let names = distinct_names(bridges.iter().map(|b| b.source.as_str()));
    let mut told = Vec::new();
    for b in bridges {
        let source = &names[&b.source];
        std::fs::create_dir_all(into.join(source))
            .map_err(|e| Failure::new(format!("{source}: {e}"), "check space and permissions"))?;
        for file in bridge_files(findings, b, b.wanted.rate_hz as u32, length_s) {
            let path = into.join(source).join(file.name);
            write_whole(&path, &file.bytes, Replace::Never).map_err(|e| Failure::new(&e, e.hint()))?;
            told.extend(file.told.map(|said| format!("{source}/{}, {said}", file.name)));
        }
    }
    Ok(told)
}
