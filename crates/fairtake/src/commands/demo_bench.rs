//! `demo --bench`: a session of measurements whose answers are known, made by the virtual studio.

use super::compare::to_json;
use crate::failure::Failure;
use fairtake_calibrated::Excitation;
use fairtake_calibrated::excitation::Form;
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{ShootoutFolder, described_in, write_whole};
use fairtake_virtual_studio::bench::session::{Played, session};
use indicatif::ProgressBar;
use std::path::Path;

/// Sampling rate of every take in Hz.
const RATE_HZ: u32 = 48_000;
const SWEEP: &str = "excitations/sweep.wav";
const STEPS: &str = "excitations/steps.wav";

/// Makes the folder: what was played, the takes, the log.
pub(super) fn write(folder: &Path, seed: u64, bar: &ProgressBar) -> Result<(), Failure> {
    let sweep = Form { seconds: 3.0, repeats: 1, ..Form::standard(RATE_HZ) };
    let levels_dbfs = (0..7).map(|i| -36.0 + 6.0 * f64::from(i)).collect();
    let steps = Form { seconds: 2.0, from_hz: 40.0, to_hz: 20_000.0, levels_dbfs, ..sweep.clone() };
    let excitation = |form| Excitation::new(form).map_err(|e| Failure::new(&e, e.hint()));
    let (sweep, steps) = (excitation(sweep)?, excitation(steps)?);
    let made = ShootoutFolder::create(folder, "demo").map_err(|e| Failure::new(&e, e.hint()))?;
    let rendered = [(SWEEP, &sweep, sweep.render()), (STEPS, &steps, steps.render())];
    let space = |e: std::io::Error| Failure::new(e, "check space and permissions");
    std::fs::create_dir_all(folder.join("excitations")).map_err(space)?;
    for (file, excitation, samples) in &rendered {
        let path = folder.join(file);
        let json = to_json(excitation)?;
        write_whole(&described_in(&path), json.as_bytes(), Replace::Never)
            .map_err(|e| Failure::new(&e, e.hint()))?;
        write_wav(&path, samples)?;
    }
    let played = |i: usize| Played { file: rendered[i].0, samples: &rendered[i].2 };
    let scene = session(&played(0), &played(1), RATE_HZ, seed);
    bar.set_length(scene.takes.len() as u64);
    bar.set_message("writing the takes");
    let mut log = scene.log_head.clone();
    for take in &scene.takes {
        write_wav(&folder.join(&take.file), &take.samples)?;
        log += &format!("\n[[takes]]\nfile = \"{}\"\n{}", take.file, take.logged);
        bar.inc(1);
    }
    for (file, text) in &scene.texts {
        write_whole(&folder.join(file), text.as_bytes(), Replace::Never)
            .map_err(|e| Failure::new(&e, e.hint()))?;
    }
    // The log comes last: without it, what was written is no session.
    write_whole(&made.log_path(), log.as_bytes(), Replace::Allowed).map_err(|e| Failure::new(&e, e.hint()))
}

fn write_wav(path: &Path, samples: &[f32]) -> Result<(), Failure> {
    let spec = WavSpec {
        rate_hz: RATE_HZ,
        n_channels: 1,
        store_as: StoreAs::Int24,
        bext: None,
        cue_markers: Vec::new(),
    };
    WavWriter::create(path, spec, Replace::Never)
        .and_then(|mut w| w.write(samples).and_then(|()| w.finish()))
        .map_err(|e| Failure::new(&e, e.hint()))
}
