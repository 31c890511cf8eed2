//! Ratings: medians by microphone, who is screened out, and how far raters agree.

use crate::key::Role;
use crate::plan::{CONFIDENCE, Kind, Plan};
use crate::sitting::{Given, Sitting};
use fairtake_stats::binomial::tail_at_least;
use fairtake_stats::consistency::concordance;
use fairtake_stats::ratings::{KnownRatings, kept, median, median_interval};
use serde::Serialize;

/// Draws of the bootstrap.
const N_DRAWS: usize = 2000;

/// Ratings of one microphone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rated {
    /// Key of the microphone.
    pub mic: String,
    /// It is the hidden copy of the named one.
    pub is_hidden_copy: bool,
    /// Median over raters of each rater's median.
    pub median: Option<f64>,
    /// 95 % interval of it; `None` with fewer than six raters.
    pub interval: Option<[f64; 2]>,
    /// Of likeness: raters who put the hidden copy higher, and who put it lower; ties left out.
    pub below_copy: Option<[u64; 2]>,
    /// How often tossing coins splits raters so unevenly (both ways); `None` for liking and for the copy itself.
    pub p_copy: Option<f64>,
}

/// Ratings of all sittings that came to their end.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rating {
    /// Microphones in the order of the plan.
    pub rated: Vec<Rated>,
    /// Raters who count.
    pub n_kept: u64,
    /// Raters who were left out because they rated the hidden copy below 90 too often.
    pub n_screened: u64,
    /// Kendall's W: 1 where all raters put the microphones in one order, 0 where orders cancel; `None` with one rater.
    pub concordance: Option<f64>,
}

/// Median of one rater's ratings of each microphone.
fn own_medians(plan: &Plan, sitting: &Sitting) -> Vec<Vec<f64>> {
    let first = usize::from(plan.kind() == Kind::Likeness);
    let mut out = vec![Vec::new(); plan.mics().len()];
    for (trial, answer) in sitting.key().trials.iter().zip(sitting.answers()) {
        let (Role::Looked, Given::Ratings(ratings)) = (trial.role, &answer.given) else { continue };
        for (slot, rating) in trial.slots[first..].iter().zip(ratings) {
            let mic = &plan.material().excerpts[slot.excerpt].mic;
            if let Some(i) = plan.mics().iter().position(|m| m == mic) {
                out[i].push(f64::from(*rating));
            }
        }
    }
    out
}

impl Rating {
    pub(crate) fn of(plan: &Plan, done: &[&Sitting], seed: u64) -> Rating {
        let is_likeness = plan.kind() == Kind::Likeness;
        let all: Vec<Vec<Vec<f64>>> = done.iter().map(|s| own_medians(plan, s)).collect();
        let keep = if is_likeness {
            let known = |of: &Vec<Vec<f64>>| KnownRatings {
                hidden_reference: of[0].clone(),
                mid_anchor: vec![None; of[0].len()],
            };
            kept(&all.iter().map(known).collect::<Vec<_>>())
        } else {
            vec![true; all.len()]
        };
        let raters: Vec<&Vec<Vec<f64>>> =
            all.iter().zip(&keep).filter(|(_, k)| **k).map(|(r, _)| r).collect();
        let rated = |i: usize| {
            let own: Vec<Vec<f64>> = raters.iter().map(|r| r[i].clone()).collect();
            let medians: Vec<f64> = own.iter().filter_map(|r| median(r)).collect();
            let found = median_interval(&own, CONFIDENCE, N_DRAWS, seed);
            let below_copy = (is_likeness && i > 0).then(|| {
                // All raters: those that are kept were chosen by the hidden copy itself.
                let differences: Vec<f64> =
                    all.iter().filter_map(|r| Some(median(&r[0])? - median(&r[i])?)).collect();
                let n = |holds: fn(f64) -> bool| differences.iter().filter(|d| holds(**d)).count() as u64;
                [n(|d| d > 0.0), n(|d| d < 0.0)]
            });
            Rated {
                mic: plan.mics()[i].clone(),
                is_hidden_copy: is_likeness && i == 0,
                median: median(&medians),
                interval: found.map(|[_, low, high]| [low, high]),
                below_copy,
                // As often as there are microphones beside the copy (Bonferroni).
                p_copy: below_copy.map(|[more, fewer]| {
                    let sides = 2.0 * (plan.mics().len() - 1) as f64;
                    (sides * tail_at_least(more.max(fewer), more + fewer, 0.5)).min(1.0)
                }),
            }
        };
        let orders: Vec<Vec<f64>> =
            raters.iter().filter_map(|r| r.iter().map(|own| median(own)).collect()).collect();
        Rating {
            rated: (0..plan.mics().len()).map(rated).collect(),
            n_kept: raters.len() as u64,
            n_screened: (done.len() - raters.len()) as u64,
            concordance: concordance(&orders),
        }
    }
}
