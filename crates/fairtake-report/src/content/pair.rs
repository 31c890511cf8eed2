//! One comparison: how it was made, what its picture shows, how the takes lie in time.

use super::mic_name;
use crate::words::{self, number, number_of, signed};
use fairtake_compare::{Alignment, ComparisonFindings, Counts, Findings, Polarity};

/// Terms and what is said of them.
pub(crate) type Terms = Vec<(String, String)>;

/// How the comparison was made.
pub(crate) fn made(findings: &Findings, c: &ComparisonFindings) -> Terms {
    let (reference, against) = (mic_name(findings, &c.reference), mic_name(findings, &c.against));
    let known = c
        .degrees_of_freedom
        .map_or("; too few to know the spread, so that nothing is decided".to_string(), |df| {
            format!("; {} degrees of freedom", number(Some(df)))
        });
    let m = &c.level_match;
    let gain = match (m.gain_db, m.low, m.high) {
        (Some(gain), Some(low), Some(high)) => {
            format!("{} dB ({})", signed(gain), words::interval(low, high))
        }
        (Some(gain), ..) => format!("{} dB (interval unknown)", signed(gain)),
        _ => "an unknown gain".to_string(),
    };
    let term = |name: &str, said: String| (name.to_string(), said);
    vec![
        term("made", format!("{}: {}", words::design(c.design), c.design_reason)),
        term("speaks of", words::claim(c.claim).to_string()),
        term(reference, counts_said(&c.counts.reference)),
        term(against, counts_said(&c.counts.against)),
        term(
            "counted",
            format!(
                "{}, worth {} and {} independent ones{known}",
                words::counted(c.unit),
                number(Some(c.n_effective.reference)),
                number(Some(c.n_effective.against))
            ),
        ),
        term("matched", format!("by {}: {against} is shown with {gain}", words::match_by(m.by))),
        term("margin", format!("±{} dB", c.margin_db)),
    ]
}

/// How much went in of one microphone.
fn counts_said(n: &Counts) -> String {
    let of = |n: u32, one| number_of(n as usize, one);
    format!("{}, {}, {}", of(n.takes, "take"), of(n.placements, "placement"), of(n.events, "event"))
}

/// What the picture shows. `scale`: where its axes have the standard's proportions, beginning the last sentence.
pub(crate) fn caption(findings: &Findings, c: &ComparisonFindings, scale: &str) -> String {
    format!(
        "Above: average spectra in dB per {}th-octave band, with the range of the middle 80 % of events; {} is shown \
         after the match. Middle: the difference. Below: the verdict per region with its mean difference in dB. \
         {scale}50 dB of the spectra and 25 dB of the difference are as long as a decade (IEC 60263).",
        findings.settings.bands_per_octave,
        mic_name(findings, &c.against)
    )
}

/// What the list of time and transfer means by "left".
pub(crate) const LEFT_OVER: &str = "What is left over: energy of the second microphone that a fit of the first does \
     not carry, re its own; fitted and tested on different events.";

/// Time and polarity, where the takes were recorded together.
pub(crate) fn alignment(a: &Alignment) -> Terms {
    let polarity = match a.polarity {
        Polarity::Same => "the same",
        Polarity::Inverted => "inverted",
        Polarity::Unclear => "unclear",
    };
    let decibels = |db: Option<f64>| db.map_or("unknown".to_string(), |v| format!("{} dB", signed(v)));
    [
        ("delay", delay(a)),
        ("polarity", polarity.to_string()),
        ("left after gain and delay", decibels(a.null_depth.gain_delay_db)),
        ("left after an equaliser", decibels(a.null_depth.minimum_phase_db)),
        ("left after any linear filter", decibels(a.null_depth.any_linear_db)),
        ("least that can be measured", decibels(a.null_depth.noise_limit_db)),
    ]
    .map(|(name, said)| (name.to_string(), said))
    .to_vec()
}

fn delay(a: &Alignment) -> String {
    match (a.delay_s, a.apparent_path_mm) {
        (Some(s), Some(mm)) => format!(
            "{:+.3} ms{}, as from {} mm of path, phase response included ({})",
            s * 1000.0,
            a.delay_low_s.zip(a.delay_high_s).map_or(String::new(), |(low, high)| {
                // A thousandth of a millisecond, outwards.
                format!(" ({:+.3} to {:+.3})", (low * 1e6).floor() / 1000.0, (high * 1e6).ceil() / 1000.0)
            }),
            number(Some(mm)),
            a.sign
        )
        .replace('-', "−"),
        _ => "unknown".to_string(),
    }
}
