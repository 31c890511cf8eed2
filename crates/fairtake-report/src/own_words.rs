//! Texts that the user has edited, held against the findings they came from: which numbers no longer agree.
//!
//! Only numbers are looked at; what is said with words ("louder", "alike") is the user's own. A number agrees where some
//! number of the findings, of the same kind, would be written so with as many decimals; where a sentence names a region, one
//! of that region's. What is looked at, and what that
//! cannot find: `docs/methods/words.md`.

use crate::spoken::{About, one_line};
use crate::words;
use fairtake_compare::wording::rounded;
use fairtake_compare::{ComparisonFindings, Estimate, Findings, Region, SettleReason, Verdict};

/// A number that agrees with nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// As it is written, with its unit.
    pub written: String,
    /// Where it begins in the text, in bytes.
    pub at: usize,
    /// The nearest number of the findings of the same kind, as it would be written; `None` where there is none of its kind.
    pub nearest: Option<String>,
}

impl Disagreement {
    /// The warning as it is shown.
    pub fn text(&self) -> String {
        match &self.nearest {
            Some(near) => {
                format!("“{}” agrees with no number of the findings; the nearest is {near}", self.written)
            }
            None => {
                format!("“{}” agrees with no number of the findings; there is none of its kind", self.written)
            }
        }
    }
}

/// Every number in the text that agrees with no number of the findings, in order.
pub fn disagreements(text: &str, findings: &Findings, about: About) -> Vec<Disagreement> {
    let all = known(findings, about);
    let numbers = numbers(text, &names(findings));
    let mut out = Vec::new();
    for sentence in numbers.chunk_by(|a, b| !ends_sentence(&text[a.end..b.at])) {
        // Where a sentence names a region, its decibels are held against that region.
        let regions = regions_named(findings, about, sentence);
        let narrow = (!regions.is_empty()).then(|| of_regions(&regions));
        for n in sentence {
            let known = if n.kind == Some(Kind::Db) { narrow.as_ref().unwrap_or(&all) } else { &all };
            if !known.iter().any(|k| agrees(n, k)) {
                let written = text[n.at..n.end].to_string();
                out.push(Disagreement { nearest: nearest(n, known), written, at: n.at });
            }
        }
    }
    out
}

/// True where a sentence ends between two numbers.
fn ends_sentence(between: &str) -> bool {
    between.contains(['\n', ';', '!', '?']) || between.contains(". ")
}

fn pairs(findings: &Findings, about: About) -> Vec<&ComparisonFindings> {
    match about {
        About::Pair(i) => findings.comparisons.get(i).into_iter().collect(),
        About::Whole => findings.comparisons.iter().collect(),
    }
}

/// Regions both of whose ends a sentence names one after the other, with the comparison they are of.
fn regions_named<'f>(
    findings: &'f Findings,
    about: About,
    sentence: &[Written],
) -> Vec<(&'f ComparisonFindings, &'f Region)> {
    let hz: Vec<&Written> = sentence.iter().filter(|n| n.kind == Some(Kind::Hz)).collect();
    let is = |n: &Written, value: f64| agrees(n, &Known { kind: Kind::Hz, value, bound: false });
    let named = |r: &Region| hz.windows(2).any(|w| is(w[0], r.from_hz) && is(w[1], r.to_hz));
    pairs(findings, about)
        .into_iter()
        .flat_map(|c| c.regions.iter().filter(|r| named(r)).map(move |r| (c, r)))
        .collect()
}

/// The decibels of regions, and what else may be said beside them: the margin and the difference in loudness.
fn of_regions(regions: &[(&ComparisonFindings, &Region)]) -> Vec<Known> {
    let mut out = Vec::new();
    for (c, r) in regions {
        region_db(&mut out, r);
        put(&mut out, Kind::Db, Some(c.margin_db));
        estimate(&mut out, Kind::Db, &c.levels.loudness_lufs.difference_db);
    }
    out
}

fn region_db(out: &mut Vec<Known>, r: &Region) {
    put(out, Kind::Db, r.difference_db);
    bound(out, Kind::Db, r.low_db);
    bound(out, Kind::Db, r.high_db);
}

/// What a number counts. A number without a unit may be any of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Db,
    Hz,
    Seconds,
    Percent,
    Count,
}

/// A number of the findings; a bound may be rounded away from the estimate.
struct Known {
    kind: Kind,
    value: f64,
    bound: bool,
}

/// A number of the text, in the unit of its kind.
struct Written {
    at: usize,
    end: usize,
    kind: Option<Kind>,
    /// Where it was written with a sign, that sign counts.
    signed: bool,
    value: f64,
    /// The last decimal that is written.
    step: f64,
}

fn agrees(n: &Written, k: &Known) -> bool {
    if n.kind.is_some_and(|kind| kind != k.kind) {
        return false;
    }
    let (x, y) = if n.signed { (n.value, k.value) } else { (n.value.abs(), k.value.abs()) };
    let off = (x - y).abs();
    // A hair for binary fractions.
    let hair = 1e-6 * (1.0 + y.abs());
    if k.bound { off < n.step + hair } else { off <= n.step / 2.0 + hair }
}

fn nearest(n: &Written, known: &[Known]) -> Option<String> {
    let size = |v: f64| if n.signed { v } else { v.abs() };
    let of_kind = known.iter().filter(|k| n.kind.is_none_or(|kind| kind == k.kind));
    let near = of_kind.min_by(|a, b| {
        let off = |k: &Known| (size(k.value) - size(n.value)).abs();
        off(a).total_cmp(&off(b))
    })?;
    Some(match near.kind {
        Kind::Hz => words::hertz(near.value),
        Kind::Db if n.signed => format!("{} dB", words::signed(near.value)),
        Kind::Db => format!("{:.1} dB", rounded(near.value.abs())),
        Kind::Seconds => format!("{:.4} s", near.value),
        Kind::Percent => format!("{} %", rounded(near.value)),
        Kind::Count => format!("{}", near.value),
    })
}

/// The numbers of the findings that texts and tables say: not those of single bands, of which there are so many that every
/// number would agree with one.
fn known(findings: &Findings, about: About) -> Vec<Known> {
    let mut out = Vec::new();
    let s = &findings.settings;
    put(&mut out, Kind::Percent, Some(s.confidence * 100.0));
    if about == About::Whole {
        for n in
            [findings.mics.len(), findings.sources.len(), findings.takes.len(), findings.comparisons.len()]
        {
            put(&mut out, Kind::Count, Some(n as f64));
        }
    }
    pairs(findings, about).into_iter().for_each(|c| of_pair(&mut out, c));
    out
}

fn put(out: &mut Vec<Known>, kind: Kind, value: Option<f64>) {
    out.extend(value.map(|value| Known { kind, value, bound: false }));
}

fn bound(out: &mut Vec<Known>, kind: Kind, value: Option<f64>) {
    out.extend(value.map(|value| Known { kind, value, bound: true }));
}

fn estimate(out: &mut Vec<Known>, kind: Kind, e: &Estimate) {
    put(out, kind, e.estimate);
    bound(out, kind, e.low);
    bound(out, kind, e.high);
}

fn of_pair(out: &mut Vec<Known>, c: &ComparisonFindings) {
    put(out, Kind::Db, Some(c.margin_db));
    let l = &c.levels;
    for m in [&l.sample_peak_dbfs, &l.true_peak_dbtp, &l.rms_dbfs, &l.loudness_lufs] {
        for v in [m.reference.max, m.reference.event_mean, m.against.max, m.against.event_mean] {
            put(out, Kind::Db, v);
        }
        put(out, Kind::Db, words::stated_against(m));
        estimate(out, Kind::Db, &m.difference_db);
    }
    if let Some(e) = &l.loudness_at_equal_gain_db {
        estimate(out, Kind::Db, e);
    }
    for n in [&c.noise.plain_dbfs, &c.noise.a_weighted_dbfs, &c.noise.bs468_dbfs] {
        put(out, Kind::Db, n.reference);
        put(out, Kind::Db, n.against);
        estimate(out, Kind::Db, &n.difference_db);
    }
    if let Some(b) = &c.bleed {
        put(out, Kind::Db, b.loudness_db.reference);
        put(out, Kind::Db, b.loudness_db.against);
        estimate(out, Kind::Db, &b.loudness_db.difference_db);
    }
    put(out, Kind::Db, c.level_match.gain_db);
    bound(out, Kind::Db, c.level_match.low);
    bound(out, Kind::Db, c.level_match.high);
    for r in &c.regions {
        put(out, Kind::Hz, Some(r.from_hz));
        put(out, Kind::Hz, Some(r.to_hz));
        region_db(out, r);
        if let Some(s) = &r.settle {
            put(out, Kind::Count, s.events.map(f64::from));
            put(out, Kind::Count, s.placements.map(f64::from));
        }
    }
    for f in c.features.iter().flat_map(|f| [f.reference, f.against]).flatten() {
        put(out, Kind::Hz, Some(f.hz));
        bound(out, Kind::Hz, Some(f.low_hz));
        bound(out, Kind::Hz, Some(f.high_hz));
        put(out, Kind::Db, f.db);
        put(out, Kind::Db, f.prominence_db);
    }
    for m in [&c.events.attack_s, &c.events.decay_s].into_iter().flatten() {
        put(out, Kind::Seconds, m.reference);
        put(out, Kind::Seconds, m.against);
        estimate(out, Kind::Seconds, &m.difference);
    }
    if let Some(a) = &c.alignment {
        put(out, Kind::Seconds, a.delay_s);
        bound(out, Kind::Seconds, a.delay_low_s);
        bound(out, Kind::Seconds, a.delay_high_s);
    }
    for n in [&c.counts.reference, &c.counts.against] {
        for v in [n.takes, n.placements, n.events] {
            put(out, Kind::Count, Some(f64::from(v)));
        }
    }
    for verdict in [Verdict::Different, Verdict::Alike, Verdict::Undecided, Verdict::OutOfRange] {
        let n = c.regions.iter().filter(|r| r.verdict == verdict).count();
        put(out, Kind::Count, Some(n as f64));
    }
    for reason in [SettleReason::NearMargin, SettleReason::OutOfReach, SettleReason::Allowance] {
        let n = c.regions.iter().filter(|r| r.settle.as_ref().is_some_and(|s| s.reason == reason)).count();
        put(out, Kind::Count, (n > 0).then_some(n as f64));
        if n > 0 && reason == SettleReason::OutOfReach {
            // The limits beyond which nothing is advised.
            put(out, Kind::Count, Some(20.0));
            put(out, Kind::Count, Some(500.0));
        }
    }
}

/// Names and title, the longest first: the numbers in them are no claims.
fn names(findings: &Findings) -> Vec<String> {
    let mut out: Vec<String> = findings
        .mics
        .iter()
        .flat_map(|m| [m.name.clone(), m.id.clone()])
        .chain(findings.sources.iter().flat_map(|s| [s.name.clone(), s.id.clone()]))
        .chain(findings.title.clone())
        .flat_map(|n| [one_line(&n), n])
        // A name that is nothing but a number is not told from a number.
        .filter(|n| {
            n.chars().any(|c| c.is_ascii_digit()) && n.chars().any(|c| !c.is_ascii_digit() && c != '.')
        })
        .collect();
    out.sort_by_key(|n| std::cmp::Reverse(n.len()));
    out.dedup();
    out
}

/// The numbers of a text that stand outside of names.
fn numbers(text: &str, names: &[String]) -> Vec<Written> {
    let bytes = text.as_bytes();
    let mut out = Vec::new();
    let mut i = 0;
    let mut last = ' ';
    while i < text.len() {
        if let Some(name) =
            names.iter().find(|n| !last.is_alphanumeric() && text[i..].starts_with(n.as_str()))
            && !text[i + name.len()..].starts_with(|c: char| c.is_alphanumeric())
        {
            i += name.len();
            last = 'a';
            continue;
        }
        let c = text[i..].chars().next().unwrap_or(' ');
        if !c.is_ascii_digit() {
            last = c;
            i += c.len_utf8();
            continue;
        }
        let whole = bytes[i..].iter().take_while(|b| b.is_ascii_digit()).count();
        let mut end = i + whole;
        let mut decimals = 0;
        if matches!(bytes.get(end), Some(b'.' | b',')) && bytes.get(end + 1).is_some_and(u8::is_ascii_digit) {
            decimals = bytes[end + 1..].iter().take_while(|b| b.is_ascii_digit()).count();
            end += 1 + decimals;
        }
        // Digits that hang on a letter, as in a key, are part of a word.
        if !last.is_alphabetic() && last != '_' {
            out.push(number(text, i, end, decimals));
        }
        last = '0';
        i = end;
    }
    out
}

/// The number at `at..end` with its sign before and its unit behind.
fn number(text: &str, at: usize, end: usize, decimals: usize) -> Written {
    let value: f64 = text[at..end].replace(',', ".").parse().unwrap_or(0.0);
    let before = &text[..at];
    let sign = if before.ends_with("minus ") || before.ends_with('−') {
        Some(-1.0)
    } else if before.ends_with('+') || before.ends_with("plus ") {
        Some(1.0)
    } else if before.ends_with('-') && !before.trim_end_matches('-').ends_with(|c: char| c.is_alphanumeric())
    {
        Some(-1.0)
    } else {
        None
    };
    let (unit_len, kind, factor) = unit(&text[end..]);
    let step = 10f64.powi(-(decimals as i32)) * factor;
    Written {
        at,
        end: end + unit_len,
        kind,
        signed: sign.is_some(),
        value: sign.unwrap_or(1.0) * value * factor,
        step,
    }
}

/// The unit after a number: its length with the space, its kind, and what makes of it dB, Hz or s. After `to` or a dash it
/// may stand behind the second number.
fn unit(rest: &str) -> (usize, Option<Kind>, f64) {
    const UNITS: [(&str, Kind, f64); 20] = [
        ("decibels", Kind::Db, 1.0),
        ("decibel", Kind::Db, 1.0),
        ("dBFS", Kind::Db, 1.0),
        ("dBTP", Kind::Db, 1.0),
        ("dB", Kind::Db, 1.0),
        ("LUFS", Kind::Db, 1.0),
        ("LU", Kind::Db, 1.0),
        ("kilohertz", Kind::Hz, 1000.0),
        ("kHz", Kind::Hz, 1000.0),
        ("hertz", Kind::Hz, 1.0),
        ("Hz", Kind::Hz, 1.0),
        ("milliseconds", Kind::Seconds, 1e-3),
        ("ms", Kind::Seconds, 1e-3),
        ("percent", Kind::Percent, 1.0),
        ("per cent", Kind::Percent, 1.0),
        ("%", Kind::Percent, 1.0),
        ("hits", Kind::Count, 1.0),
        ("placements", Kind::Count, 1.0),
        ("takes", Kind::Count, 1.0),
        ("regions", Kind::Count, 1.0),
    ];
    let gap = rest.len() - rest.trim_start_matches([' ', '\u{a0}', '\u{202f}']).len();
    let word = &rest[gap..];
    let ends = |w: &str| !word[w.len()..].starts_with(|c: char| c.is_alphabetic());
    if let Some((w, kind, factor)) = UNITS.iter().find(|(w, ..)| word.starts_with(w) && ends(w)) {
        return (gap + w.len(), Some(*kind), *factor);
    }
    // `2.1 to 7.9 kHz`, `2.1–7.9 kHz`: the unit of the next number, which this one shares.
    let after = ["to ", "and ", "–", "-"].iter().find_map(|join| word.strip_prefix(join));
    if let Some(next) = after.map(|a| a.trim_start_matches(['+', '−', '-'])) {
        let n = next.bytes().take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b',')).count();
        if n > 0 {
            let (_, kind, factor) = unit_here(&next[n..], &UNITS);
            return (0, kind, factor);
        }
    }
    (0, None, 1.0)
}

fn unit_here(rest: &str, units: &[(&str, Kind, f64)]) -> (usize, Option<Kind>, f64) {
    let word = rest.trim_start();
    let found = units.iter().find(|(w, ..)| word.starts_with(w));
    found.map_or((0, None, 1.0), |(w, kind, factor)| (w.len(), Some(*kind), *factor))
}
