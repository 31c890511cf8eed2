//! The table behind `--events`: see `docs/formats/events.md`.

use fairtake_compare::{LeftOut, TakeMeasure};
use fairtake_signal::bands::BandSet;
use fairtake_signal::units::power_db;
use std::fmt::Write;

/// CSV with one row per event and take, and one for each take's noise.
pub fn table(measures: &[TakeMeasure], bands_per_octave: u32) -> String {
    let widest = measures.iter().map(|m| m.rate_hz).max().unwrap_or(48_000);
    let spans = BandSet::new(bands_per_octave, f64::from(widest) / 2.0).spans_hz();
    let mut out = String::from(
        "take,kind,event,start_s,onset_s,end_s,left_out,sample_peak_dbfs,true_peak_dbtp,rms_dbfs,loudness_lufs,midrange_db",
    );
    for (from, to) in &spans {
        let _ = write!(out, ",{from:.4}-{to:.4}");
    }
    out.push('\n');
    for m in measures {
        for (i, e) in m.events.iter().enumerate() {
            let _ = write!(
                out,
                "{},event,{},{},{},{},{},{},{},{},{},{}",
                quoted(&m.take),
                i + 1,
                e.start_s,
                e.onset_s,
                e.end_s,
                e.left_out.map_or("", reason),
                e.sample_peak_db,
                e.true_peak_db,
                e.rms_db,
                e.loudness_db,
                e.midrange_db
            );
            levels(&mut out, &m.band_energy[i * m.n_bands..(i + 1) * m.n_bands], spans.len());
        }
        if let Some(noise) = &m.noise {
            let _ = write!(out, "{},noise,,,,,,,,,,", quoted(&m.take));
            levels(&mut out, &noise.band_power, spans.len());
        }
    }
    out
}

fn levels(out: &mut String, values: &[f64], n_columns: usize) {
    for column in 0..n_columns {
        out.push(',');
        if let Some(db) = values.get(column).and_then(|v| power_db(*v)) {
            let _ = write!(out, "{db}");
        }
    }
    out.push('\n');
}

fn reason(left_out: LeftOut) -> &'static str {
    match left_out {
        LeftOut::CutOff => "cut off",
        LeftOut::Clipped => "clipped",
        LeftOut::TooQuiet => "too quiet",
        LeftOut::NotInAllTakes => "not in all takes",
    }
}

fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_string()
    }
}
