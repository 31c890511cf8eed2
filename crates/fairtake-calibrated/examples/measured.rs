//! A recording of an excitation, measured, as JSON: for `outside/calibrated.py`, which computes the same with other people's code, and for
//! the bench.
//!
//! usage: `measured RECORDING EXCITATION [GATE_MS] [RUNS]`. RECORDING holds 32-bit floats and nothing else; EXCITATION is the JSON of
//! `fairtake sweep --json`. With RUNS the median time of so many runs, in seconds, stands in the JSON.

use fairtake_calibrated::distortion::Distortion;
use fairtake_calibrated::{Excitation, Gate, Response, ResponseSettings, found, impulse_responses};
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [recording, excitation, more @ ..] = args.as_slice() else {
        return Err("usage: measured RECORDING EXCITATION [GATE_MS] [RUNS]".into());
    };
    let bytes = std::fs::read(recording)?;
    let samples: Vec<f32> =
        bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect();
    let excitation: Excitation = serde_json::from_str(&std::fs::read_to_string(excitation)?)?;
    let gate = match more.first() {
        Some(ms) => Gate::Seconds(1e-3 * ms.parse::<f64>()?),
        None => Gate::Whole,
    };
    let runs: usize = more.get(1).map_or(Ok(1), |runs| runs.parse())?;
    let mut seconds = Vec::new();
    let mut measured = None;
    for _ in 0..runs.max(1) {
        let begun = Instant::now();
        let there = found(&samples, excitation.rate_hz(), &excitation)?;
        let impulses = impulse_responses(&samples, &there, &excitation)?;
        let mut levels = Vec::new();
        for impulse in &impulses {
            let response = Response::of(impulse, &ResponseSettings { per_octave: 12, gate })?;
            levels.push((response, Distortion::of(impulse, 3, gate)?));
        }
        seconds.push(begun.elapsed().as_secs_f64());
        measured = Some((there, levels));
    }
    seconds.sort_by(f64::total_cmp);
    let (there, levels) = measured.ok_or("no run")?;
    let json = serde_json::json!({ "seconds": seconds[seconds.len() / 2], "found": there, "levels": levels });
    println!("{json}");
    Ok(())
}
