//! Did the player drift over the order of takes, and did the order even it out?

use crate::{LeftOut, Take, TakeMeasure};
use fairtake_stats::student::t_quantile;

/// Chance exceeds what counts in one comparison of 200, two-sided.
const CHANCE: f64 = 0.005;
/// Fewer residual degrees of freedom than this tell nothing.
const FEWEST_DF: f64 = 2.0;

/// What a drift of playing strength over the order of takes does to the level difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Drift {
    /// Drift from one take to the next, in dB.
    pub per_take_db: f64,
    /// What it adds to *against minus reference*, in dB.
    pub bias_db: f64,
    /// 95 % interval of the bias, half of its width.
    pub half_db: f64,
    /// By how much the interval of a level difference would widen if the drift were taken off.
    pub cost: f64,
    /// By the witness, not by the microphones' own levels.
    pub by_witness: bool,
    /// Chance does not explain it.
    pub beyond_chance: bool,
}

/// Order and mean loudness of one take.
struct Place {
    order: f64,
    loudness_db: f64,
}

type Measured<'a> = (&'a Take, &'a TakeMeasure);

/// `None` where the order is not logged, playing is shared, or takes are too few.
pub(super) fn drift(a: &[Measured], b: &[Measured], witness: &[Measured]) -> Option<Drift> {
    if a.iter().any(|(x, _)| b.iter().any(|(y, _)| x.performance == y.performance)) {
        return None;
    }
    let beside = |takes: &[Measured]| -> Option<Vec<Place>> {
        let heard = |t: &Take| witness.iter().find(|(w, _)| w.performance == t.performance);
        takes.iter().map(|(t, _)| place(t, heard(t)?.1, 0.0)).collect()
    };
    let own = |takes: &[Measured]| -> Option<Vec<Place>> {
        takes.iter().map(|(t, m)| place(t, m, t.chain.gain_db.unwrap_or(0.0))).collect()
    };
    match (beside(a), beside(b)) {
        // One microphone that nobody moved heard all takes: one level for both groups.
        (Some(a), Some(b)) if !a.is_empty() && !b.is_empty() => line(&[a, b], true),
        _ => line(&[own(a)?, own(b)?], false),
    }
}

fn place(take: &Take, heard: &TakeMeasure, gain_db: f64) -> Option<Place> {
    Some(Place { order: f64::from(take.order?), loudness_db: mean_loudness(heard)? - gain_db })
}

/// Clipped events count here: their loudness is wrong by little, and leaving out the strongest would hide a drift.
fn mean_loudness(m: &TakeMeasure) -> Option<f64> {
    let heard: Vec<f64> = m
        .events
        .iter()
        .filter(|e| matches!(e.left_out, None | Some(LeftOut::Clipped)))
        .map(|e| e.loudness_db)
        .collect();
    (!heard.is_empty()).then(|| heard.iter().sum::<f64>() / heard.len() as f64)
}

/// A common slope over order; one level for all (`shared`), or one for each microphone.
fn line(groups: &[Vec<Place>; 2], shared: bool) -> Option<Drift> {
    let mean = |g: &[&Place], of: fn(&Place) -> f64| g.iter().map(|p| of(p)).sum::<f64>() / g.len() as f64;
    let strata: Vec<Vec<&Place>> = if shared {
        vec![groups.iter().flatten().collect()]
    } else {
        groups.iter().map(|g| g.iter().collect()).collect()
    };
    if strata.iter().any(Vec::is_empty) {
        return None;
    }
    let middles: Vec<(f64, f64)> =
        strata.iter().map(|g| (mean(g, |p| p.order), mean(g, |p| p.loudness_db))).collect();
    let all = || {
        strata
            .iter()
            .zip(&middles)
            .flat_map(|(g, (order, level))| g.iter().map(move |p| (p.order - order, p.loudness_db - level)))
    };
    let sxx: f64 = all().map(|(x, _)| x * x).sum();
    let df = all().count() as f64 - strata.len() as f64 - 1.0;
    if df < FEWEST_DF || sxx <= 0.0 {
        return None;
    }
    let per_take_db = all().map(|(x, y)| x * y).sum::<f64>() / sxx;
    let se = (all().map(|(x, y)| (y - per_take_db * x).powi(2)).sum::<f64>() / df / sxx).sqrt();
    let order = |i: usize| groups[i].iter().map(|p| p.order).sum::<f64>() / groups[i].len() as f64;
    let apart = order(1) - order(0);
    // Variance of a difference of means without the drift, and with a drift fitted within the groups.
    let plain: f64 = groups.iter().map(|g| 1.0 / g.len() as f64).sum();
    let within: f64 = groups
        .iter()
        .enumerate()
        .flat_map(|(i, g)| g.iter().map(move |p| (i, p)))
        .map(|(i, p)| (p.order - order(i)).powi(2))
        .sum();
    Some(Drift {
        per_take_db,
        bias_db: per_take_db * apart,
        half_db: t_quantile(0.975, df) * se * apart.abs(),
        cost: (1.0 + apart * apart / within.max(1e-9) / plain).sqrt(),
        by_witness: shared,
        beyond_chance: per_take_db.abs() > t_quantile(1.0 - CHANCE / 2.0, df) * se,
    })
}
