//! What a fit of equaliser bands makes small, where its bands may begin, and the steps by which they improve.

use crate::bridge::Wanted;
use crate::equaliser::{Equaliser, EqualiserBand, Shape};
use crate::least_squares::Normal;
use crate::seen::Seen;
use fairtake_signal::filters::Biquad;
use fairtake_signal::units::power_db;
use std::f64::consts::{FRAC_1_SQRT_2, LN_10, PI};

/// No measured difference is taken for better known than this, in dB, so that no single band rules the fit.
const LEAST_SD_DB: f64 = 0.1;
/// Widths of peaks that a console's band can be turned to. Common practice, no source.
const Q_RANGE: [f64; 2] = [0.4, 8.0];
/// Deepest cut of a band in dB.
const DEEPEST_DB: f64 = -24.0;
/// A boost above the limit by this many dB costs as much as a band that is one standard uncertainty off.
const OVER_BY_DB: f64 = 0.03;
/// The limit is looked at so many times over the three decades of the axis, besides the known bands.
const AXIS_STEPS: u32 = 90;
/// Turning gains down to the limit needs no more tries than this: each leaves a small part of the excess.
const MOST_TURNS: usize = 30;
/// Gain by which a candidate's shape is judged, in dB.
const TRIED_DB: f64 = 6.0;
/// Widths of peaks that are tried.
const TRIED_Q: [f64; 4] = [0.7, 1.4, 2.8, 5.6];
/// Peaks are begun in so many parts of the axis.
const PARTS: usize = 4;
/// Steps of the fit at most, and where it ends: the sum of squares falls by less than this share.
const MOST_STEPS: usize = 40;
const SMALL_SHARE: f64 = 1e-5;
/// Dampings that are tried for one step.
const MOST_DAMPINGS: usize = 12;
/// Step by which slopes are taken: of gains in dB, of frequencies and widths in natural logarithms.
const SMALL_STEP: f64 = 1e-4;

/// Squared sines of half the angular frequencies: what the power of a filter is computed from.
pub(crate) fn half_sines(hz: impl Iterator<Item = f64>, rate_hz: f64) -> Vec<f64> {
    hz.map(|hz| (PI * hz / rate_hz).sin().powi(2)).collect()
}

/// Gain of an equaliser there, in dB.
pub(crate) fn gains_db(at: &[f64], equaliser: &Equaliser, rate_hz: f64) -> Vec<f64> {
    let mut powers = vec![1.0; at.len()];
    for filter in equaliser.bands.iter().map(|b| b.filter(rate_hz)) {
        at.iter().zip(&mut powers).for_each(|(x, power)| *power *= filter.power_at(*x));
    }
    powers.iter().map(|p| equaliser.gain_db + power_db(*p).unwrap_or(0.0)).collect()
}

/// A band that may be begun with.
struct Candidate {
    /// As tried; its gain is turned.
    band: EqualiserBand,
    /// Number of the known band in whose middle it lies.
    at: usize,
    /// Gain over the axis, in dB.
    shape_db: Vec<f64>,
}

/// A difference that bands are to carry.
pub(crate) struct Problem<'s> {
    seen: &'s [Seen],
    wanted: &'s Wanted,
    /// Where gains are looked at, as [`half_sines`]: over the whole axis, known or not, since the limit holds there too; the
    /// middles of the known bands last.
    axis: Vec<f64>,
    /// Weight of every known band: root of its width in octaves over its standard uncertainty.
    weights: Vec<f64>,
    candidates: Vec<Candidate>,
}

impl<'s> Problem<'s> {
    pub fn new(seen: &'s [Seen], wanted: &'s Wanted) -> Problem<'s> {
        let rate_hz = wanted.rate_hz;
        let steps = (0..=AXIS_STEPS).map(|i| 20.0 * 1000f64.powf(f64::from(i) / f64::from(AXIS_STEPS)));
        let middles = seen.iter().map(|s| s.band.centre_hz());
        let axis = half_sines(steps.filter(|hz| *hz < 0.5 * rate_hz).chain(middles), rate_hz);
        let weights = seen.iter().map(|s| s.octaves().sqrt() / s.sd_db.hypot(LEAST_SD_DB)).collect();
        let mut problem = Problem { seen, wanted, axis, weights, candidates: Vec::new() };
        problem.candidates = problem.candidates();
        problem
    }

    /// Shelves, and peaks of some widths, in the middle of every second band, which is near enough to begin with.
    fn candidates(&self) -> Vec<Candidate> {
        let shelf = |shape| (shape, FRAC_1_SQRT_2);
        let shapes: Vec<(Shape, f64)> = [shelf(Shape::LowShelf), shelf(Shape::HighShelf)]
            .into_iter()
            .chain(TRIED_Q.map(|q| (Shape::Peak, q)))
            .collect();
        let mut out: Vec<Candidate> = Vec::new();
        for (at, s) in self.seen.iter().enumerate().step_by(2) {
            for (shape, q) in &shapes {
                let band = EqualiserBand { shape: *shape, hz: s.band.centre_hz(), gain_db: TRIED_DB, q: *q };
                // Shelves beyond their limit all lie at it, and are tried once.
                let hz = self.within_limits(Equaliser { gain_db: 0.0, bands: vec![band] }).bands[0].hz;
                let band = EqualiserBand { hz, ..band };
                if !out.iter().any(|c| c.band == band) {
                    let alone = Equaliser { gain_db: 0.0, bands: vec![band] };
                    out.push(Candidate { band, at, shape_db: self.gains_db(&alone) });
                }
            }
        }
        out
    }

    /// Gain over the axis, in dB.
    fn gains_db(&self, equaliser: &Equaliser) -> Vec<f64> {
        gains_db(&self.axis, equaliser, self.wanted.rate_hz)
    }

    /// Distance of every known band in standard uncertainties, weighed by width: what it is off, where the axis has these gains.
    fn off<'a>(&'a self, gains_db: &'a [f64]) -> impl Iterator<Item = f64> + 'a {
        let known = &gains_db[gains_db.len() - self.seen.len()..];
        self.seen.iter().zip(known).zip(&self.weights).map(|((s, db), w)| w * (s.difference_db - db))
    }

    /// The limit holds for the bands by themselves, and with the gain of all.
    fn most_db(&self, gain_db: f64) -> f64 {
        self.wanted.most_boost_db + gain_db.min(0.0)
    }

    /// Sum of squares of what bands are off, and of boosts above the limit.
    fn cost_of(&self, gains_db: &[f64], gain_db: f64) -> f64 {
        let most_db = self.most_db(gain_db);
        let over = gains_db.iter().map(|db| ((db - most_db).max(0.0) / OVER_BY_DB).powi(2)).sum::<f64>();
        over + self.off(gains_db).map(|d| d * d).sum::<f64>()
    }

    pub fn cost(&self, equaliser: &Equaliser) -> f64 {
        self.cost_of(&self.gains_db(equaliser), equaliser.gain_db)
    }

    /// The equaliser with what the fit left above the limit taken off: from the gain of all, where that raises, and from what
    /// the bands raise.
    pub fn limited(&self, mut equaliser: Equaliser) -> Equaliser {
        let most_db = self.wanted.most_boost_db;
        let most_of = |e: &Equaliser| self.gains_db(e).into_iter().fold(f64::NEG_INFINITY, f64::max);
        for _ in 0..MOST_TURNS {
            let bands = most_of(&Equaliser { gain_db: 0.0, ..equaliser.clone() });
            if bands <= most_db {
                break;
            }
            // A hair more than enough, since responses are not quite in proportion to gains.
            let share = (most_db / bands) * 0.999;
            equaliser.bands.iter_mut().filter(|b| b.gain_db > 0.0).for_each(|b| b.gain_db *= share);
        }
        let over = (most_of(&equaliser) - most_db).max(0.0);
        equaliser.gain_db -= over.min(equaliser.gain_db.max(0.0));
        equaliser
    }

    /// With one band more, before all are fitted: the best shelf of each kind, and the best peak in each part of the axis.
    pub fn begun(&self, now: &Equaliser) -> Vec<Equaliser> {
        let n = self.seen.len();
        let part = n.div_ceil(PARTS);
        let before = self.gains_db(now);
        let shelf = |shape| self.best(now, &before, shape, 0..n);
        let peaks =
            (0..PARTS).map(|k| self.best(now, &before, Shape::Peak, k * part..((k + 1) * part).min(n)));
        [shelf(Shape::LowShelf), shelf(Shape::HighShelf)].into_iter().chain(peaks).flatten().collect()
    }

    /// The best of a shape that lies in these bands; a shape in dB grows nearly in proportion to its gain.
    fn best(
        &self,
        now: &Equaliser,
        before_db: &[f64],
        shape: Shape,
        bands: std::ops::Range<usize>,
    ) -> Option<Equaliser> {
        let of_these = self.candidates.iter().filter(|c| c.band.shape == shape && bands.contains(&c.at));
        let turned = of_these.map(|c| {
            let known = &c.shape_db[c.shape_db.len() - self.seen.len()..];
            let (mut both, mut own) = (0.0, 1e-12);
            for ((off, db), w) in self.off(before_db).zip(known).zip(&self.weights) {
                both += off * w * db;
                own += (w * db) * (w * db);
            }
            let gain_db = (TRIED_DB * both / own).clamp(DEEPEST_DB, self.wanted.most_boost_db);
            let by = gain_db / TRIED_DB;
            let all: Vec<f64> = before_db.iter().zip(&c.shape_db).map(|(db, own)| db + by * own).collect();
            (self.cost_of(&all, now.gain_db), EqualiserBand { gain_db, ..c.band })
        });
        let (_, band) = turned.min_by(|a, b| a.0.total_cmp(&b.0))?;
        let bands = now.bands.iter().copied().chain([band]).collect();
        Some(self.within_limits(Equaliser { bands, ..now.clone() }))
    }

    /// Least squares by Levenberg's and Marquardt's method.
    ///
    /// # Source
    /// D. Marquardt, "An algorithm for least-squares estimation of nonlinear parameters", SIAM Journal 11 (1963) 431–441; from
    /// memory.
    pub fn improved(&self, from: &Equaliser) -> Equaliser {
        let mut now = from.clone();
        let mut cost = self.cost(&now);
        let mut damping = 1e-3;
        for _ in 0..MOST_STEPS {
            let normal = self.normal(&now);
            let at = parameters(&now);
            let (mut better, mut fell) = (None, 0.0);
            for _ in 0..MOST_DAMPINGS {
                let step = normal.step(damping);
                let moved: Vec<f64> = at.iter().zip(&step).map(|(a, s)| a + s).collect();
                let tried = self.within_limits(with_parameters(&now, &moved));
                let then = self.cost(&tried);
                if then < cost {
                    (better, fell) = (Some(tried), (cost - then) / cost);
                    cost = then;
                    damping *= 0.3;
                    break;
                }
                damping *= 4.0;
            }
            let Some(tried) = better else { break };
            now = tried;
            if fell < SMALL_SHARE {
                break;
            }
        }
        now.bands.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        now
    }

    /// The normal equations there: slopes of everything that is off by every parameter.
    fn normal(&self, now: &Equaliser) -> Normal {
        let rate_hz = self.wanted.rate_hz;
        let gains_db = self.gains_db(now);
        let most_db = self.most_db(now.gain_db);
        let first = self.axis.len() - self.seen.len();
        // What lies below the limit has no slope.
        let over: Vec<usize> = (0..gains_db.len()).filter(|i| gains_db[*i] > most_db).collect();
        let off: Vec<f64> =
            self.off(&gains_db).chain(over.iter().map(|i| (gains_db[*i] - most_db) / OVER_BY_DB)).collect();
        let places: Vec<f64> =
            self.axis[first..].iter().copied().chain(over.iter().map(|i| self.axis[*i])).collect();
        let weights: Vec<f64> =
            self.weights.iter().map(|w| -w).chain(over.iter().map(|_| 1.0 / OVER_BY_DB)).collect();
        let at = parameters(now);
        // The gain of all moves bands and, where it lowers, the limit with them.
        let with_limit = now.gain_db < 0.0;
        let n_seen = self.seen.len();
        let by_all =
            weights.iter().enumerate().map(|(i, w)| if i >= n_seen && with_limit { 0.0 } else { *w });
        let mut slopes: Vec<Vec<f64>> = vec![by_all.collect()];
        for (b, band) in now.bands.iter().enumerate() {
            let filter = band.filter(rate_hz);
            let powers: Vec<f64> = places.iter().map(|x| filter.power_at(*x)).collect();
            for k in 1 + 3 * b..4 + 3 * b {
                let mut moved = at.clone();
                moved[k] += SMALL_STEP;
                let moved: Biquad = with_parameters(now, &moved).bands[b].filter(rate_hz);
                let slope = |((x, power), w): ((&f64, &f64), &f64)| {
                    w * (10.0 / LN_10) * (moved.power_at(*x) / power - 1.0) / SMALL_STEP
                };
                slopes.push(places.iter().zip(&powers).zip(&weights).map(slope).collect());
            }
        }
        Normal::of(&slopes, &off)
    }

    fn within_limits(&self, mut equaliser: Equaliser) -> Equaliser {
        let (first, last) = (&self.seen[0].band, &self.seen[self.seen.len() - 1].band);
        let most_hz = last.to_hz;
        let middle_hz = (first.from_hz * most_hz).sqrt();
        for band in &mut equaliser.bands {
            // A shelf reaches over no more than half of the axis: from the other side, with all turned up, it would be the other
            // shelf, and no limit would hold it.
            band.hz = match band.shape {
                Shape::LowShelf => band.hz.clamp(first.from_hz, middle_hz),
                Shape::Peak => band.hz.clamp(first.from_hz, most_hz),
                Shape::HighShelf => band.hz.clamp(middle_hz, most_hz),
            };
            band.gain_db = band.gain_db.clamp(DEEPEST_DB, self.wanted.most_boost_db);
            band.q =
                if band.shape == Shape::Peak { band.q.clamp(Q_RANGE[0], Q_RANGE[1]) } else { FRAC_1_SQRT_2 };
        }
        equaliser
    }
}

fn parameters(e: &Equaliser) -> Vec<f64> {
    let of_band = |b: &EqualiserBand| [b.hz.ln(), b.gain_db, b.q.ln()];
    std::iter::once(e.gain_db).chain(e.bands.iter().flat_map(of_band)).collect()
}

fn with_parameters(e: &Equaliser, p: &[f64]) -> Equaliser {
    let of_band = |(b, p): (&EqualiserBand, &[f64])| EqualiserBand {
        hz: p[0].exp(),
        gain_db: p[1],
        q: if b.shape == Shape::Peak { p[2].exp() } else { b.q },
        ..*b
    };
    Equaliser { gain_db: p[0], bands: e.bands.iter().zip(p[1..].chunks_exact(3)).map(of_band).collect() }
}
