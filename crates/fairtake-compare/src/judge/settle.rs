//! What would settle an undecided region at the present spread.

use super::JudgedBand;
use super::units::Counted;
use crate::{Settings, Settle, SettleReason, Unit};
use fairtake_stats::student::t_quantile;

/// No answer above this many events in all per microphone: nobody records them.
const MOST_EVENTS: f64 = 500.0;
/// The same for placements.
const MOST_PLACEMENTS: f64 = 20.0;

/// How many units per microphone would let every band of an undecided region be called. `noise_sd_db` is, per band, what
/// the noise subtraction leaves: no event more makes it smaller.
pub(super) fn settle(
    bands: &[JudgedBand],
    noise_sd_db: &[f64],
    counted: &Counted,
    settings: &Settings,
) -> Settle {
    let n_now = counted.n_effective[0].min(counted.n_effective[1]);
    let most = if counted.unit == Unit::Placement { MOST_PLACEMENTS } else { MOST_EVENTS };
    let z = t_quantile(0.5 + settings.confidence / 2.0, f64::INFINITY);
    let (mut needed, mut n_allowance) = (Vec::new(), 0);
    for (band, noise_sd_db) in bands.iter().zip(noise_sd_db) {
        let (Some(d), Some([low, high])) = (band.difference_db, band.simultaneous_db) else {
            return unknown_spread(counted.unit);
        };
        // Alike needs the interval inside the margin, different needs it clear of zero.
        let wanted = if d.abs() < settings.margin_db { settings.margin_db - d.abs() } else { d.abs() };
        let part = Half { all: (high - low) / 2.0, fixed: z * noise_sd_db };
        needed.push(units_for(part, wanted, n_now, counted, settings, most));
        n_allowance += usize::from(part.fixed.max(placing(band)) >= wanted);
    }
    needed.sort_by(f64::total_cmp);
    // Where most bands are beyond reach it is the spread that is too large, or what is allowed for; where few are, they
    // lie at the margin.
    let nothing = |reason| Settle { events: None, placements: None, reason };
    match (needed.last(), needed.get(needed.len() / 2)) {
        (Some(greatest), _) if *greatest <= most => answer(greatest.ceil() as u32, counted.unit),
        (_, Some(middle)) if *middle > most && 2 * n_allowance >= needed.len() => {
            nothing(SettleReason::Allowance)
        }
        (_, Some(middle)) if *middle > most => nothing(SettleReason::OutOfReach),
        _ => nothing(SettleReason::NearMargin),
    }
}

/// Half of an interval, and the part of it that repeats do not make smaller.
#[derive(Debug, Clone, Copy)]
struct Half {
    all: f64,
    fixed: f64,
}

/// Half of what placing again is allowed to change: what the conditional interval has beyond the pointwise one.
fn placing(band: &JudgedBand) -> f64 {
    match (band.pointwise_db, band.conditional) {
        (Some([low, high]), Some(wide)) => {
            let (own, with) = ((high - low) / 2.0, (wide.high_db - wide.low_db) / 2.0);
            (with * with - own * own).max(0.0).sqrt()
        }
        _ => 0.0,
    }
}

/// The smallest number of units at which the half-width falls to `wanted`; the t quantile shrinks with it.
fn units_for(half: Half, wanted: f64, n_now: f64, counted: &Counted, settings: &Settings, most: f64) -> f64 {
    let p = 0.5 + settings.confidence / 2.0;
    let df_now = counted.fit.as_ref().map_or(2.0, |f| f.df());
    let t_now = t_quantile(p, df_now);
    let spread = (half.all * half.all - half.fixed * half.fixed).max(0.0).sqrt();
    let mut n = n_now.max(2.0).ceil();
    while n <= most && half.fixed < wanted {
        let t = t_quantile(p, df_now * (n - 1.0) / (n_now - 1.0).max(1.0));
        if (spread * (n_now / n).sqrt() * t / t_now).hypot(half.fixed) <= wanted {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::units::count;
    use crate::{BandSpan, Conditional, Design, MatchBy, PairTables, Playing, Table, Verdict};

    /// Twelve events of one band.
    fn counted() -> Counted {
        let column = vec![0.0; 12];
        let table = |performance: u32, band_db: Vec<f64>| Table {
            placement: 1,
            performance,
            position: None,
            order: None,
            band_db,
            loudness_db: column.clone(),
            midrange_db: column.clone(),
            sample_peak_db: column.clone(),
            true_peak_db: column.clone(),
            rms_db: column.clone(),
        };
        let pair = PairTables {
            design: Design::Together,
            playing: Playing::Percussive,
            bands: vec![BandSpan { from_hz: 900.0, to_hz: 1100.0 }],
            supported: vec![true],
            reference: vec![table(1, column.clone())],
            against: vec![table(1, (0..12).map(|k| f64::from(k % 3)).collect())],
            witness: Vec::new(),
            noise_subtraction_sd_db: vec![0.0],
        };
        count(&pair, MatchBy::None)
    }

    fn band(d: f64, half: f64, allowance: Option<f64>) -> JudgedBand {
        JudgedBand {
            difference_db: Some(d),
            pointwise_db: Some([d - half / 2.0, d + half / 2.0]),
            simultaneous_db: Some([d - half, d + half]),
            conditional: allowance.map(|a| {
                let wide = (half / 2.0).hypot(a);
                Conditional { low_db: d - wide, high_db: d + wide }
            }),
            verdict: Verdict::Undecided,
        }
    }

    #[test]
    fn a_band_twice_as_wide_as_asked_needs_somewhat_less_than_four_times_the_events() {
        let found = settle(&[band(0.2, 1.6, None)], &[0.0], &counted(), &Settings::standard());
        // Exact: from 12 to n with half-width 1.6·√(12/n)·t(n)/t(12) ≤ 0.8; 48 without t, and t shrinks from 2.201 to 2.02.
        assert_eq!(found.reason, SettleReason::Reachable);
        assert!((38..=46).contains(&found.events.expect("reachable")), "{found:?}");
    }

    #[test]
    fn what_is_allowed_for_cannot_be_played_away() {
        let settings = Settings::standard();
        // What the noise leaves is 1.96·0.5 = 0.98 dB and more than the 0.8 asked.
        let noisy = settle(&[band(0.2, 1.6, None)], &[0.5], &counted(), &settings);
        assert_eq!((noisy.reason, noisy.events), (SettleReason::Allowance, None));
        // The spread alone would want more than 500 events, and placing again may change 1.5 dB by itself.
        let placed = settle(&[band(0.9, 3.0, Some(1.5))], &[0.0], &counted(), &settings);
        assert_eq!(placed.reason, SettleReason::Allowance);
        let spread = settle(&[band(0.9, 3.0, None)], &[0.0], &counted(), &settings);
        assert_eq!(spread.reason, SettleReason::OutOfReach);
        // Where events help they are named, whatever placing may do: the verdict is about these takes.
        let helps = settle(&[band(0.2, 1.6, Some(1.5))], &[0.0], &counted(), &settings);
        assert_eq!(helps.reason, SettleReason::Reachable);
    }
}
