//! From judgement and measures to the findings of one comparison: means, counts, entries. Nothing is judged here.

use crate::compare::distinct;
use crate::judge::{Judgement, verdict};
use crate::measure::Tabulated;
use crate::{
    Alignment, Band, BleedFindings, Both, BudgetKind, BudgetLine, CheckResult, ComparisonFindings, Counts,
    Estimate, EventMeasure, EventShape, Feature, LevelMatch, LevelMeasure, LevelSummary, Levels, MicEntry,
    Settings, ShapeMeasure, Shootout, SourceEntry, Table, Take, TakeEntry, TakeMeasure, Verdict,
};
use fairtake_signal::units::{amplitude_db, power_db};
use fairtake_stats::student::t_quantile;

/// What one comparison is assembled from.
pub(crate) struct PairParts<'a> {
    pub source: &'a str,
    pub a: &'a [(&'a Take, &'a TakeMeasure)],
    pub b: &'a [(&'a Take, &'a TakeMeasure)],
    pub made: &'a Tabulated,
    pub reason: String,
    pub alignment: Option<Alignment>,
    pub bleed: Option<BleedFindings>,
    pub settings: &'a Settings,
}

/// The findings of one comparison, sentences included.
pub(crate) fn comparison(
    parts: &PairParts,
    judgement: Judgement,
    features: Vec<Feature>,
    shootout: &Shootout,
) -> ComparisonFindings {
    let name = |takes: &[(&Take, &TakeMeasure)]| takes.first().map_or(String::new(), |(t, _)| t.mic.clone());
    let (reference, against) = (name(parts.a), name(parts.b));
    let pair = &parts.made.pair;
    let levels = levels(parts, &judgement);
    let mut budget = judgement.budget.clone();
    if levels.loudness_at_equal_gain_db.is_some() {
        budget.push(BudgetLine {
            name: "gains as logged (in the loudness at equal gain only)".to_string(),
            kind: BudgetKind::B,
            per_region_db: vec![Some(gain_error_sd_db(parts.settings)); judgement.regions.len()],
        });
    }
    let mut out = ComparisonFindings {
        source: parts.source.to_string(),
        reference,
        against,
        margin_db: parts.settings.margin_db,
        design: pair.design,
        design_reason: parts.reason.clone(),
        claim: judgement.claim,
        unit: judgement.unit,
        n_effective: Both { reference: judgement.n_effective[0], against: judgement.n_effective[1] },
        degrees_of_freedom: judgement.degrees_of_freedom,
        counts: Both { reference: counts(parts.a), against: counts(parts.b) },
        levels,
        noise: crate::noise::noise(parts, &judgement),
        bleed: parts.bleed.clone(),
        events: shape(parts),
        level_match: LevelMatch {
            by: parts.settings.match_by,
            applied_to: "against".to_string(),
            gain_db: judgement.match_gain.estimate,
            low: judgement.match_gain.low,
            high: judgement.match_gain.high,
        },
        alignment: parts.alignment.clone(),
        bands: bands(parts, &judgement),
        regions: judgement.regions,
        features,
        budget,
        findings: Vec::new(),
        own_words: None,
    };
    out.findings = crate::sentences::sentences(&out, shootout);
    out
}

fn counts(takes: &[(&Take, &TakeMeasure)]) -> Counts {
    let events =
        takes.iter().map(|(_, m)| m.events.iter().filter(|e| e.left_out.is_none()).count()).sum::<usize>();
    Counts {
        takes: takes.len() as u32,
        placements: distinct(takes, |(t, _)| t.placement).len() as u32,
        events: events as u32,
    }
}

/// Mean over takes of means over events, and the greatest event.
fn summary(tables: &[Table], column: fn(&Table) -> &[f64]) -> LevelSummary {
    let means: Vec<f64> = tables
        .iter()
        .map(column)
        .filter(|c| !c.is_empty())
        .map(|c| c.iter().sum::<f64>() / c.len() as f64)
        .collect();
    let max = tables.iter().flat_map(column).copied().fold(f64::NEG_INFINITY, f64::max);
    LevelSummary {
        max: max.is_finite().then_some(max),
        event_mean: (!means.is_empty()).then(|| means.iter().sum::<f64>() / means.len() as f64),
    }
}

/// Levels shown side by side where gains are logged: four as recorded, and the loudness at equal gain.
const N_LEVELS_SHOWN: f64 = 5.0;

/// Standard uncertainty of the difference of two logged gains, each within ± the allowance (rectangular).
fn gain_error_sd_db(settings: &Settings) -> f64 {
    settings.allowance.gain_db * f64::sqrt(2.0 / 3.0)
}

fn levels(parts: &PairParts, judgement: &Judgement) -> Levels {
    let pair = &parts.made.pair;
    let measure = |column: fn(&Table) -> &[f64], i: usize| LevelMeasure {
        reference: summary(&pair.reference, column),
        against: summary(&pair.against, column),
        difference_db: judgement.levels[i],
    };
    let gain = |takes: &[(&Take, &TakeMeasure)]| -> Option<f64> {
        let gains: Option<Vec<f64>> = takes.iter().map(|(t, _)| t.chain.gain_db).collect();
        gains.filter(|g| !g.is_empty()).map(|g| g.iter().sum::<f64>() / g.len() as f64)
    };
    let loudness = judgement.levels[3];
    let loudness_at_equal_gain_db = gain(parts.a).zip(gain(parts.b)).map(|(a, b)| {
        let estimate = loudness.estimate.map(|e| e - (b - a));
        let error = gain_error_sd_db(parts.settings);
        let alpha = 1.0 - parts.settings.confidence;
        let half = |alpha: f64| {
            let (low, high) = loudness.low.zip(loudness.high)?;
            let z = t_quantile(1.0 - alpha / 2.0, f64::INFINITY);
            Some(((high - low) / 2.0 * crate::noise::t_ratio(judgement, alpha)?).hypot(z * error))
        };
        let (shown, adjusted) = (half(alpha), half(alpha / N_LEVELS_SHOWN));
        Estimate {
            estimate,
            low: estimate.zip(shown).map(|(e, h)| e - h),
            high: estimate.zip(shown).map(|(e, h)| e + h),
            verdict: estimate.map(|e| {
                adjusted.map_or(Verdict::Undecided, |h| verdict(e, e - h, e + h, parts.settings.margin_db))
            }),
        }
    });
    Levels {
        sample_peak_dbfs: measure(|t| &t.sample_peak_db, 0),
        true_peak_dbtp: measure(|t| &t.true_peak_db, 1),
        rms_dbfs: measure(|t| &t.rms_db, 2),
        loudness_lufs: measure(|t| &t.loudness_db, 3),
        loudness_at_equal_gain_db,
    }
}

/// A time differs from another where it does so by a tenth. Common practice, no source.
const TIME_MARGIN_SHARE: f64 = 0.1;
/// Nor by less than one step of the envelope, in seconds.
const TIME_MARGIN_LEAST_S: f64 = 0.0025;

fn shape(parts: &PairParts) -> EventShape {
    let seconds = |reference: f64| (TIME_MARGIN_SHARE * reference).max(TIME_MARGIN_LEAST_S);
    let decibels = |_| parts.settings.margin_db;
    EventShape {
        attack_s: shape_measure(parts, |e| e.attack_s, seconds),
        decay_s: shape_measure(parts, |e| e.decay_s, seconds),
        crest_db: shape_measure(parts, |e| Some(e.sample_peak_db - e.rms_db), decibels),
    }
}

/// One measure of the shape, means over takes of means over events; `margin` follows from the reference's mean.
fn shape_measure(
    parts: &PairParts,
    pick: fn(&EventMeasure) -> Option<f64>,
    margin: impl Fn(f64) -> f64,
) -> Option<ShapeMeasure> {
    let of = |takes: &[(&Take, &TakeMeasure)]| -> Vec<Vec<Option<f64>>> {
        takes
            .iter()
            .map(|(_, m)| m.events.iter().filter(|e| e.left_out.is_none()).map(pick).collect())
            .collect()
    };
    let (a, b) = (of(parts.a), of(parts.b));
    let mean = |takes: &[Vec<Option<f64>>]| -> Option<f64> {
        let means: Vec<f64> = takes
            .iter()
            .filter_map(|t| {
                let known: Vec<f64> = t.iter().flatten().copied().collect();
                (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
            })
            .collect();
        (!means.is_empty()).then(|| means.iter().sum::<f64>() / means.len() as f64)
    };
    let (reference, against) = (mean(&a)?, mean(&b)?);
    let difference = crate::judge::shape(&parts.made.pair, [&a, &b], margin(reference), parts.settings);
    Some(ShapeMeasure { reference: Some(reference), against: Some(against), difference })
}

fn bands(parts: &PairParts, judgement: &Judgement) -> Vec<Band> {
    let pair = &parts.made.pair;
    let m = pair.bands.len();
    let (a, b) = (spectrum(&pair.reference, m), spectrum(&pair.against, m));
    (0..m)
        .map(|i| {
            let judged = &judgement.bands[i];
            let span = pair.bands[i];
            let side = |interval: Option<[f64; 2]>, k: usize| interval.map(|v| v[k]);
            Band {
                centre_hz: span.centre_hz(),
                from_hz: span.from_hz,
                to_hz: span.to_hz,
                reference_db: a[i].0,
                against_db: b[i].0,
                reference_range_db: a[i].1,
                against_range_db: b[i].1,
                difference_db: judged.difference_db,
                low_db: side(judged.pointwise_db, 0),
                high_db: side(judged.pointwise_db, 1),
                simultaneous_low_db: side(judged.simultaneous_db, 0),
                simultaneous_high_db: side(judged.simultaneous_db, 1),
                conditional: judged.conditional,
                snr_db: parts.made.snr_db[i],
                verdict: judged.verdict,
            }
        })
        .collect()
}

/// Mean level and 10–90 % range over events, per band.
fn spectrum(tables: &[Table], m: usize) -> Vec<(Option<f64>, Option<[f64; 2]>)> {
    (0..m)
        .map(|band| {
            let takes: Vec<Vec<f64>> = tables
                .iter()
                .map(|t| (0..t.n_events()).map(|e| t.band_db[e * m + band]).collect::<Vec<f64>>())
                .filter(|v| !v.is_empty())
                .collect();
            if takes.is_empty() {
                return (None, None);
            }
            let mean = takes.iter().map(|v| v.iter().sum::<f64>() / v.len() as f64).sum::<f64>()
                / takes.len() as f64;
            let mut all: Vec<f64> = takes.concat();
            all.sort_by(f64::total_cmp);
            let at = |share: f64| all[((all.len() - 1) as f64 * share).round() as usize];
            (Some(mean), Some([at(0.1), at(0.9)]))
        })
        .collect()
}

/// Microphones that have takes.
pub(crate) fn mics(takes: &[Take], shootout: &Shootout) -> Vec<MicEntry> {
    distinct(takes, |t| t.mic.clone())
        .into_iter()
        .map(|id| {
            let logged = shootout.mics.get(&id);
            MicEntry {
                name: logged.map(|m| m.name.clone()).filter(|n| !n.is_empty()).unwrap_or_else(|| id.clone()),
                year: logged.and_then(|m| m.year),
                kind: logged.and_then(|m| m.kind),
                pattern: logged.and_then(|m| m.pattern),
                id,
            }
        })
        .collect()
}

/// Sources that have takes.
pub(crate) fn sources(takes: &[Take], shootout: &Shootout) -> Vec<SourceEntry> {
    distinct(takes, |t| t.source.clone())
        .into_iter()
        .map(|id| {
            let logged = shootout.sources.get(&id);
            SourceEntry {
                name: logged.map(|s| s.name.clone()).filter(|n| !n.is_empty()).unwrap_or_else(|| id.clone()),
                distance_mm: logged.and_then(|s| s.distance_mm),
                radius_mm: logged.and_then(|s| s.radius_mm),
                angle_deg: logged.and_then(|s| s.angle_deg),
                id,
            }
        })
        .collect()
}

/// Every take as read and measured by itself.
pub(crate) fn takes(measured: &[(&Take, &TakeMeasure)], checks: &[CheckResult]) -> Vec<TakeEntry> {
    measured
        .iter()
        .map(|(t, m)| TakeEntry {
            id: t.id.clone(),
            file: t.file.clone(),
            sha256: t.stored_as.sha256.to_string(),
            channel: t.channel,
            sample_rate_hz: m.rate_hz,
            frames: t.samples.frames(),
            format: t.stored_as.format.clone(),
            mic: t.mic.clone(),
            source: t.source.clone(),
            placement: t.placement,
            performance: t.performance,
            position: t.position.clone(),
            order: t.order,
            role: t.role,
            gain_db: t.chain.gain_db,
            playing: m.playing,
            events: m.events.iter().filter(|e| e.left_out.is_none()).count() as u32,
            sample_peak_dbfs: amplitude_db(m.file.sample_peak),
            true_peak_dbtp: amplitude_db(m.file.true_peak),
            rms_dbfs: power_db(m.file.mean_square),
            file_loudness_lufs: m.file.loudness_lufs,
            dc: m.file.dc,
            noise_dbfs: m.noise.as_ref().and_then(|n| power_db(n.mean_square)),
            noise_dbfs_a: m.noise.as_ref().and_then(|n| power_db(n.mean_square_a)),
            noise_from: m.noise.as_ref().map(|n| n.from),
            left_out: crate::compare::left_out(t, m, checks).is_some(),
        })
        .collect()
}
