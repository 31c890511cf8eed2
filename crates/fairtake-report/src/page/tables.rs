//! The tables of one comparison.

use super::{mic_name, verdict};
use crate::words::{self, estimate, hertz, interval, number, signed};
use fairtake_compare::{
    Alignment, Band, BleedMeasure, ComparisonFindings, Feature, FeatureAt, FeatureKind, Findings,
    NoiseMeasure, Polarity, Region, SettleReason, ShapeMeasure, Unit,
};
use maud::{Markup, html};

/// Regions with their intervals and what would settle them.
pub fn regions(c: &ComparisonFindings) -> Markup {
    html! {
        h3 { "Regions" }
        div.scroll { table {
            thead { tr { th { "from" } th { "to" } th { "verdict" } th.n { "difference in dB" } th { "95 %, over all regions" } th { "to settle it" } } }
            tbody {
                @for r in &c.regions {
                    tr {
                        td.keep { (hertz(r.from_hz)) }
                        td.keep { (hertz(r.to_hz)) }
                        td.keep { (verdict(r.verdict)) }
                        td.n { (r.difference_db.map_or("unknown".into(), signed)) }
                        td.keep { (bounds(r.low_db, r.high_db)) }
                        td { (settle(r, c.unit)) }
                    }
                }
            }
        } }
    }
}

fn bounds(low: Option<f64>, high: Option<f64>) -> String {
    low.zip(high).map_or("unknown".to_string(), |(l, h)| interval(l, h))
}

fn settle(r: &Region, unit: Unit) -> String {
    let Some(s) = &r.settle else { return String::new() };
    match (s.placements, s.events, s.reason) {
        (Some(n), ..) => format!("about {n} placements per microphone"),
        (_, Some(n), _) => format!("about {n} {} per microphone", unit.words(n)),
        (_, _, SettleReason::Allowance) => {
            "more events cannot: what placing or the noise may change is larger".to_string()
        }
        (_, _, SettleReason::OutOfReach) => "out of reach at this spread".to_string(),
        (_, _, SettleReason::NearMargin) | (None, None, SettleReason::Reachable) => {
            "more recording cannot: parts are too near the margin".to_string()
        }
    }
}

/// Levels, noise and the shape of events.
pub fn levels(findings: &Findings, c: &ComparisonFindings) -> Markup {
    let l = &c.levels;
    let rows = [
        ("sample peak, dBFS", &l.sample_peak_dbfs),
        ("true peak, dBTP", &l.true_peak_dbtp),
        ("RMS, dBFS", &l.rms_dbfs),
        ("loudness, LUFS", &l.loudness_lufs),
    ];
    let noise = [
        ("noise, dBFS", &c.noise.plain_dbfs),
        ("noise, dBFS A-weighted", &c.noise.a_weighted_dbfs),
        ("noise, dBFS BS.468-weighted", &c.noise.bs468_dbfs),
    ];
    html! {
        h3 { "Levels" }
        div.scroll { table {
            caption { "Means over events, as recorded. The difference is " (mic_name(findings, &c.against)) " minus "
                (mic_name(findings, &c.reference)) "; of noise, after the match."
                @if rows.iter().any(|(_, m)| words::evened_out(m)) { " Where it is not that of the two levels, the playing was evened out, or placements count alike whatever was played at each." } }
            thead { tr { th { "measure" } th.n { (mic_name(findings, &c.reference)) } th.n { (mic_name(findings, &c.against)) }
                th { "difference (95 %), verdict" } } }
            tbody {
                @for (name, m) in rows {
                    tr { th { (name) } td.n { (number(m.reference.event_mean)) } td.n { (number(words::stated_against(m))) }
                        td.keep { (estimate(&m.difference_db, "dB")) } }
                }
                @if let Some(e) = &l.loudness_at_equal_gain_db {
                    tr { th { "loudness at equal gain" } td.n {} td.n {} td.keep { (estimate(e, "dB")) } }
                }
                @for (name, m) in noise { (noise_row(name, m, c.level_match.gain_db)) }
                @if let Some(b) = &c.bleed { (bleed_row(&b.loudness_db)) }
                (shape_row("attack, ms", c.events.attack_s.as_ref(), 1000.0, "ms"))
                (shape_row("decay by 20 dB, ms", c.events.decay_s.as_ref(), 1000.0, "ms"))
                (shape_row("crest, dB", c.events.crest_db.as_ref(), 1.0, "dB"))
            }
        } }
    }
}

/// Noise as recorded, and its difference after the match: the three and the stated match agree.
fn noise_row(name: &str, m: &NoiseMeasure, gain_db: Option<f64>) -> Markup {
    let recorded = m.difference_db.estimate.zip(gain_db).map(|(d, g)| words::rounded(d) - words::rounded(g));
    let stated = words::agreeing(m.reference, m.against, recorded);
    html! {
        tr { th { (name) } td.n { (number(m.reference)) } td.n { (number(stated)) } td.keep { (estimate(&m.difference_db, "dB")) } }
    }
}

/// Signal to bleed by loudness; positive where the second microphone hears less of it.
fn bleed_row(m: &BleedMeasure) -> Markup {
    let stated = words::agreeing(m.reference, m.against, m.difference_db.estimate);
    html! {
        tr { th { "signal to bleed, dB" } td.n { (number(m.reference)) } td.n { (number(stated)) }
            td.keep { (estimate(&m.difference_db, "dB")) } }
    }
}

fn shape_row(name: &str, m: Option<&ShapeMeasure>, times: f64, unit: &str) -> Markup {
    let Some(m) = m else { return html! {} };
    let scaled = |v: Option<f64>| v.map(|v| v * times);
    let difference = fairtake_compare::Estimate {
        estimate: scaled(m.difference.estimate),
        low: scaled(m.difference.low),
        high: scaled(m.difference.high),
        verdict: m.difference.verdict,
    };
    let against = words::agreeing(scaled(m.reference), scaled(m.against), difference.estimate);
    html! {
        tr { th { (name) } td.n { (number(scaled(m.reference))) } td.n { (number(against)) }
            td.keep { (estimate(&difference, unit)) } }
    }
}

/// Edges of the captured range, peaks and notches.
pub fn features(findings: &Findings, c: &ComparisonFindings) -> Markup {
    html! {
        h3 { "Captured range, peaks and notches" }
        @if c.features.is_empty() {
            p.quiet { "None that the takes support." }
        } @else {
            div.scroll { table {
                caption { "On each microphone's average spectrum, as recorded from this source; frequency with its 95 % interval." }
                thead { tr { th { "what" } th { (mic_name(findings, &c.reference)) } th { (mic_name(findings, &c.against)) } th { "set by" } } }
                tbody {
                    @for f in &c.features {
                        tr { th { (words::feature(f.kind)) } td.keep { (at(f, f.reference.as_ref())) }
                            td.keep { (at(f, f.against.as_ref())) } td { (set_by(f)) } }
                    }
                }
            } }
        }
    }
}

fn set_by(f: &Feature) -> &'static str {
    match (f.kind, f.set_by) {
        (_, Some(by)) => words::set_by(by),
        (FeatureKind::LowEdge | FeatureKind::HighEdge, None) => "unknown: goes on beyond what is measured",
        _ => "",
    }
}

fn at(feature: &Feature, at: Option<&FeatureAt>) -> String {
    let Some(at) = at else { return "none found".to_string() };
    let span = format!("{} ({} to {})", hertz(at.hz), hertz(at.low_hz), hertz(at.high_hz));
    match (feature.kind, at.prominence_db) {
        (FeatureKind::Peak | FeatureKind::Notch, Some(p)) => {
            format!("{span}, {} dB prominent", number(Some(p)))
        }
        _ => span,
    }
}

/// Time and polarity, where the takes were recorded together.
pub fn alignment(c: &ComparisonFindings) -> Markup {
    let Some(a) = &c.alignment else { return html! {} };
    let polarity = match a.polarity {
        Polarity::Same => "the same",
        Polarity::Inverted => "inverted",
        Polarity::Unclear => "unclear",
    };
    html! {
        h3 { "Time and transfer" }
        p.quiet.small { "What is left over: energy of the second microphone that a fit of the first does not carry, re its own; fitted and tested on different events." }
        dl {
            dt { "delay" } dd { (delay(a)) }
            dt { "polarity" } dd { (polarity) }
            dt { "left after gain and delay" } dd { (decibels(a.null_depth.gain_delay_db)) }
            dt { "left after an equaliser" } dd { (decibels(a.null_depth.minimum_phase_db)) }
            dt { "left after any linear filter" } dd { (decibels(a.null_depth.any_linear_db)) }
            dt { "least that can be measured" } dd { (decibels(a.null_depth.noise_limit_db)) }
        }
    }
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

fn decibels(db: Option<f64>) -> String {
    db.map_or("unknown".to_string(), |v| format!("{} dB", signed(v)))
}

/// What contributes to the uncertainty, region by region.
pub fn budget(c: &ComparisonFindings) -> Markup {
    html! {
        @if !c.budget.is_empty() {
            h3 { "Uncertainty budget" }
            div.scroll { table {
                caption { "Standard uncertainty in dB. A: from repeats; B: from other knowledge." }
                thead { tr { th { "region" } @for line in &c.budget { th.n { (line.name) " (" (format!("{:?}", line.kind)) ")" } } } }
                tbody {
                    @for (i, r) in c.regions.iter().enumerate() {
                        tr { th { (hertz(r.from_hz)) " to " (hertz(r.to_hz)) }
                            @for line in &c.budget {
                                td.n { (line.per_region_db.get(i).copied().flatten().map_or("unknown".into(), |v| format!("{v:.2}"))) }
                            } }
                    }
                }
            } }
        }
    }
}

/// Every band, behind a fold.
pub fn bands(findings: &Findings, c: &ComparisonFindings) -> Markup {
    html! {
        details {
            summary { "Every band" }
            div.scroll { table {
                thead { tr { th { "from" } th { "to" } th.n { (mic_name(findings, &c.reference)) } th.n { (mic_name(findings, &c.against)) }
                    th.n { "difference" } th { "95 %, by itself" } th { "95 %, all at once" } th.n { "signal to noise" } th { "verdict" } } }
                tbody { @for b in &c.bands { (band(b)) } }
            } }
        }
    }
}

fn band(b: &Band) -> Markup {
    html! {
        tr {
            td.keep { (format!("{:.1} Hz", b.from_hz)) }
            td.keep { (format!("{:.1} Hz", b.to_hz)) }
            td.n { (number(b.reference_db)) }
            td.n { (number(b.against_db)) }
            td.n { (b.difference_db.map_or("unknown".into(), signed)) }
            td.keep { (bounds(b.low_db, b.high_db)) }
            td.keep { (bounds(b.simultaneous_low_db, b.simultaneous_high_db)) }
            td.n { (number(b.snr_db)) }
            td.keep { (verdict(b.verdict)) }
        }
    }
}
