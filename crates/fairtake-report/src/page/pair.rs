//! One comparison: how it was made, what was found, the picture, the tables.

use super::{heading, mic_name, tables, verdict};
use crate::figure::{self, Corridor, Layout, Sample, draw};
use crate::words::{self, number_of};
use fairtake_compare::{Claim, ComparisonFindings, Findings};
use maud::{Markup, PreEscaped, html};

/// The section of one comparison.
pub(super) fn section(findings: &Findings, c: &ComparisonFindings, index: usize) -> Markup {
    let corridor = Corridor::new(findings, c);
    html! {
        section {
            h2 id=(format!("pair-{}", index + 1)) { (heading(findings, &c.reference, &c.against, &c.source)) }
            (made(findings, c))
            h3 { "Findings" }
            ul.said { @for f in &c.findings { li { (verdict(f.verdict)) span { (f.text) "." } } } }
            @if let Some(text) = &c.own_words {
                h3 { "In the user's own words" }
                @for line in text.lines().filter(|l| !l.trim().is_empty()) { p.own { (line) } }
            }
            figure {
                div.wide { (PreEscaped(draw(&corridor, &Layout::WIDE))) }
                div.narrow { (PreEscaped(draw(&corridor, &Layout::NARROW))) }
                (key(c))
                figcaption { (caption(findings, c)) }
            }
            (tables::regions(c))
            (tables::levels(findings, c))
            (tables::features(findings, c))
            (tables::alignment(c))
            (tables::budget(c))
            (tables::bands(findings, c))
        }
    }
}

/// How the comparison was made.
pub fn made(findings: &Findings, c: &ComparisonFindings) -> Markup {
    let counts = |n: &fairtake_compare::Counts| {
        let of = |n: u32, one| number_of(n as usize, one);
        format!("{}, {}, {}", of(n.takes, "take"), of(n.placements, "placement"), of(n.events, "event"))
    };
    let (reference, against) = (mic_name(findings, &c.reference), mic_name(findings, &c.against));
    html! {
        dl {
            dt { "made" } dd { (words::design(c.design)) ": " (c.design_reason) }
            dt { "speaks of" } dd { (words::claim(c.claim)) }
            dt { (reference) } dd { (counts(&c.counts.reference)) }
            dt { (against) } dd { (counts(&c.counts.against)) }
            dt { "counted" } dd {
                (words::counted(c.unit)) ", worth " (words::number(Some(c.n_effective.reference))) " and "
                (words::number(Some(c.n_effective.against))) " independent ones"
                @match c.degrees_of_freedom {
                    Some(df) => { "; " (words::number(Some(df))) " degrees of freedom" },
                    None => { "; too few to know the spread, so that nothing is decided" },
                }
            }
            dt { "matched" } dd {
                "by " (words::match_by(c.level_match.by)) ": " (against) " is shown with "
                @match (c.level_match.gain_db, c.level_match.low, c.level_match.high) {
                    (Some(gain), Some(low), Some(high)) => { (words::signed(gain)) " dB (" (words::interval(low, high)) ")" },
                    (Some(gain), ..) => { (words::signed(gain)) " dB (interval unknown)" },
                    _ => "an unknown gain",
                }
            }
            dt { "margin" } dd { "±" (c.margin_db) " dB" }
        }
    }
}

/// What marks and tints of the picture mean.
pub fn key(c: &ComparisonFindings) -> Markup {
    let sample = |s: &Sample| {
        PreEscaped(format!(
            "<svg viewBox=\"0 0 30 14\" aria-hidden=\"true\"><rect x=\"1\" y=\"1\" width=\"28\" height=\"12\" \
             class=\"{}\"{}/></svg>",
            s.class,
            if s.fill.is_empty() { String::new() } else { format!(" fill=\"url(#{})\"", s.fill) }
        ))
    };
    let widened = c.claim == Claim::TheseTakes && c.bands.iter().any(|b| b.conditional.is_some());
    html! {
        ul.key.small {
            @for s in figure::key(widened) {
                li { @if !s.class.is_empty() { (sample(&s)) } (s.words) }
            }
        }
    }
}

/// What the picture shows.
pub fn caption(findings: &Findings, c: &ComparisonFindings) -> String {
    format!(
        "Above: average spectra in dB per {}th-octave band, with the range of the middle 80 % of events; {} is shown \
         after the match. Middle: the difference. Below: the verdict per region with its mean difference in dB. On a wide \
         screen, 50 dB of the spectra and 25 dB of the difference are as long as a decade (IEC 60263).",
        findings.settings.bands_per_octave,
        mic_name(findings, &c.against)
    )
}
