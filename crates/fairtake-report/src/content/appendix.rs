//! How it was computed: method, settings, takes.

use super::pair::Terms;
use super::{Cell, Kind, Table, columns, mic_name};
use crate::words::{self, number};
use fairtake_compare::{Findings, TakeEntry};

/// The method in brief, a paragraph each.
pub(crate) const METHOD: [&str; 2] = [
    "Each take is one microphone at one placement. Events (hits, or blocks of sustained sound) are measured in \
     fractional-octave bands (mid-band frequencies of IEC 61260-1), noise from between the events is subtracted, \
     levels are matched, and the difference is taken as the mean over events of levels in dB. Its uncertainty comes \
     from the highest level that was repeated: placements, else passes of playing, else events (JCGM 100). The bands \
     around the curve hold for each band by itself, and for all of them at once; verdicts come from the latter.",
    "Alike: the interval lies inside the margin. Different: it excludes zero, and the estimate reaches the margin. \
     Undecided: neither. Out of range: too near the noise, or not resolved by such short events. With one placement \
     the difference is that of these takes as placed; it cannot be told apart from the placement.",
];

/// What findings are about, and what not.
pub(crate) const ABOUT: &str =
    "Findings are about these microphones on these sources, never about a model or its age.";

/// Settings and program.
pub(crate) fn settings(findings: &Findings) -> Terms {
    let s = &findings.settings;
    let a = &s.allowance;
    [
        ("margin", format!("{} dB", s.margin_db)),
        ("match", words::match_by(s.match_by).to_string()),
        ("bands per octave", s.bands_per_octave.to_string()),
        ("confidence", format!("{} %", s.confidence * 100.0)),
        ("resamples, seed", format!("{}, {}", s.resamples, s.seed)),
        (
            "placement allowance",
            format!(
                "distance ±{} mm (rectangular); acoustic centre ±{} mm; {} dB at 1 kHz to {} dB at 10 kHz over {} \
                 octaves; gain ±{} dB (assumptions)",
                a.distance_mm,
                a.centre_offset_sd_mm,
                a.at_1khz_db,
                a.at_10khz_db,
                a.correlation_octaves,
                a.gain_db
            ),
        ),
        (
            "program",
            format!("{} {}, form {}", findings.program.name, findings.program.version, findings.schema),
        ),
    ]
    .map(|(name, said)| (name.to_string(), said))
    .to_vec()
}

/// Every take.
pub(crate) fn takes(findings: &Findings) -> Table {
    Table {
        caption: None,
        columns: columns([
            ("take", Kind::Keep),
            ("microphone", Kind::Keep),
            ("source", Kind::Words),
            ("placement", Kind::Number),
            ("performance", Kind::Number),
            ("role", Kind::Keep),
            ("events", Kind::Number),
            ("peak, dBFS", Kind::Number),
            ("true peak, dBTP", Kind::Number),
            ("loudness, LUFS", Kind::Number),
            ("noise, dBFS", Kind::Number),
            ("stored as", Kind::Keep),
            ("SHA-256 begins", Kind::Keep),
        ]),
        rows: findings.takes.iter().map(|t| take(findings, t)).collect(),
    }
}

fn take(findings: &Findings, t: &TakeEntry) -> Vec<Cell> {
    let channel = if t.channel > 1 { format!(", channel {}", t.channel) } else { String::new() };
    let left_out = if t.left_out { " (left out: unfair)" } else { "" };
    vec![
        format!("{}{channel}{left_out}", t.file).into(),
        mic_name(findings, &t.mic).into(),
        t.source.as_str().into(),
        t.placement.to_string().into(),
        t.performance.to_string().into(),
        words::role(t.role).into(),
        t.events.to_string().into(),
        number(t.sample_peak_dbfs).into(),
        number(t.true_peak_dbtp).into(),
        number(t.file_loudness_lufs).into(),
        number(t.noise_dbfs).into(),
        format!("{}, {} Hz", t.format, t.sample_rate_hz).into(),
        Cell::Code(t.sha256.get(..12).unwrap_or(&t.sha256).to_string()),
    ]
}
