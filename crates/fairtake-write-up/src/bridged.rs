//! The files of an equaliser bridge: filters for any convolution, settings for any console.

use fairtake_bridge::Bridge;
use fairtake_compare::Findings;
use fairtake_files::wav::clip_bytes;
use fairtake_report::bridge::{bands_csv, correction_csv, settings_text};
use fairtake_report::page::mic_name;
use fairtake_report::words::hertz;
use fairtake_signal::fir::{linear_phase_fir, minimum_phase_fir, to_frequency};
use fairtake_signal::gain_curve::GainCurve;
use fairtake_signal::units::amplitude_db;

/// A filter that is off by less than this, in dB, follows.
const FOLLOWS_DB: f64 = 0.5;
/// No filter is shorter than so many taps.
const FEWEST_TAPS: usize = 64;

/// One file of a bridge.
#[derive(Debug, Clone, PartialEq)]
pub struct BridgeFile {
    /// Its name, without a folder.
    pub name: &'static str,
    /// What it holds, for people.
    pub what: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// What is to be said of it.
    pub told: Option<String>,
}

/// Every file of a bridge: bands as CSV and in words, the smoothest correction as CSV and, where there is one, as a minimum-phase
/// and a linear-phase impulse response (WAV, 32-bit float) of `length_s` seconds at `rate_hz`.
pub fn bridge_files(findings: &Findings, bridge: &Bridge, rate_hz: u32, length_s: f64) -> Vec<BridgeFile> {
    let name = |key: &str| mic_name(findings, key).to_string();
    let text = |name, what, text: String| BridgeFile { name, what, bytes: text.into_bytes(), told: None };
    let words = settings_text(bridge, &name(&bridge.from), &name(&bridge.to));
    let mut files = vec![
        text("equaliser.csv", "the bands as a table", bands_csv(bridge)),
        text("equaliser.txt", "the bands in words, to set a console by", words),
        text("correction.csv", "the smoothest correction as frequency and gain", correction_csv(bridge)),
    ];
    let Some(curve) = bridge.correction() else { return files };
    let n_taps = ((length_s * f64::from(rate_hz)).round() as usize).max(FEWEST_TAPS);
    let filters = [
        (
            "minimum-phase.wav",
            "the smoothest correction as an impulse response without delay",
            minimum_phase_fir(rate_hz, n_taps, |hz| curve.db(hz)),
        ),
        (
            "linear-phase.wav",
            "the same, symmetric: delays by half its length and turns no phase",
            linear_phase_fir(rate_hz, n_taps, |hz| curve.db(hz)),
        ),
    ];
    for (name, what, impulse) in filters {
        let follows = follows(bridge, &curve, rate_hz, &impulse);
        let samples: Vec<f32> = impulse.iter().map(|x| *x as f32).collect();
        files.push(BridgeFile {
            name,
            what,
            bytes: clip_bytes(rate_hz, &samples),
            told: Some(format!("{length_s} s at {rate_hz} Hz, {follows}")),
        });
    }
    files
}

/// From where on a filter of this length follows the correction, in words.
fn follows(bridge: &Bridge, curve: &GainCurve, rate_hz: u32, impulse: &[f64]) -> String {
    let n = (8 * impulse.len()).next_power_of_two();
    let spectrum = to_frequency(impulse.iter().copied(), n);
    let off = |hz: f64| {
        let bin = (hz * n as f64 / f64::from(rate_hz)).round() as usize;
        let gain = spectrum.get(bin).and_then(|x| amplitude_db(x.norm()));
        gain.map_or(f64::INFINITY, |db| (db - curve.db(hz)).abs())
    };
    let middles =
        bridge.bands.iter().map(|b| (b.from_hz * b.to_hz).sqrt()).filter(|hz| *hz < 0.5 * f64::from(rate_hz));
    let middles: Vec<f64> = middles.collect();
    let first = middles.iter().rposition(|hz| off(*hz) > FOLLOWS_DB).map_or(0, |last_off| last_off + 1);
    match middles.get(first) {
        Some(hz) => format!("follows the correction within {FOLLOWS_DB} dB from {} up", hertz(*hz)),
        None => format!("too short: it follows the correction within {FOLLOWS_DB} dB nowhere"),
    }
}
