//! Noise of two microphones after the level match, with its interval: what repeats scatter, at the highest level that is
//! repeated (takes, else pieces of one take's noise), and the error of the match. Method: docs/methods/levels.md.

use crate::assemble::PairParts;
use crate::judge::{Judgement, verdict};
use crate::{Estimate, NoiseFindings, NoiseMeasure, Take, TakeMeasure, Verdict};
use fairtake_signal::units::power_db;
use fairtake_stats::student::t_quantile;

/// Fewer pieces of noise than this tell nothing of their spread, as with events.
const FEWEST_PIECES: usize = 4;
/// Noise measures shown side by side.
const N_SHOWN: f64 = 3.0;

type Measured<'a> = (&'a Take, &'a TakeMeasure);

/// Noise as recorded, and the difference after the match.
pub(crate) fn noise(parts: &PairParts, judgement: &Judgement) -> NoiseFindings {
    let measure = |k: usize| {
        let (a, b) = (level_db(parts.a, k), level_db(parts.b, k));
        let estimate = match (a, b, judgement.match_gain.estimate) {
            (Some(a), Some(b), Some(gain)) => Some(b + gain - a),
            _ => None,
        };
        let spread = spread(parts.a, k).zip(spread(parts.b, k));
        let half = |alpha: f64| {
            let ((va, dfa), (vb, dfb)) = spread?;
            let variance = va + vb;
            // Welch and Satterthwaite.
            let df = (variance * variance / (va * va / dfa + vb * vb / dfb).max(1e-300)).max(1.0);
            let own = t_quantile(1.0 - alpha / 2.0, df) * variance.sqrt();
            Some(own.hypot(match_half(judgement, alpha)?))
        };
        let alpha = 1.0 - parts.settings.confidence;
        let (shown, adjusted) = (half(alpha), half(alpha / N_SHOWN));
        NoiseMeasure {
            reference: a,
            against: b,
            difference_db: Estimate {
                estimate,
                low: estimate.zip(shown).map(|(e, h)| e - h),
                high: estimate.zip(shown).map(|(e, h)| e + h),
                verdict: estimate.map(|e| {
                    adjusted
                        .map_or(Verdict::Undecided, |h| verdict(e, e - h, e + h, parts.settings.margin_db))
                }),
            },
        }
    };
    NoiseFindings { plain_dbfs: measure(0), a_weighted_dbfs: measure(1), bs468_dbfs: measure(2) }
}

/// Mean power over takes, in dB; `None` when one take has no noise to measure.
fn level_db(takes: &[Measured], k: usize) -> Option<f64> {
    let all: Option<Vec<f64>> = takes
        .iter()
        .map(|(_, m)| m.noise.as_ref().map(|n| [n.mean_square, n.mean_square_a, n.mean_square_bs468][k]))
        .collect();
    all.filter(|a| !a.is_empty()).and_then(|a| power_db(a.iter().sum::<f64>() / a.len() as f64))
}

/// Variance of one microphone's noise level in dB², and its degrees of freedom.
fn spread(takes: &[Measured], k: usize) -> Option<(f64, f64)> {
    let units: Vec<f64> = match takes {
        [(_, only)] => {
            let pieces = &only.noise.as_ref()?.pieces;
            pieces.iter().filter_map(|p| power_db(p[k])).collect()
        }
        several => several.iter().filter_map(|t| level_db(std::slice::from_ref(t), k)).collect(),
    };
    let n = units.len();
    if n < 2 || (takes.len() == 1 && n < FEWEST_PIECES) {
        return None;
    }
    let mean = units.iter().sum::<f64>() / n as f64;
    let squares: f64 = units.iter().map(|v| (v - mean).powi(2)).sum();
    let df = n as f64 - 1.0;
    Some((squares / df / n as f64, df))
}

/// Half of the match's interval at another confidence than its own.
fn match_half(judgement: &Judgement, alpha: f64) -> Option<f64> {
    let (low, high) = judgement.match_gain.low.zip(judgement.match_gain.high)?;
    let half = (high - low) / 2.0;
    if half == 0.0 {
        return Some(0.0);
    }
    Some(half * t_ratio(judgement, alpha)?)
}

/// By how much an interval of the judgement widens when it is to err in `alpha` of the cases, instead of one in twenty.
pub(crate) fn t_ratio(judgement: &Judgement, alpha: f64) -> Option<f64> {
    let df = judgement.degrees_of_freedom?;
    Some(t_quantile(1.0 - alpha / 2.0, df) / t_quantile(0.975, df))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};
    use crate::{Comparison, Role, Settings, Shootout, compare, measure_performance};

    #[test]
    fn the_spread_of_steady_noise_is_that_of_its_chi_square_law() {
        // Fourteen seconds of noise alone.
        let mut tone = take("a", 1, hits(3, 0.0));
        tone.role = Role::RoomTone;
        let m = measure_performance(&[&tone], &Settings::standard()).expect("in memory");
        let (variance, df) = spread(&[(&tone, &m[0])], 0).expect("there are pieces");
        assert!(df >= 20.0, "{df}");
        // Exact: n independent uniform values have a mean square with relative variance (9/5 − 1)/n = 0.8/n; a piece of half
        // a second holds 8,000: 4.3431²·0.8/8000 = 0.0019 dB². Known to √(2/27) = 27 %; three of these.
        let of_piece = variance * (df + 1.0);
        assert!((0.0004..0.0035).contains(&of_piece), "{of_piece}");
    }

    #[test]
    fn noise_of_one_and_the_same_is_alike_and_noise_twice_as_strong_is_different() {
        let settings = Settings::standard();
        let loud = hits(3, 1.0);
        let noisier: Vec<f32> = loud.iter().zip(hits(5, 0.0)).map(|(x, n)| x + 2.0 * n).collect();
        let compared = |b: Vec<f32>| {
            let takes = [take("a", 1, loud.clone()), take("b", 1, b)];
            let asked = Comparison {
                reference: None,
                pair: None,
                source: None,
                recognised: None,
                version: "test".into(),
            };
            let made = compare(&takes, &Shootout::default(), &settings, &asked).expect("two microphones");
            made.findings.comparisons[0].noise.plain_dbfs.difference_db
        };
        assert_eq!(compared(loud.clone()).verdict, Some(Verdict::Alike));
        let d = compared(noisier);
        // Exact: powers 1 and 1 + 4, 7 dB more; where the hits still ring it is less.
        assert_eq!(d.verdict, Some(Verdict::Different), "{d:?}");
        assert!((5.0..7.3).contains(&d.estimate.expect("known")), "{d:?}");
    }
}
