//! What would settle most of an undecided region at the present spread.
//!
//! Advice is a promise: the session goes on, the difference moves a little from where it stands, and then nine of ten
//! times and more the region must be called. So it is asked of every band whether it would still be called were the
//! difference further off, and the spread larger, than they look; and what is promised is three quarters of the bands,
//! since where a difference crosses the margin some band always lies at it.

use super::JudgedBand;
use super::units::Counted;
use crate::{Settings, Settle, SettleReason, Unit};
use fairtake_stats::student::t_quantile;

/// No answer above this many events in all per microphone: nobody records them.
const MOST_EVENTS: f64 = 500.0;
/// The same for placements.
const MOST_PLACEMENTS: f64 = 20.0;

/// A region is settled when this share of its bands is called.
const MOST_OF_IT: f64 = 0.75;

/// How far, in standard uncertainties, the difference may move before a band is counted on no more. The 95 % point of the
/// normal distribution.
const MOVES: f64 = 1.645;

/// Quantile of the normal distribution at 90 %, for the upper bound of the spread.
const UPPER: f64 = 1.2816;

/// An undecided region.
pub(super) struct Undecided<'a> {
    /// Its bands.
    pub bands: &'a [JudgedBand],
    /// Per band what the noise subtraction leaves, a standard deviation: no event more makes it smaller.
    pub noise_sd_db: &'a [f64],
    /// Per band the standard uncertainty and its degrees of freedom; `None`: unknown.
    pub spread: Option<(&'a [f64], &'a [f64])>,
    /// Events played per microphone, of which those effective are counted.
    pub n_played: f64,
}

/// One band of it.
struct Reach {
    difference_db: f64,
    /// Part of half of the interval that repeats make smaller, as large as it may be.
    half_db: f64,
    /// Part that they do not.
    fixed_db: f64,
    /// How far the difference may move.
    moves_db: f64,
}

impl Reach {
    /// Called with this much of the interval left, and this much of the way moved.
    fn is_called(&self, left: f64, moved: f64, margin_db: f64) -> bool {
        let half = (self.half_db * left).hypot(self.fixed_db);
        let (d, off) = (self.difference_db.abs(), self.moves_db * moved);
        d + off + half <= margin_db || d - off >= margin_db.max(half)
    }
}

/// Student's t for the numbers of units that are tried: the same for every region of a comparison, worked out once.
#[derive(Debug, Default)]
pub(super) struct Tried {
    t: Vec<f64>,
}

/// How many units per microphone in all would let most bands of an undecided region be called.
pub(super) fn settle(
    region: &Undecided,
    counted: &Counted,
    settings: &Settings,
    tried: &mut Tried,
) -> Settle {
    let n_now = counted.n_effective[0].min(counted.n_effective[1]);
    let Some(reaches) = reaches(region, settings) else {
        return unknown_spread(counted.unit, n_now, region.n_played);
    };
    // Blocks that hang together count less than one each: what is asked for is what must be played.
    let (most, per_unit) = match counted.unit {
        Unit::Placement => (MOST_PLACEMENTS, 1.0),
        Unit::Performance => (MOST_EVENTS, 1.0),
        Unit::Event | Unit::Block => (MOST_EVENTS, region.n_played / n_now),
    };
    let p = 0.5 + settings.confidence / 2.0;
    let df_now = counted.fit.as_ref().map_or(2.0, |f| f.df());
    let t_now = t_quantile(p, df_now);
    let is_settled = |left: f64, moved: f64| {
        let called = reaches.iter().filter(|r| r.is_called(left, moved, settings.margin_db)).count();
        called as f64 >= MOST_OF_IT * reaches.len() as f64
    };
    let mut n = n_now.floor() + 1.0;
    for k in 0.. {
        if (n * per_unit).ceil() > most {
            break;
        }
        if k == tried.t.len() {
            tried.t.push(t_quantile(p, df_now * (n - 1.0) / (n_now - 1.0).max(1.0)));
        }
        let t = tried.t[k];
        // The units that are there stay: the mean of all moves by √(1 − now/all) standard uncertainties of now's.
        if is_settled((n_now / n).sqrt() * t / t_now, (1.0 - n_now / n).sqrt()) {
            return answer((n * per_unit).ceil() as u32, counted.unit);
        }
        n = (n + 1.0).max((n * 1.02).floor());
    }
    let nothing = |reason| Settle { events: None, placements: None, reason };
    // With any number of units only what repeats do not make smaller is left.
    if is_settled(0.0, 1.0) {
        let n_by_placing = region.bands.iter().filter(|b| placing_outweighs(b, settings.margin_db)).count();
        let placing = 2 * n_by_placing >= region.bands.len();
        return nothing(if placing { SettleReason::Allowance } else { SettleReason::OutOfReach });
    }
    let without_noise = |r: &&Reach| Reach { fixed_db: 0.0, ..**r }.is_called(0.0, 1.0, settings.margin_db);
    let by_noise = reaches.iter().filter(without_noise).count() as f64 >= MOST_OF_IT * reaches.len() as f64;
    nothing(if by_noise { SettleReason::Allowance } else { SettleReason::NearMargin })
}

fn reaches(region: &Undecided, settings: &Settings) -> Option<Vec<Reach>> {
    let (sd, df) = region.spread?;
    let z = t_quantile(0.5 + settings.confidence / 2.0, f64::INFINITY);
    region
        .bands
        .iter()
        .zip(region.noise_sd_db)
        .zip(sd.iter().zip(df))
        .map(|((band, noise_sd_db), (sd, df))| {
            let (d, [low, high]) = (band.difference_db?, band.simultaneous_db?);
            let (half, fixed_db) = ((high - low) / 2.0, z * noise_sd_db);
            let larger = upper_spread(*df);
            Some(Reach {
                difference_db: d,
                half_db: larger * (half * half - fixed_db * fixed_db).max(0.0).sqrt(),
                fixed_db,
                moves_db: MOVES * larger * sd,
            })
        })
        .collect()
}

/// True where placing again is allowed to change as much as the band has left to the margin, or to zero: by what the
/// conditional interval has beyond the pointwise one.
fn placing_outweighs(band: &JudgedBand, margin_db: f64) -> bool {
    let (Some(d), Some([low, high]), Some(wide)) = (band.difference_db, band.pointwise_db, band.conditional)
    else {
        return false;
    };
    let (own, with) = ((high - low) / 2.0, (wide.high_db - wide.low_db) / 2.0);
    let left = if d.abs() < margin_db { margin_db - d.abs() } else { d.abs() };
    (with * with - own * own).max(0.0).sqrt() >= left
}

/// Upper 90 % bound of a standard deviation over its estimate: √(d/χ²), by Wilson and Hilferty's approximation.
fn upper_spread(df: f64) -> f64 {
    let c = 2.0 / (9.0 * df);
    (1.0 - c - UPPER * c.sqrt()).max(0.2).powf(-1.5)
}

/// Too few units to know their spread: the fewest that give an interval, and more than there are. Blocks that hang
/// together so much that those played are not enough are asked for once again.
fn unknown_spread(unit: Unit, n_now: f64, n_played: f64) -> Settle {
    let more = n_now.floor() + 1.0;
    let fewest = match unit {
        Unit::Placement | Unit::Performance => more.max(3.0),
        Unit::Event => more.max(8.0),
        Unit::Block => (2.0 * n_played).max(24.0),
    };
    answer(fewest as u32, unit)
}

fn answer(n: u32, unit: Unit) -> Settle {
    let (events, placements) = if unit == Unit::Placement { (None, Some(n)) } else { (Some(n), None) };
    Settle { events, placements, reason: SettleReason::Reachable }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Claim, Conditional, Verdict};
    use fairtake_stats::linear::{Stratum, fit_strata};
    use fairtake_stats::matrix::Matrix;

    /// One undecided band after twelve hits.
    fn advice(d: f64, half: f64, sd: f64, noise_sd: f64) -> Settle {
        advice_as_placed(d, half, sd, noise_sd, None)
    }

    /// The same where placing again may change `placing` decibels.
    fn advice_as_placed(d: f64, half: f64, sd: f64, noise_sd: f64, placing: Option<f64>) -> Settle {
        let rows = Matrix::from_rows(12, 1, (0..12).map(|k| f64::from(k % 3)).collect());
        let fit = fit_strata(&[Stratum { rows, n_effective: 12.0, weight: 1.0, side: 0 }]);
        let counted = Counted {
            claim: Claim::TheseTakes,
            unit: Unit::Event,
            n_effective: [12.0, 12.0],
            estimate: fit.estimate.clone(),
            fit: Some(fit),
            within: None,
        };
        let band = JudgedBand {
            difference_db: Some(d),
            pointwise_db: Some([d - half / 2.0, d + half / 2.0]),
            simultaneous_db: Some([d - half, d + half]),
            conditional: placing.map(|p| {
                let wide = (half / 2.0).hypot(p);
                Conditional { low_db: d - wide, high_db: d + wide }
            }),
            verdict: Verdict::Undecided,
        };
        let region = Undecided {
            bands: &[band],
            noise_sd_db: &[noise_sd],
            spread: Some((&[sd], &[1e9])),
            n_played: 12.0,
        };
        settle(&region, &counted, &Settings::standard(), &mut Tried::default())
    }

    #[test]
    fn a_known_difference_needs_as_many_hits_as_bring_the_interval_into_the_margin() {
        // Exact: nothing moves, 1.6·√(12/n)·t(n − 1)/t(11) ≤ 0.8; four times as many without t, which shrinks from 2.201
        // to 2.02: 12·4·(2.02/2.201)² = 40.4, searched in steps of one.
        let found = advice(0.2, 1.6, 0.0, 0.0);
        assert_eq!(found.reason, SettleReason::Reachable);
        assert!((40..=42).contains(&found.events.expect("reachable")), "{found:?}");
    }

    #[test]
    fn a_difference_that_may_still_move_needs_more_and_one_that_may_move_to_the_margin_gets_no_promise() {
        let (still, moving) = (advice(0.2, 1.6, 0.0, 0.0).events, advice(0.2, 1.6, 0.2, 0.0).events);
        assert!(moving > still, "{moving:?} {still:?}");
        assert_eq!(advice(0.7, 1.6, 0.4, 0.0).reason, SettleReason::NearMargin);
    }

    #[test]
    fn what_the_noise_leaves_cannot_be_played_away() {
        // 1.96·0.5 = 0.98 dB, more than the 0.8 dB that are left to the margin.
        assert_eq!(advice(0.2, 1.6, 0.0, 0.5).reason, SettleReason::Allowance);
    }

    #[test]
    fn a_spread_that_wants_more_than_five_hundred_hits_is_out_of_reach() {
        assert_eq!(advice(0.2, 16.0, 0.0, 0.0).reason, SettleReason::OutOfReach);
        // Unless placing again may change as much by itself; where hits help they are named, whatever placing may do.
        assert_eq!(advice_as_placed(0.2, 16.0, 0.0, 0.0, Some(1.5)).reason, SettleReason::Allowance);
        assert_eq!(advice_as_placed(0.2, 1.6, 0.0, 0.0, Some(1.5)).reason, SettleReason::Reachable);
    }

    #[test]
    fn the_upper_bound_of_a_spread_is_that_of_chi_square() {
        // Reference: lower 10 % point of chi-square with 10 degrees of freedom 4.865 (any table): √(10/4.865) = 1.434. The
        // approximation is good to 1 %.
        assert!((upper_spread(10.0) - 1.434).abs() < 0.015, "{}", upper_spread(10.0));
    }
}
