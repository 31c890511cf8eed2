//! The judging stage: tables in, intervals and verdicts out.
//!
//! The same code judges rendered audio and the tables that the curve tier of the ground truth draws.

mod allowance;
mod features;
mod settle;
mod shape;
mod units;
mod verdict;
mod witness;

pub use allowance::{SettingUp, distance_change_db};
pub(crate) use allowance::{change_db, spread_at};
pub use features::features;
pub(crate) use shape::shape;
pub use verdict::{runs, verdict};

use crate::{
    BudgetKind, BudgetLine, Claim, Conditional, Estimate, MatchBy, PairTables, Region, Settings, Table, Unit,
    Verdict,
};
use fairtake_stats::curve::{Curve, CurveSettings, curve};
use fairtake_stats::linear::Fit;
use fairtake_stats::student::t_quantile;
use settle::Undecided;
use units::{Counted, N_LEVELS, count};

/// What is known about one comparison after judging.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// What the intervals speak about.
    pub claim: Claim,
    /// What was counted.
    pub unit: Unit,
    /// Effective number of units, reference and against.
    pub n_effective: [f64; 2],
    /// Residual degrees of freedom; `None`: too few to know anything.
    pub degrees_of_freedom: Option<f64>,
    /// One per band of the tables.
    pub bands: Vec<JudgedBand>,
    /// Neighbouring bands of one verdict.
    pub regions: Vec<Region>,
    /// Gain applied to *against*, in dB; positive when it is quieter. All zero when nothing is matched.
    pub match_gain: Estimate,
    /// Sample peak, true peak, RMS, loudness: differences before the match.
    pub levels: [Estimate; 4],
    /// Uncertainty contributions per region.
    pub budget: Vec<BudgetLine>,
}

/// One band judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedBand {
    /// Difference after the match; `None` where the band is not supported.
    pub difference_db: Option<f64>,
    /// Pointwise interval.
    pub pointwise_db: Option<[f64; 2]>,
    /// Interval that holds for all bands, and averages over runs of them, at once.
    pub simultaneous_db: Option<[f64; 2]>,
    /// Pointwise interval widened by the placement allowance, for claims about these takes only.
    pub conditional: Option<Conditional>,
    /// Verdict.
    pub verdict: Verdict,
}

/// Judges one comparison. `setting_up` is what is known of the placement for the allowance.
pub fn judge(pair: &PairTables, settings: &Settings, setting_up: Option<&SettingUp>) -> Judgement {
    judge_on(curve_of(pair, settings).as_ref(), pair, settings, setting_up)
}

/// The curve with its uncertainty, by which a comparison is judged; `None`: too few units to know anything. Margin and
/// setting-up change nothing in it.
pub(crate) fn curve_of(pair: &PairTables, settings: &Settings) -> Option<Curve> {
    let counted = count(pair, settings.match_by);
    let n_supported = counted.estimate.len() - N_LEVELS;
    let position: Vec<f64> = supported(pair).map(|b| pair.bands[b].centre_hz().log2()).collect();
    let curve_settings = CurveSettings {
        confidence: settings.confidence,
        n_draws: settings.resamples as usize,
        seed: settings.seed,
    };
    let shape = expected_shape(pair, &counted, settings);
    curve(&columns(counted.fit.as_ref()?, 0, n_supported), &position, &shape, &curve_settings)
}

/// Judges one comparison by its curve.
pub(crate) fn judge_on(
    curve: Option<&Curve>,
    pair: &PairTables,
    settings: &Settings,
    setting_up: Option<&SettingUp>,
) -> Judgement {
    let counted = count(pair, settings.match_by);
    let n_supported = counted.estimate.len() - N_LEVELS;
    let allowance = match (counted.claim, setting_up) {
        (Claim::TheseTakes, Some(setting_up)) => Some(setting_up.allowance_db(pair, settings)),
        _ => None,
    };
    let bands = judge_bands(pair, &counted, curve, allowance.as_deref(), settings);
    let (regions, spans) = regions(pair, &bands, &counted, curve, settings);
    let budget = budget(pair, &spans, curve, allowance.as_deref(), counted.unit);
    Judgement {
        claim: counted.claim,
        unit: counted.unit,
        n_effective: counted.n_effective,
        degrees_of_freedom: counted.fit.as_ref().map(Fit::df),
        match_gain: match_gain(&counted, n_supported, settings),
        levels: std::array::from_fn(|k| level(&counted, n_supported + 1 + k, 4.0, settings)),
        bands,
        regions,
        budget,
    }
}

/// Indices of the supported bands.
fn supported(pair: &PairTables) -> impl Iterator<Item = usize> + '_ {
    (0..pair.bands.len()).filter(|b| pair.supported[*b])
}

/// What the variance of a unit is expected to look like over the supported bands: setting up again changes more the
/// shorter the wave, and no placement's mean is better than its events let it be; between events nothing is known
/// beforehand.
fn expected_shape(pair: &PairTables, counted: &Counted, settings: &Settings) -> Vec<f64> {
    let within = |column: usize| counted.within.as_ref().map_or(0.0, |w| w[column]);
    supported(pair)
        .enumerate()
        .map(|(column, b)| match counted.unit {
            Unit::Placement => {
                let floor = settings.allowance.at_1khz_db;
                let placing = allowance::spread_at(pair.bands[b].centre_hz(), &settings.allowance);
                floor * floor + placing * placing + within(column)
            }
            Unit::Event | Unit::Block | Unit::Performance => 1.0,
        })
        .collect()
}

/// Half of the two-sided normal interval per unit of a known standard uncertainty.
fn coverage_factor(settings: &Settings) -> f64 {
    t_quantile(0.5 + settings.confidence / 2.0, f64::INFINITY)
}

fn judge_bands(
    pair: &PairTables,
    counted: &Counted,
    curve: Option<&Curve>,
    allowance_db: Option<&[f64]>,
    settings: &Settings,
) -> Vec<JudgedBand> {
    let z = coverage_factor(settings);
    let mut column_of = vec![None; pair.bands.len()];
    supported(pair).enumerate().for_each(|(column, band)| column_of[band] = Some(column));
    (0..pair.bands.len())
        .map(|b| {
            let Some(column) = column_of[b] else {
                return JudgedBand {
                    difference_db: None,
                    pointwise_db: None,
                    simultaneous_db: None,
                    conditional: None,
                    verdict: Verdict::OutOfRange,
                };
            };
            let d = counted.estimate[column];
            // What the noise subtraction leaves is known well enough to be added as a variance.
            let noise = z * pair.noise_subtraction_sd_db[b];
            let around = |half: f64| {
                let half = half.hypot(noise);
                [d - half, d + half]
            };
            let pointwise = curve.map(|c| around(c.half[column]));
            let simultaneous = curve.map(|c| around(c.half[column] * c.factors.run));
            let conditional = match (pointwise, allowance_db) {
                (Some([low, high]), Some(allowance)) => {
                    let half = ((high - low) / 2.0).hypot(z * allowance[b]);
                    Some(Conditional { low_db: d - half, high_db: d + half })
                }
                _ => None,
            };
            let verdict = match simultaneous {
                Some([low, high]) => verdict(d, low, high, settings.margin_db),
                None => Verdict::Undecided,
            };
            JudgedBand {
                difference_db: Some(d),
                pointwise_db: pointwise,
                simultaneous_db: simultaneous,
                conditional,
                verdict,
            }
        })
        .collect()
}

/// Regions and the supported columns that each spans.
fn regions(
    pair: &PairTables,
    bands: &[JudgedBand],
    counted: &Counted,
    curve: Option<&Curve>,
    settings: &Settings,
) -> (Vec<Region>, Vec<(usize, usize)>) {
    let verdicts: Vec<Verdict> = bands.iter().map(|b| b.verdict).collect();
    let differences: Vec<Option<f64>> = bands.iter().map(|b| b.difference_db).collect();
    let z = coverage_factor(settings);
    let mut tried = settle::Tried::default();
    runs(&verdicts, &differences)
        .into_iter()
        .map(|(from, to)| {
            let columns_before = bands[..from].iter().filter(|b| b.difference_db.is_some()).count();
            let n = bands[from..to].iter().filter(|b| b.difference_db.is_some()).count();
            let average = (n > 0)
                .then(|| counted.estimate[columns_before..columns_before + n].iter().sum::<f64>() / n as f64);
            let half = curve.filter(|_| n > 0).map(|c| {
                let noise = pair.noise_subtraction_sd_db[from..to].iter().sum::<f64>() / n as f64;
                c.run(columns_before, columns_before + n).1.hypot(z * noise)
            });
            let region_verdict = bands[from].verdict;
            let region = Region {
                from_hz: pair.bands[from].from_hz,
                to_hz: pair.bands[to - 1].to_hz,
                verdict: region_verdict,
                difference_db: average,
                low_db: average.zip(half).map(|(a, h)| a - h),
                high_db: average.zip(half).map(|(a, h)| a + h),
                settle: (region_verdict == Verdict::Undecided).then(|| {
                    let columns = columns_before..columns_before + n;
                    let undecided = Undecided {
                        bands: &bands[from..to],
                        noise_sd_db: &pair.noise_subtraction_sd_db[from..to],
                        spread: curve.map(|c| (&c.sd[columns.clone()], &c.df[columns.clone()])),
                        n_played: n_played(pair),
                    };
                    settle::settle(&undecided, counted, settings, &mut tried)
                }),
            };
            (region, (columns_before, columns_before + n))
        })
        .unzip()
}

/// Events played for the microphone that has fewer.
fn n_played(pair: &PairTables) -> f64 {
    let events = |tables: &[Table]| tables.iter().map(Table::n_events).sum::<usize>();
    events(&pair.reference).min(events(&pair.against)) as f64
}

/// The columns `from..to` of a fit.
fn columns(fit: &Fit, from: usize, to: usize) -> Fit {
    let keep: Vec<bool> = (0..fit.estimate.len()).map(|c| (from..to).contains(&c)).collect();
    let mut out = fit.clone();
    out.estimate = fit.estimate[from..to].to_vec();
    out.parts.iter_mut().for_each(|p| p.residuals = p.residuals.keep_columns(&keep));
    out
}

/// Textbook interval of one column, with a verdict when `n_shown` measures are shown together.
fn level(counted: &Counted, column: usize, n_shown: f64, settings: &Settings) -> Estimate {
    let estimate = counted.estimate[column];
    let Some(fit) = &counted.fit else {
        return Estimate {
            estimate: Some(estimate),
            low: None,
            high: None,
            verdict: Some(Verdict::Undecided),
        };
    };
    let (mut variance, mut squares) = (0.0, 0.0);
    for part in &fit.parts {
        let ss: f64 = (0..part.residuals.n_rows()).map(|i| part.residuals.at(i, column).powi(2)).sum();
        let v = part.factor * ss / part.divisor.max(1e-300);
        variance += v;
        squares += v * v / part.df;
    }
    // Welch and Satterthwaite; exact for one part.
    let df = (variance * variance / f64::max(squares, 1e-300)).max(1.0);
    let half = |alpha: f64| t_quantile(1.0 - alpha / 2.0, df) * variance.sqrt();
    let alpha = 1.0 - settings.confidence;
    let (h, adjusted) = (half(alpha), half(alpha / n_shown));
    Estimate {
        estimate: Some(estimate),
        low: Some(estimate - h),
        high: Some(estimate + h),
        verdict: Some(verdict(estimate, estimate - adjusted, estimate + adjusted, settings.margin_db)),
    }
}

/// The gain that brings *against* to the reference: minus the difference of the matching quantity.
fn match_gain(counted: &Counted, n_supported: usize, settings: &Settings) -> Estimate {
    if settings.match_by == MatchBy::None {
        return Estimate { estimate: Some(0.0), low: Some(0.0), high: Some(0.0), verdict: None };
    }
    let e = level(counted, n_supported, 1.0, settings);
    let minus = |v: Option<f64>| v.map(|v| -v);
    Estimate { estimate: minus(e.estimate), low: minus(e.high), high: minus(e.low), verdict: None }
}

fn budget(
    pair: &PairTables,
    spans: &[(usize, usize)],
    curve: Option<&Curve>,
    allowance_db: Option<&[f64]>,
    unit: Unit,
) -> Vec<BudgetLine> {
    let band_of: Vec<usize> = supported(pair).collect();
    let mean = |values: &dyn Fn(usize) -> f64, (from, to): &(usize, usize)| {
        (to > from).then(|| (*from..*to).map(values).sum::<f64>() / (to - from) as f64)
    };
    let repeats = match unit {
        Unit::Event => "hits differ from each other",
        Unit::Block => "blocks of sound differ from each other",
        Unit::Performance => "passes of playing differ from each other",
        Unit::Placement => "placing again and playing again",
    };
    let mut lines = vec![
        BudgetLine {
            name: repeats.to_string(),
            kind: BudgetKind::A,
            per_region_db: spans.iter().map(|s| curve.and_then(|c| mean(&|col| c.sd[col], s))).collect(),
        },
        BudgetLine {
            name: "noise subtracted".to_string(),
            kind: BudgetKind::B,
            per_region_db: spans
                .iter()
                .map(|s| mean(&|col| pair.noise_subtraction_sd_db[band_of[col]], s))
                .collect(),
        },
    ];
    if let Some(allowance) = allowance_db {
        lines.push(BudgetLine {
            name: "placement allowance (in the conditional interval only)".to_string(),
            kind: BudgetKind::B,
            per_region_db: spans.iter().map(|s| mean(&|col| allowance[band_of[col]], s)).collect(),
        });
    }
    lines
}
