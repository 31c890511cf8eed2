//! How it was computed: takes, settings, method.

use super::mic_name;
use crate::words::{self, number};
use fairtake_compare::{Findings, TakeEntry};
use maud::{Markup, html};

/// The appendix.
pub(super) fn section(findings: &Findings) -> Markup {
    let s = &findings.settings;
    let a = &s.allowance;
    html! {
        section {
            h2 id="method" { "How it was computed" }
            p {
                "Each take is one microphone at one placement. Events (hits, or blocks of sustained sound) are measured in "
                "fractional-octave bands (mid-band frequencies of IEC 61260-1), noise from between the events is subtracted, "
                "levels are matched, and the difference is taken as the mean over events of levels in dB. Its uncertainty comes "
                "from the highest level that was repeated: placements, else passes of playing, else events (JCGM 100). The bands "
                "around the curve hold for each band by itself, and for all of them at once; verdicts come from the latter."
            }
            p {
                "Alike: the interval lies inside the margin. Different: it excludes zero, and the estimate reaches the margin. "
                "Undecided: neither. Out of range: too near the noise, or not resolved by such short events. With one placement "
                "the difference is that of these takes as placed; it cannot be told apart from the placement."
            }
            p { "Findings are about these microphones on these sources, never about a model or its age." }
            h3 { "Settings" }
            dl {
                dt { "margin" } dd { (s.margin_db) " dB" }
                dt { "match" } dd { (words::match_by(s.match_by)) }
                dt { "bands per octave" } dd { (s.bands_per_octave) }
                dt { "confidence" } dd { (s.confidence * 100.0) " %" }
                dt { "resamples, seed" } dd { (s.resamples) ", " (s.seed) }
                dt { "placement allowance" } dd {
                    "distance ±" (a.distance_mm) " mm (rectangular); acoustic centre ±" (a.centre_offset_sd_mm) " mm; "
                    (a.at_1khz_db) " dB at 1 kHz to " (a.at_10khz_db) " dB at 10 kHz over " (a.correlation_octaves)
                    " octaves; gain ±" (a.gain_db) " dB (assumptions)"
                }
                dt { "program" } dd { (findings.program.name) " " (findings.program.version) ", form " (findings.schema) }
            }
            h3 { "Takes" }
            div.scroll { table {
                thead { tr { th { "take" } th { "microphone" } th { "source" } th.n { "placement" } th.n { "performance" } th { "role" }
                    th.n { "events" } th.n { "peak, dBFS" } th.n { "true peak, dBTP" } th.n { "loudness, LUFS" } th.n { "noise, dBFS" }
                    th { "stored as" } th { "SHA-256 begins" } } }
                tbody { @for t in &findings.takes { (take(findings, t)) } }
            } }
        }
    }
}

fn take(findings: &Findings, t: &TakeEntry) -> Markup {
    html! {
        tr {
            td.keep { (t.file) @if t.channel > 1 { ", channel " (t.channel) } @if t.left_out { " (left out: unfair)" } }
            td.keep { (mic_name(findings, &t.mic)) }
            td.keep { (t.source) }
            td.n { (t.placement) }
            td.n { (t.performance) }
            td.keep { (words::role(t.role)) }
            td.n { (t.events) }
            td.n { (number(t.sample_peak_dbfs)) }
            td.n { (number(t.true_peak_dbtp)) }
            td.n { (number(t.file_loudness_lufs)) }
            td.n { (number(t.noise_dbfs)) }
            td.keep { (t.format) ", " (t.sample_rate_hz) " Hz" }
            td.keep { code { (t.sha256.get(..12).unwrap_or(&t.sha256)) } }
        }
    }
}
