//! The tables of one comparison.

use super::{Cell, Column, Kind, Table, columns, mic_name};
use crate::words::{self, estimate, hertz, interval, number, signed};
use fairtake_compare::{
    Band, BleedMeasure, ComparisonFindings, Estimate, Feature, FeatureAt, FeatureKind, Findings,
    NoiseMeasure, Region, SettleReason, ShapeMeasure, Unit,
};

/// Regions with their intervals and what would settle them.
pub(crate) fn regions(c: &ComparisonFindings) -> Table {
    let row = |r: &Region| {
        vec![
            hertz(r.from_hz).into(),
            hertz(r.to_hz).into(),
            Cell::Verdict(r.verdict),
            r.difference_db.map_or("unknown".into(), signed).into(),
            bounds(r.low_db, r.high_db).into(),
            settle(r, c.unit).into(),
        ]
    };
    Table {
        caption: None,
        columns: columns([
            ("from", Kind::Keep),
            ("to", Kind::Keep),
            ("verdict", Kind::Keep),
            ("difference in dB", Kind::Number),
            ("95 %, over all regions", Kind::Keep),
            ("to settle it", Kind::Words),
        ]),
        rows: c.regions.iter().map(row).collect(),
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
pub(crate) fn levels(findings: &Findings, c: &ComparisonFindings) -> Table {
    let l = &c.levels;
    let (reference, against) = (mic_name(findings, &c.reference), mic_name(findings, &c.against));
    let measures = [
        ("sample peak, dBFS", &l.sample_peak_dbfs),
        ("true peak, dBTP", &l.true_peak_dbtp),
        ("RMS, dBFS", &l.rms_dbfs),
        ("loudness, LUFS", &l.loudness_lufs),
    ];
    // Said where a row's numbers do not agree by themselves.
    let evened_out = if measures.iter().any(|(_, m)| words::evened_out(m)) {
        " Where it is not that of the two levels, the playing was evened out, or placements count alike whatever was \
         played at each."
    } else {
        ""
    };
    let mut rows: Vec<Vec<Cell>> = measures
        .map(|(name, m)| {
            level_row(name, m.reference.event_mean, words::stated_against(m), &m.difference_db, "dB")
        })
        .to_vec();
    if let Some(e) = &l.loudness_at_equal_gain_db {
        rows.push(vec!["loudness at equal gain".into(), "".into(), "".into(), estimate(e, "dB").into()]);
    }
    for (name, m) in [
        ("noise, dBFS", &c.noise.plain_dbfs),
        ("noise, dBFS A-weighted", &c.noise.a_weighted_dbfs),
        ("noise, dBFS BS.468-weighted", &c.noise.bs468_dbfs),
    ] {
        rows.push(noise_row(name, m, c.level_match.gain_db));
    }
    rows.extend(c.bleed.as_ref().map(|b| bleed_row(&b.loudness_db)));
    let e = &c.events;
    for (name, m, times, unit) in [
        ("attack, ms", &e.attack_s, 1000.0, "ms"),
        ("decay by 20 dB, ms", &e.decay_s, 1000.0, "ms"),
        ("crest, dB", &e.crest_db, 1.0, "dB"),
    ] {
        rows.extend(m.as_ref().map(|m| shape_row(name, m, times, unit)));
    }
    Table {
        caption: Some(format!(
            "Means over events, as recorded. The difference is {against} minus {reference}; of noise, after the \
             match.{evened_out}"
        )),
        columns: columns([
            ("measure", Kind::Head),
            (reference, Kind::Number),
            (against, Kind::Number),
            ("difference (95 %), verdict", Kind::Keep),
        ]),
        rows,
    }
}

fn level_row(
    name: &str,
    reference: Option<f64>,
    against: Option<f64>,
    difference: &Estimate,
    unit: &str,
) -> Vec<Cell> {
    vec![name.into(), number(reference).into(), number(against).into(), estimate(difference, unit).into()]
}

/// Noise as recorded, and its difference after the match: the three and the stated match agree.
fn noise_row(name: &str, m: &NoiseMeasure, gain_db: Option<f64>) -> Vec<Cell> {
    let recorded = m.difference_db.estimate.zip(gain_db).map(|(d, g)| words::rounded(d) - words::rounded(g));
    let stated = words::agreeing(m.reference, m.against, recorded);
    level_row(name, m.reference, stated, &m.difference_db, "dB")
}

/// Signal to bleed by loudness; positive where the second microphone hears less of it.
fn bleed_row(m: &BleedMeasure) -> Vec<Cell> {
    let stated = words::agreeing(m.reference, m.against, m.difference_db.estimate);
    level_row("signal to bleed, dB", m.reference, stated, &m.difference_db, "dB")
}

fn shape_row(name: &str, m: &ShapeMeasure, times: f64, unit: &str) -> Vec<Cell> {
    let scaled = |v: Option<f64>| v.map(|v| v * times);
    let difference = Estimate {
        estimate: scaled(m.difference.estimate),
        low: scaled(m.difference.low),
        high: scaled(m.difference.high),
        verdict: m.difference.verdict,
    };
    let against = words::agreeing(scaled(m.reference), scaled(m.against), difference.estimate);
    level_row(name, scaled(m.reference), against, &difference, unit)
}

/// Edges of the captured range, peaks and notches; `None` where the takes support none.
pub(crate) fn features(findings: &Findings, c: &ComparisonFindings) -> Option<Table> {
    let row = |f: &Feature| {
        vec![
            words::feature(f.kind).into(),
            at(f, f.reference.as_ref()).into(),
            at(f, f.against.as_ref()).into(),
            set_by(f).into(),
        ]
    };
    (!c.features.is_empty()).then(|| Table {
        caption: Some(
            "On each microphone's average spectrum, as recorded from this source; frequency with its 95 % interval, and by \
             how much a peak or notch stands out."
                .to_string(),
        ),
        columns: columns([
            ("what", Kind::Head),
            (mic_name(findings, &c.reference), Kind::Keep),
            (mic_name(findings, &c.against), Kind::Keep),
            ("set by", Kind::Words),
        ]),
        rows: c.features.iter().map(row).collect(),
    })
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
    let (low, high) = (hertz(at.low_hz), hertz(at.high_hz));
    // A unit that both bounds share is written once.
    let low = match (low.split_once(' '), high.split_once(' ')) {
        (Some((value, unit)), Some((_, same))) if unit == same => value.to_string(),
        _ => low,
    };
    let span = format!("{} ({low} to {high})", hertz(at.hz));
    match (feature.kind, at.prominence_db) {
        (FeatureKind::Peak | FeatureKind::Notch, Some(p)) => format!("{span}, {} dB", number(Some(p))),
        _ => span,
    }
}

/// What contributes to the uncertainty, region by region; `None` where there is nothing.
pub(crate) fn budget(c: &ComparisonFindings) -> Option<Table> {
    let mut columns = vec![Column { name: "region".into(), kind: Kind::Head }];
    columns.extend(
        c.budget.iter().map(|l| Column { name: format!("{} ({:?})", l.name, l.kind), kind: Kind::Number }),
    );
    let rows = c.regions.iter().enumerate().map(|(i, r)| {
        let mut row: Vec<Cell> = vec![format!("{} to {}", hertz(r.from_hz), hertz(r.to_hz)).into()];
        row.extend(c.budget.iter().map(|line| {
            let value = line.per_region_db.get(i).copied().flatten();
            Cell::Text(value.map_or("unknown".into(), |v| format!("{v:.2}")))
        }));
        row
    });
    (!c.budget.is_empty()).then(|| Table {
        caption: Some("Standard uncertainty in dB. A: from repeats; B: from other knowledge.".to_string()),
        columns,
        rows: rows.collect(),
    })
}

/// Every band.
pub(crate) fn bands(findings: &Findings, c: &ComparisonFindings) -> Table {
    let row = |b: &Band| {
        vec![
            format!("{:.1} Hz", b.from_hz).into(),
            format!("{:.1} Hz", b.to_hz).into(),
            number(b.reference_db).into(),
            number(b.against_db).into(),
            b.difference_db.map_or("unknown".into(), signed).into(),
            bounds(b.low_db, b.high_db).into(),
            bounds(b.simultaneous_low_db, b.simultaneous_high_db).into(),
            number(b.snr_db).into(),
            Cell::Verdict(b.verdict),
        ]
    };
    Table {
        caption: None,
        columns: columns([
            ("from", Kind::Keep),
            ("to", Kind::Keep),
            (mic_name(findings, &c.reference), Kind::Number),
            (mic_name(findings, &c.against), Kind::Number),
            ("difference", Kind::Number),
            ("95 %, by itself", Kind::Keep),
            ("95 %, all at once", Kind::Keep),
            ("signal to noise", Kind::Number),
            ("verdict", Kind::Keep),
        ]),
        rows: c.bands.iter().map(row).collect(),
    }
}
