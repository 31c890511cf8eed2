//! Made findings: numbers drawn by seed, verdicts from the numbers by the project's own rule, invented names.

use super::parts::{self, Draw};
use fairtake_compare::{
    Band, BleedFindings, BleedMeasure, Both, Claim, ComparisonFindings, Counts, Design, Estimate, EventShape,
    Findings, LevelMatch, LevelMeasure, LevelSummary, Levels, MatchBy, MicEntry, NoiseFindings, NoiseMeasure,
    Program, Region, Settings, Settle, SettleReason, SourceEntry, TakeEntry, Unit, Verdict, runs, verdict,
};

/// What is special about a made run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Case {
    Plain,
    AllUndecided,
    UnfairTakes,
    OnePlacement,
    NothingSupported,
    ThreeMics,
    NoSpread,
    StrangeNames,
    SeveralSources,
    NoComparison,
}

/// Every case comes round.
pub fn case(seed: u64) -> Case {
    use Case::*;
    match seed % 20 {
        0..=5 => Plain,
        6 | 7 => AllUndecided,
        8 | 9 => UnfairTakes,
        10 | 11 => OnePlacement,
        12 => NothingSupported,
        13 | 14 => ThreeMics,
        15 => NoSpread,
        16 | 17 => StrangeNames,
        18 => SeveralSources,
        _ if seed % 100 == 99 => NoComparison,
        _ => SeveralSources,
    }
}

/// The findings of one made run.
pub fn findings(seed: u64) -> Findings {
    let case = case(seed);
    let mut draw = Draw::new(seed);
    let bare = case != Case::SeveralSources && draw.one_in(4);
    let n_mics = if case == Case::ThreeMics { 3 } else { 2 };
    let n_sources = if case == Case::SeveralSources { 2 + draw.below(3) } else { 1 };
    let mut settings = Settings::standard();
    settings.margin_db = draw.of(&[1.0, 1.0, 1.0, 0.5, 2.0, 0.25, 1.5]);
    settings.match_by =
        draw.of(&[MatchBy::Loudness, MatchBy::Loudness, MatchBy::Midrange, MatchBy::Peak, MatchBy::None]);
    settings.bands_per_octave = draw.of(&[1, 3, 3, 6, 12]);
    let mics: Vec<MicEntry> = parts::mic_names(&mut draw, n_mics, case == Case::StrangeNames)
        .into_iter()
        .enumerate()
        .map(|(i, name)| MicEntry { id: format!("mic-{i}"), name, year: None, kind: None, pattern: None })
        .collect();
    let sources: Vec<SourceEntry> = parts::source_names(&mut draw, n_sources, case == Case::StrangeNames)
        .into_iter()
        .enumerate()
        .map(|(i, name)| SourceEntry {
            id: format!("source-{i}"),
            name,
            distance_mm: None,
            radius_mm: None,
            angle_deg: None,
        })
        .collect();
    let takes = parts::takes(&mut draw, &mics, &sources, case);
    let comparisons = if case == Case::NoComparison {
        Vec::new()
    } else {
        let mut all = Vec::new();
        for s in &sources {
            for against in &mics[1..] {
                all.push(comparison(&mut draw, case, &settings, &takes, [&s.id, &mics[0].id, &against.id]));
            }
        }
        all
    };
    let checks = parts::checks(&mut draw, &takes, comparisons.len(), case);
    Findings {
        schema: 1,
        program: Program { name: "fairtake".into(), version: "made".into() },
        title: (!bare).then(|| parts::title(&mut draw, case == Case::StrangeNames)),
        settings,
        mics,
        sources,
        takes,
        comparisons,
        checks,
    }
}

fn comparison(
    draw: &mut Draw,
    case: Case,
    settings: &Settings,
    takes: &[TakeEntry],
    [source, reference, against]: [&str; 3],
) -> ComparisonFindings {
    let of = |mic: &str| {
        let used: Vec<&TakeEntry> =
            takes.iter().filter(|t| t.source == source && t.mic == mic && !t.left_out).collect();
        let mut placements: Vec<u32> = used.iter().map(|t| t.placement).collect();
        placements.sort_unstable();
        placements.dedup();
        Counts {
            takes: used.len() as u32,
            placements: placements.len() as u32,
            events: used.iter().map(|t| t.events).sum(),
        }
    };
    let counts = Both { reference: of(reference), against: of(against) };
    let repeated = counts.reference.placements >= 2 && counts.against.placements >= 2;
    let spread = (case != Case::NoSpread).then(|| draw.between(0.05, 0.9));
    let unit =
        if repeated { Unit::Placement } else { draw.of(&[Unit::Event, Unit::Block, Unit::Performance]) };
    let bands = bands(draw, case, settings, spread);
    let level = draw.between(-12.0, 12.0);
    let design = draw.of(&[Design::Together, Design::InTurn, Design::InTurnWithWitness, Design::Replayed]);
    // What the witness takes off the difference is still in the levels.
    let played = if design == Design::InTurnWithWitness { draw.between(-1.0, 1.0) } else { 0.0 };
    let mut level_of = |size: f64| level_measure(draw, size, played, spread, settings.margin_db);
    let levels = Levels {
        sample_peak_dbfs: level_of(level),
        true_peak_dbtp: level_of(level + 0.1),
        rms_dbfs: level_of(level),
        loudness_lufs: level_of(level),
        loudness_at_equal_gain_db: None,
    };
    let levels = Levels {
        loudness_at_equal_gain_db: draw
            .one_in(2)
            .then(|| estimate(draw, level + 5.0, spread.map(|s| s + 0.5), settings.margin_db)),
        ..levels
    };
    let loudness = levels.loudness_lufs.difference_db;
    let matched = settings.match_by != MatchBy::None;
    let minus = |v: Option<f64>| if matched { v.map(|v| -v) } else { Some(0.0) };
    let has_noise = draw.one_in(2);
    let mut noise = |size: f64| NoiseMeasure {
        reference: has_noise.then_some(-80.0),
        against: has_noise.then_some(-80.0 + size),
        difference_db: if has_noise { estimate(draw, size, spread, settings.margin_db) } else { nothing() },
    };
    let noise =
        NoiseFindings { plain_dbfs: noise(1.0), a_weighted_dbfs: noise(-3.03), bs468_dbfs: noise(0.02) };
    let bleed = draw.one_in(5).then(|| BleedFindings {
        loudness_db: BleedMeasure {
            reference: Some(20.0),
            against: Some(23.0),
            difference_db: estimate(draw, 3.0, spread, settings.margin_db),
        },
        bands: Vec::new(),
    });
    ComparisonFindings {
        source: source.into(),
        reference: reference.into(),
        against: against.into(),
        margin_db: settings.margin_db,
        design,
        design_reason: "made".into(),
        claim: if repeated { Claim::Microphones } else { Claim::TheseTakes },
        unit,
        n_effective: Both { reference: 3.0, against: 3.0 },
        degrees_of_freedom: spread.map(|_| 4.0),
        counts,
        levels,
        noise,
        bleed,
        events: EventShape { attack_s: None, decay_s: None, crest_db: None },
        level_match: LevelMatch {
            by: settings.match_by,
            applied_to: "against".into(),
            gain_db: minus(loudness.estimate),
            low: minus(loudness.high),
            high: minus(loudness.low),
        },
        alignment: None,
        regions: regions(draw, &bands, spread, unit),
        bands,
        features: Vec::new(),
        budget: Vec::new(),
        findings: Vec::new(),
        own_words: None,
    }
}

fn level_measure(
    draw: &mut Draw,
    size: f64,
    played: f64,
    spread: Option<f64>,
    margin_db: f64,
) -> LevelMeasure {
    let reference = draw.between(-50.0, -3.0);
    let difference_db = estimate(draw, size, spread, margin_db);
    let against = difference_db.estimate.map(|d| reference + d + played);
    let summary = |v: Option<f64>| LevelSummary { max: v.map(|v| v + 2.0), event_mean: v };
    LevelMeasure { reference: summary(Some(reference)), against: summary(against), difference_db }
}

fn nothing() -> Estimate {
    Estimate { estimate: None, low: None, high: None, verdict: None }
}

/// Judged by the rule of the project; without a spread undecided.
fn estimate(draw: &mut Draw, size: f64, spread: Option<f64>, margin_db: f64) -> Estimate {
    let value = size + draw.between(-0.5, 0.5);
    let Some(half) = spread.map(|s| s * draw.between(0.5, 3.0)) else {
        return Estimate { estimate: Some(value), low: None, high: None, verdict: Some(Verdict::Undecided) };
    };
    let (low, high) = (value - half, value + half);
    Estimate {
        estimate: Some(value),
        low: Some(low),
        high: Some(high),
        verdict: Some(verdict(value, low, high, margin_db)),
    }
}

/// A difference that wanders over frequency, with the noise at the lower end or everywhere.
fn bands(draw: &mut Draw, case: Case, settings: &Settings, spread: Option<f64>) -> Vec<Band> {
    let n = 10 * settings.bands_per_octave as usize;
    let step = 2f64.powf(1.0 / f64::from(settings.bands_per_octave));
    let hidden = draw.below(n / 4 + 1);
    let (rate, size) = (draw.between(0.3, 3.0), draw.of(&[0.3, 1.0, 3.0, 8.0]));
    let phase = draw.between(0.0, 6.0);
    let (mut from_hz, mut at) = (20.0, 0.0);
    let mut out = Vec::new();
    for i in 0..n {
        let to_hz = from_hz * step;
        at += draw.between(-0.3, 0.3) * size / 3.0;
        let octaves = i as f64 / f64::from(settings.bands_per_octave);
        let wave = size * (phase + rate * octaves).sin() + at;
        let supported = case != Case::NothingSupported && (i >= hidden || case == Case::NoSpread);
        let half = match case {
            Case::AllUndecided => Some(draw.between(2.0, 5.0) + wave.abs()),
            _ => spread.map(|s| s * draw.between(1.5, 3.0)),
        };
        let d = supported.then_some(wave);
        let bound = |sign: f64, share: f64| d.zip(half).map(|(d, h)| d + sign * h * share);
        let judged = match (d, bound(-1.0, 1.0), bound(1.0, 1.0)) {
            (None, ..) => Verdict::OutOfRange,
            (Some(d), Some(low), Some(high)) => verdict(d, low, high, settings.margin_db),
            _ => Verdict::Undecided,
        };
        out.push(Band {
            centre_hz: (from_hz * to_hz).sqrt(),
            from_hz,
            to_hz,
            reference_db: Some(-40.0),
            against_db: d.map(|d| d - 40.0),
            reference_range_db: None,
            against_range_db: None,
            difference_db: d,
            low_db: bound(-1.0, 0.6),
            high_db: bound(1.0, 0.6),
            simultaneous_low_db: bound(-1.0, 1.0),
            simultaneous_high_db: bound(1.0, 1.0),
            conditional: None,
            snr_db: None,
            verdict: judged,
        });
        from_hz = to_hz;
    }
    out
}

/// Runs of one verdict and sign, with the mean over their bands as the judging stage has it.
fn regions(draw: &mut Draw, bands: &[Band], spread: Option<f64>, unit: Unit) -> Vec<Region> {
    let verdicts: Vec<Verdict> = bands.iter().map(|b| b.verdict).collect();
    let differences: Vec<Option<f64>> = bands.iter().map(|b| b.difference_db).collect();
    runs(&verdicts, &differences)
        .into_iter()
        .map(|(from, to)| {
            let piece = &bands[from..to];
            let n = piece.len() as f64;
            let mean =
                |of: fn(&Band) -> Option<f64>| piece.iter().map(of).sum::<Option<f64>>().map(|sum| sum / n);
            let verdict = bands[from].verdict;
            let settle = (verdict == Verdict::Undecided).then(|| {
                let reason = draw.of(&[
                    SettleReason::Reachable,
                    SettleReason::NearMargin,
                    SettleReason::OutOfReach,
                    SettleReason::Allowance,
                ]);
                let number = (spread.is_none() || reason == SettleReason::Reachable)
                    .then(|| 4 + draw.below(16) as u32);
                Settle {
                    events: number.filter(|_| unit != Unit::Placement),
                    placements: number.filter(|_| unit == Unit::Placement),
                    reason: if number.is_some() { SettleReason::Reachable } else { reason },
                }
            });
            Region {
                from_hz: bands[from].from_hz,
                to_hz: bands[to - 1].to_hz,
                verdict,
                difference_db: mean(|b| b.difference_db),
                low_db: mean(|b| b.simultaneous_low_db),
                high_db: mean(|b| b.simultaneous_high_db),
                settle,
            }
        })
        .collect()
}
