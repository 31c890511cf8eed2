//! What would settle an undecided region at the present spread.

use super::JudgedBand;
use super::units::Counted;
use crate::{Settings, Settle, SettleReason, Unit};
use fairtake_stats::student::t_quantile;

/// No answer above this many events in all per microphone: nobody records them.
const MOST_EVENTS: f64 = 500.0;
/// The same for placements.
const MOST_PLACEMENTS: f64 = 20.0;

/// How many units per microphone would let every band of an undecided region be called.
pub(super) fn settle(bands: &[JudgedBand], counted: &Counted, settings: &Settings) -> Settle {
    let n_now = counted.n_effective[0].min(counted.n_effective[1]);
    let most = if counted.unit == Unit::Placement { MOST_PLACEMENTS } else { MOST_EVENTS };
    let mut needed = Vec::new();
    for band in bands {
        let (Some(d), Some([low, high])) = (band.difference_db, band.simultaneous_db) else {
            return unknown_spread(counted.unit);
        };
        let half = (high - low) / 2.0;
        // Alike needs the interval inside the margin, different needs it clear of zero.
        let wanted = if d.abs() < settings.margin_db { settings.margin_db - d.abs() } else { d.abs() };
        needed.push(units_for(half, wanted, n_now, counted, settings, most));
    }
    needed.sort_by(f64::total_cmp);
    // Where most bands are beyond reach it is the spread that is too large; where few are, they lie at the margin.
    let nothing = |reason| Settle { events: None, placements: None, reason };
    match (needed.last(), needed.get(needed.len() / 2)) {
        (Some(greatest), _) if *greatest <= most => answer(greatest.ceil() as u32, counted.unit),
        (_, Some(middle)) if *middle > most => nothing(SettleReason::OutOfReach),
        _ => nothing(SettleReason::NearMargin),
    }
}

/// The smallest number of units at which the half-width falls to `wanted`; the t quantile shrinks with it.
fn units_for(half: f64, wanted: f64, n_now: f64, counted: &Counted, settings: &Settings, most: f64) -> f64 {
    let p = 0.5 + settings.confidence / 2.0;
    let df_now = counted.fit.as_ref().map_or(2.0, |f| f.df());
    let t_now = t_quantile(p, df_now);
    let mut n = n_now.max(2.0).ceil();
    while n <= most {
        let t = t_quantile(p, df_now * (n - 1.0) / (n_now - 1.0).max(1.0));
        if half * (n_now / n).sqrt() * t / t_now <= wanted {
            return n;
        }
        n += 1.0;
    }
    f64::INFINITY
}

/// Too few units to know their spread: the fewest that give an interval.
fn unknown_spread(unit: Unit) -> Settle {
    let fewest = if unit == Unit::Placement || unit == Unit::Performance { 3 } else { 8 };
    answer(fewest, unit)
}

fn answer(n: u32, unit: Unit) -> Settle {
    let (events, placements) = if unit == Unit::Placement { (None, Some(n)) } else { (Some(n), None) };
    Settle { events, placements, reason: SettleReason::Reachable }
}
