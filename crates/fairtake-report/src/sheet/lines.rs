//! What a data sheet says, line by line: computed in `fairtake-calibrated`, put into words here, once for page and terminal.

use super::directions::{by_octave, direction};
use super::distorting::distortion;
use crate::content::Table;
use crate::words::hertz;
use fairtake_calibrated::level::{Noise, NoiseLevel, Sensitivity, SoundField, Standing};
use fairtake_calibrated::microphone::{Edge, EffectiveRange, Verdict};
use fairtake_calibrated::proximity::{Proximity, Reach};
use fairtake_calibrated::sheet::{Agreement, BesideStated, Bound, Missing, Part, ResponseSheet};
use fairtake_calibrated::{DataSheet, Quantity};

/// A line: what, and its value.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    pub what: String,
    pub value: String,
    /// What its uncertainty is made of, the largest first.
    pub budget: Vec<(String, String)>,
}

/// One part of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PartLines {
    pub title: &'static str,
    /// What was found octave by octave.
    pub table: Option<Table>,
    pub lines: Vec<Line>,
    /// What is doubtful, what was left out, and why.
    pub remarks: Vec<String>,
}

/// Title of the part that has the curve of the response.
pub(crate) const RESPONSE: &str = "Frequency response";

/// Title of the part that has a polar diagram.
pub(crate) const DIRECTION: &str = "Directional characteristics";

/// Title of the part that has a noise spectrum.
pub(crate) const NOISE: &str = "Inherent noise";

/// All parts in their order.
pub(crate) fn parts(sheet: &DataSheet) -> Vec<PartLines> {
    vec![
        part("Sensitivity", &sheet.sensitivity, sensitivity),
        part(RESPONSE, &sheet.response, response),
        PartLines {
            table: sheet.direction.found.as_ref().and_then(by_octave),
            ..part(DIRECTION, &sheet.direction, direction)
        },
        part("Proximity effect", &sheet.proximity, proximity),
        part("Amplitude non-linearity", &sheet.distortion, distortion),
        part(NOISE, &sheet.noise, noise),
        beside(&sheet.beside_stated),
    ]
}

fn part<T>(title: &'static str, part: &Part<T>, lines: impl Fn(&T) -> (Vec<Line>, Vec<String>)) -> PartLines {
    let (lines, mut remarks) = part.found.as_ref().map(lines).unwrap_or_default();
    remarks.extend(part.missing.iter().map(missing));
    // Cautions are sentences; whoever prints a remark ends it.
    let remarks = remarks.into_iter().map(|r| r.trim_end_matches('.').to_string()).collect();
    PartLines { title, table: None, lines, remarks }
}

fn missing(m: &Missing) -> String {
    match &m.take {
        Some(take) => format!("{take}: {}; {}", m.what, m.hint),
        None => format!("{}; {}", m.what, m.hint),
    }
}

/// `value ± half unit`, the half width in two figures, the value as fine.
pub(super) fn with_half(q: &Quantity, unit: &str) -> String {
    let Some(half) = q.half.filter(|h| *h > 0.0) else {
        return format!("{} {unit}", plain(q.value, 1));
    };
    format!("{} ± {} {unit}", plain(q.value, two_figures(half)), upwards(half))
}

/// The same of a difference: what is more than nothing has its sign too.
pub(super) fn signed(q: &Quantity, unit: &str) -> String {
    let said = with_half(q, unit);
    // Zeros as far as it is shown have none.
    let shown = said.split(' ').next().unwrap_or_default();
    let positive = !said.starts_with('−') && shown.chars().any(|c| c.is_ascii_digit() && c != '0');
    if positive { format!("+{said}") } else { said }
}

/// A half width in two figures, rounded up: an interval is not narrower than it is.
pub(super) fn upwards(half: f64) -> String {
    let decimals = two_figures(half);
    let scale = 10f64.powi(decimals as i32);
    let half = (half * scale - 1e-9).ceil() / scale;
    format!("{half:.decimals$}")
}

/// Decimals by which a positive value has two figures; four at most.
pub(super) fn two_figures(value: f64) -> usize {
    [10.0, 1.0, 0.1, 0.01].iter().filter(|from| value < **from).count()
}

pub(super) fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if zero { text.replace('-', "") } else { text.replace('-', "−") }
}

pub(super) fn line(what: &str, q: &Quantity, unit: &str) -> Line {
    let variance: f64 = q.budget.iter().map(|c| c.standard * c.standard).sum();
    let mut budget: Vec<(f64, String)> = q.budget.iter().map(|c| (c.standard, c.from.clone())).collect();
    budget.sort_by(|a, b| b.0.total_cmp(&a.0));
    let share = |standard: f64| if variance > 0.0 { 100.0 * standard * standard / variance } else { 0.0 };
    Line {
        what: what.into(),
        value: with_half(q, unit),
        budget: budget
            .into_iter()
            .filter(|(standard, _)| share(*standard) >= 0.5)
            .map(|(standard, from)| (from, format!("{:.0} %", share(standard))))
            .collect(),
    }
}

pub(super) fn said(what: &str, value: impl Into<String>) -> Line {
    Line { what: what.into(), value: value.into(), budget: Vec::new() }
}

fn sensitivity(s: &Sensitivity) -> (Vec<Line>, Vec<String>) {
    let mut lines = Vec::new();
    if let Some(q) = &s.mv_per_pa {
        lines.push(line("sensitivity", q, "mV/Pa"));
    }
    if let Some(q) = &s.db_re_1v_per_pa {
        lines.push(line("the same", q, "dB re 1 V/Pa"));
    }
    lines.push(line("level in the file for 1 Pa", &s.dbfs_per_pa, "dBFS"));
    lines.push(line("full scale of the chain as set", &s.full_scale_spl_db, "dB SPL"));
    let c = &s.conditions;
    let mut held = vec![match c.field {
        SoundField::PressureToFreeField => "calibrator, carried over to the free field".to_string(),
        SoundField::FreeField => "in the sound of a loudspeaker, by substitution".to_string(),
    }];
    held.push(format!("at {}", hertz(c.frequency_hz)));
    held.extend(c.spl_db.map(|db| format!("{} dB SPL", plain(db, 1))));
    held.extend(c.distance_mm.map(|mm| format!("{mm:.0} mm from the loudspeaker")));
    held.push(match c.n_takes {
        1 => "1 take".to_string(),
        n => format!("{n} takes"),
    });
    lines.push(said("measured", held.join(", ")));
    let mut remarks: Vec<String> = s.cautions.iter().map(|c| c.words()).collect();
    if s.mv_per_pa.is_none() {
        remarks.push("the gain of the chain is not known, so there is no sensitivity in mV/Pa; log gain_db and [bench] full_scale_dbv".into());
    }
    (lines, remarks)
}

fn edge(edge: &Edge, below: bool) -> String {
    match edge {
        Edge::At(q) => with_half(q, "Hz"),
        Edge::Beyond(hz) if below => format!("below {}", hertz(*hz)),
        Edge::Beyond(hz) => format!("above {}", hertz(*hz)),
    }
}

fn range(r: &EffectiveRange) -> Line {
    let what = format!("effective frequency range, {} dB re 1 kHz", plain(r.limit_db, 0));
    said(&what, format!("{} to {}", edge(&r.low, true), edge(&r.high, false)))
}

fn response(r: &ResponseSheet) -> (Vec<Line>, Vec<String>) {
    let mut lines: Vec<Line> = r.ranges.iter().map(range).collect();
    if let Some(d) = &r.published {
        let at = format!("{} at {}", with_half(&d.largest.deviation_db, "dB"), hertz(d.largest.hz));
        lines.push(said("from the published curve, at most", at));
        lines.push(said("the same, root mean square", format!("{} dB", plain(d.rms_db, 1))));
    }
    if let Some(m) = &r.tolerance {
        let verdict = match m.verdict {
            Verdict::Within => "within".to_string(),
            Verdict::Outside => format!("outside at {}", m.beyond.len()),
            Verdict::Undecided => format!("undecided at {}", m.undecided_hz.len()),
        };
        lines.push(said("tolerances", format!("{verdict} of {} points", m.n_points)));
    }
    let gate = &r.with_loudspeaker;
    lines.push(said(
        "gate",
        format!(
            "{} ms: without a reference nothing is known below {}",
            plain(1e3 * gate.gate_s, 1),
            hertz(gate.lowest_hz)
        ),
    ));
    let mut held = vec![match r.n_repeats {
        1 => "1 setting-up".to_string(),
        n => format!("{n} settings-up"),
    }];
    held.extend(r.distance_mm.map(|mm| format!("{mm:.0} mm from the loudspeaker")));
    held.extend(r.reference_name.as_ref().map(|name| format!("against {name}")));
    lines.push(said("measured", held.join(", ")));
    lines.push(line("clock of the recorder against the player's", &r.drift_ppm, "ppm"));
    let mut remarks: Vec<String> = gate.defects.iter().map(|d| format!("{d}; {}", d.hint())).collect();
    if let Some(hz) = r.own.as_ref().and_then(|own| own.ungated_below_hz) {
        remarks.push(format!(
            "below {} the curve holds reflections that both microphones heard; what their patterns make of them is in its interval",
            hertz(hz)
        ));
    }
    (lines, remarks)
}

/// Band whose rise is given over distance, in Hz.
const RISE_HZ: f64 = 100.0;

fn proximity(p: &Proximity) -> (Vec<Line>, Vec<String>) {
    let mut lines = Vec::new();
    // What rises is held against the farthest distance, which has no rise itself.
    let farthest = p.distances.iter().map(|at| at.distance_mm).fold(0.0, f64::max);
    for at in p.distances.iter().filter(|at| at.distance_mm < farthest) {
        let near = at
            .bands
            .iter()
            .min_by(|a, b| (a.centre_hz / RISE_HZ).ln().abs().total_cmp(&(b.centre_hz / RISE_HZ).ln().abs()));
        if let Some((band, rise)) = near.and_then(|b| Some((b, b.rise_db.as_ref()?))) {
            let what = format!(
                "rise at {} over 1 kHz, {:.0} mm against {farthest:.0} mm",
                hertz(band.centre_hz),
                at.distance_mm
            );
            lines.push(line(&what, rise, "dB"));
        }
    }
    lines.push(line("share of the gradient at low frequencies", &p.model.gradient_share, ""));
    lines.push(line("acoustic centres, behind the marks, both together", &p.model.acoustic_centre_mm, "mm"));
    for rise in &p.rises {
        let what =
            format!("rise of {} dB at {}", plain(rise.asked.rise_db, 0), hertz(rise.asked.frequency_hz));
        let value = match (&rise.distance_mm, rise.reach) {
            (Some(q), Some(Reach::Extrapolated)) => {
                format!("at {}, beyond what was measured", with_half(q, "mm"))
            }
            (Some(q), _) => format!("at {}", with_half(q, "mm")),
            (None, _) => "not shown".to_string(),
        };
        lines.push(said(&what, value));
    }
    let c = &p.conditions;
    if let (Some(first), Some(last)) = (c.distances_mm.first(), c.distances_mm.last()) {
        let told = format!("{} distances from {first:.0} to {last:.0} mm", c.distances_mm.len());
        lines.push(said("measured", told));
    }
    (lines, p.cautions.iter().map(|c| c.words()).collect())
}

fn level(what: &str, n: &NoiseLevel) -> Line {
    let line = line(what, &n.spl_db, "dB SPL");
    match n.standing {
        Standing::Own => line,
        Standing::AtMost => Line { value: format!("at most {}", line.value), ..line },
    }
}

/// What a bound of the noise bounds from the other side.
fn from_noise(what: &str, q: &Quantity, n: &Noise) -> Line {
    let line = line(what, q, "dB");
    match n.a_weighted.standing {
        Standing::Own => line,
        Standing::AtMost => Line { value: format!("at least {}", line.value), ..line },
    }
}

fn noise(n: &Noise) -> (Vec<Line>, Vec<String>) {
    let mut lines = vec![
        level("equivalent noise level, A-weighted", &n.a_weighted),
        level("equivalent noise level, BS.468 quasi-peak", &n.bs468),
        from_noise("signal-to-noise ratio re 94 dB SPL, A-weighted", &n.signal_to_noise_db, n),
        from_noise("from that noise to full scale of the chain as set, A-weighted", &n.dynamic_range_db, n),
    ];
    let share =
        |share: f64| if share < 0.005 { "under 1 %".to_string() } else { format!("{:.0} %", 100.0 * share) };
    if let Some(s) = n.a_weighted.ambient {
        let told = match (share(s.at_least), share(s.at_most)) {
            (least, most) if least == most => least,
            (least, most) => format!("from {least} to {most}"),
        };
        lines.push(said("sound of the room in it, A-weighted", told));
    }
    if let Some(s) = n.a_weighted.chain_share {
        lines.push(said("noise of the chain in it, A-weighted", share(s)));
    }
    for h in &n.hum {
        lines.push(line(&format!("hum at {}", hertz(h.at_hz)), &h.spl_db, "dB SPL"));
    }
    lines.push(said("measured", format!("{} s of silence", plain(n.seconds, 0))));
    (lines, n.cautions.iter().map(|c| c.words()).collect())
}

fn beside(rows: &[BesideStated]) -> PartLines {
    let lines = rows
        .iter()
        .map(|b| {
            let bound = match b.bound {
                Bound::Own => "measured",
                Bound::AtMost => "measured at most",
                Bound::AtLeast => "measured at least",
            };
            let value = b.measured.as_ref().map(|m| format!("{bound} {}", with_half(m, "").trim_end()));
            let measured = match (value, &b.note) {
                (Some(value), Some(note)) => format!("{value} ({note})"),
                (Some(value), None) => value,
                (None, Some(why)) => why.clone(),
                (None, None) => "not measured".to_string(),
            };
            let agrees = match b.agreement {
                Agreement::Agrees => "agrees",
                Agreement::Differs => "differs",
                Agreement::Unknown => "cannot be told",
            };
            said(&b.what, format!("stated {}, {}: {agrees}", plain(b.stated, 1), measured))
        })
        .collect();
    PartLines { title: "Beside what its maker states", table: None, lines, remarks: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_calibrated::Contribution;

    #[test]
    fn a_difference_has_its_sign_but_for_nothing() {
        let known = |value, half| Quantity::new(value, vec![Contribution::expanded("made", half, 1.96)]);
        for (q, said) in [
            (known(0.58, 0.31), "+0.58 ± 0.31 dB"),
            (known(-0.58, 0.31), "−0.58 ± 0.31 dB"),
            (known(0.001, 0.31), "0.00 ± 0.31 dB"),
            (Quantity::of_unknown_uncertainty(0.44), "+0.4 dB"),
        ] {
            assert_eq!(signed(&q, "dB"), said);
        }
    }
}
