//! The fewest bands of an equaliser that carry a difference: one after the other where it helps most, all of them fitted
//! anew each time.

use crate::bridge::Wanted;
use crate::equaliser::{Equaliser, EqualiserBand, Shape};
use crate::remaining::{by_band, greatest, rms_db};
use crate::seen::Seen;
use fairtake_signal::filters::Biquad;
use fairtake_signal::units::power_db;
use fairtake_stats::matrix::Matrix;
use std::f64::consts::FRAC_1_SQRT_2;

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
/// Steps of the fit at most, and where it ends: the sum of squares falls by less than this share.
const MOST_STEPS: usize = 40;
/// A band that takes off less than this share of the sum of squares is not worth its place.
const WORTH_SHARE: f64 = 0.01;
/// So many equalisers are kept from one number of bands to the next.
const FEW: usize = 5;
/// Two whose sums of squares differ by less than this share are the same.
const SAME_SHARE: f64 = 1e-3;
/// Peaks are begun in so many parts of the axis.
const PARTS: usize = 4;
const SMALL_SHARE: f64 = 1e-5;

/// Bands one after the other until nothing of the margin or more is shown to remain, or `most_bands` are used; the best
/// equaliser of each number on the way, the first without a band.
pub(crate) fn fit(seen: &[Seen], wanted: &Wanted, margin_db: f64) -> Vec<Equaliser> {
    let seen = &allowed(seen, wanted.most_boost_db);
    let problem = Problem {
        seen,
        cosines: cosines(seen, wanted.rate_hz),
        everywhere: axis(seen, wanted.rate_hz),
        wanted,
    };
    let mut kept = vec![problem.improved(&Equaliser::default())];
    let mut steps = vec![problem.limited(kept[0].clone())];
    while steps.len() <= wanted.most_bands && !reaches(seen, &steps[steps.len() - 1], wanted, margin_db) {
        let before = problem.cost(&kept[0]);
        kept = problem.with_one_more(&kept);
        if kept.is_empty() || problem.cost(&kept[0]) >= before * (1.0 - WORTH_SHARE) {
            break;
        }
        steps.push(problem.limited(kept[0].clone()));
    }
    steps
}

/// What an equaliser may aim at: a band that would need more than the highest boost asks for that boost. What that leaves is
/// said with what remains, and no band is spent on it.
fn allowed(seen: &[Seen], most_db: f64) -> Vec<Seen> {
    let held = |s: &Seen| {
        let over = (s.difference_db - most_db).max(0.0);
        Seen {
            difference_db: s.difference_db - over,
            simultaneous_db: s.simultaneous_db.map(|b| b - over),
            ..*s
        }
    };
    seen.iter().map(held).collect()
}

/// True where no difference of the margin or more is shown to remain.
fn reaches(seen: &[Seen], equaliser: &Equaliser, wanted: &Wanted, margin_db: f64) -> bool {
    greatest(&by_band(seen, &at_bands(seen, equaliser, wanted.rate_hz), margin_db)).is_none()
}

/// Gain of an equaliser in the middle of every band, in dB.
pub(crate) fn at_bands(seen: &[Seen], equaliser: &Equaliser, rate_hz: f64) -> Vec<f64> {
    at_cosines(&cosines(seen, rate_hz), equaliser, rate_hz)
}

/// Cosine of the angular frequency in the middle of every band.
fn cosines(seen: &[Seen], rate_hz: f64) -> Vec<f64> {
    seen.iter().map(|s| (std::f64::consts::TAU * s.band.centre_hz() / rate_hz).cos()).collect()
}

/// The same over the whole axis, 20 Hz to 20 kHz or what the rate can do, and in the middle of the known bands.
fn axis(seen: &[Seen], rate_hz: f64) -> Vec<f64> {
    let steps = (0..=AXIS_STEPS).map(|i| 20.0 * 1000f64.powf(f64::from(i) / f64::from(AXIS_STEPS)));
    let all = steps.filter(|hz| *hz < 0.5 * rate_hz).map(|hz| (std::f64::consts::TAU * hz / rate_hz).cos());
    all.chain(cosines(seen, rate_hz)).collect()
}

fn at_cosines(cosines: &[f64], equaliser: &Equaliser, rate_hz: f64) -> Vec<f64> {
    let filters: Vec<Biquad> = equaliser.bands.iter().map(|b| b.filter(rate_hz)).collect();
    let power = |cosine: f64| filters.iter().map(|f| f.power_at(cosine)).product::<f64>();
    cosines.iter().map(|c| equaliser.gain_db + power_db(power(*c)).unwrap_or(0.0)).collect()
}

struct Problem<'s> {
    seen: &'s [Seen],
    cosines: Vec<f64>,
    /// Cosines over the whole axis, known or not: the limit holds there too.
    everywhere: Vec<f64>,
    wanted: &'s Wanted,
}

impl Problem<'_> {
    /// Distance of every band in standard uncertainties, weighed by width, and of boosts above the limit.
    fn distances(&self, equaliser: &Equaliser) -> Vec<f64> {
        let all = at_cosines(&self.everywhere, equaliser, self.wanted.rate_hz);
        self.distances_of(&all, equaliser.gain_db)
    }

    /// The same of an equaliser's gain over the whole axis, the known bands last.
    fn distances_of(&self, all_db: &[f64], gain_db: f64) -> Vec<f64> {
        let at = &all_db[all_db.len() - self.seen.len()..];
        let off = self
            .seen
            .iter()
            .zip(at)
            .map(|(s, db)| s.octaves().sqrt() * (s.difference_db - db) / s.sd_db.hypot(LEAST_SD_DB));
        // The limit holds for the bands by themselves, and with the gain of all.
        let most_db = self.wanted.most_boost_db + gain_db.min(0.0);
        let over = all_db.iter().map(|db| (db - most_db).max(0.0) / OVER_BY_DB);
        off.chain(over).collect()
    }

    /// Gain of one band over the whole axis, in dB.
    fn band_db(&self, band: &EqualiserBand) -> Vec<f64> {
        let alone = Equaliser { gain_db: 0.0, bands: vec![*band] };
        at_cosines(&self.everywhere, &alone, self.wanted.rate_hz)
    }

    /// The equaliser with what the fit left above the limit taken off: from the gain of all, where that raises, and from what
    /// the bands raise.
    fn limited(&self, mut equaliser: Equaliser) -> Equaliser {
        let most_db = self.wanted.most_boost_db;
        let most_of = |e: &Equaliser| {
            at_cosines(&self.everywhere, e, self.wanted.rate_hz).into_iter().fold(f64::NEG_INFINITY, f64::max)
        };
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

    fn cost(&self, equaliser: &Equaliser) -> f64 {
        self.distances(equaliser).iter().map(|d| d * d).sum()
    }

    /// The best few equalisers with a band more than those few, the best first: what is best with a band less need not lead
    /// to what is best.
    fn with_one_more(&self, few: &[Equaliser]) -> Vec<Equaliser> {
        let begun: Vec<Equaliser> = few.iter().flat_map(|e| self.begun(e)).collect();
        let improved = |e: &Equaliser| {
            let e = self.improved(e);
            (self.cost(&e), e)
        };
        // They do not wait for each other; joined in order, so that every run finds the same.
        let half = begun.len().div_ceil(2);
        let mut made: Vec<(f64, Equaliser)> = std::thread::scope(|scope| {
            let parts: Vec<_> = begun
                .chunks(half.max(1))
                .map(|part| scope.spawn(move || part.iter().map(improved).collect::<Vec<_>>()))
                .collect();
            parts.into_iter().flat_map(|part| part.join().expect("fitting does not panic")).collect()
        });
        made.sort_by(|a, b| a.0.total_cmp(&b.0));
        // The same one, found twice, is one.
        made.dedup_by(|a, b| (a.0 - b.0).abs() < SAME_SHARE * b.0);
        made.truncate(FEW);
        made.into_iter().map(|(_, e)| e).collect()
    }

    /// With one band more, before all are fitted: the best shelf of each kind, and the best peak in each part of the axis.
    fn begun(&self, now: &Equaliser) -> Vec<Equaliser> {
        let n = self.seen.len();
        let part = n.div_ceil(PARTS);
        let shelf = |shape| self.best(now, shape, 0..n);
        let peaks = (0..PARTS).map(|k| self.best(now, Shape::Peak, k * part..((k + 1) * part).min(n)));
        [shelf(Shape::LowShelf), shelf(Shape::HighShelf)].into_iter().chain(peaks).flatten().collect()
    }

    /// The best of a shape whose frequency lies in these bands.
    fn best(&self, now: &Equaliser, shape: Shape, bands: std::ops::Range<usize>) -> Option<Equaliser> {
        let widths: &[f64] = if shape == Shape::Peak { &[0.7, 1.4, 2.8, 5.6] } else { &[FRAC_1_SQRT_2] };
        // Every second band is near enough to begin with.
        let places = self.seen.get(bands)?.iter().step_by(2).map(|s| s.band.centre_hz());
        let before = at_cosines(&self.everywhere, now, self.wanted.rate_hz);
        let known = &before[before.len() - self.seen.len()..];
        let tried = places.flat_map(|hz| widths.iter().map(move |q| (hz, *q))).map(|(hz, q)| {
            let e = self.with(now, self.scaled(known, EqualiserBand { shape, hz, gain_db: TRIED_DB, q }));
            // Only the last band is new.
            let own = e.bands.last().map_or(Vec::new(), |band| self.band_db(band));
            let all: Vec<f64> = before.iter().zip(&own).map(|(db, own)| db + own).collect();
            let cost: f64 = self.distances_of(&all, e.gain_db).iter().map(|d| d * d).sum();
            (cost, e)
        });
        tried.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, e)| e)
    }

    fn with(&self, now: &Equaliser, band: EqualiserBand) -> Equaliser {
        let mut bands = now.bands.clone();
        bands.push(band);
        self.within_limits(Equaliser { bands, ..now.clone() })
    }

    /// A candidate with the gain that suits what remains: its shape in dB grows nearly in proportion.
    fn scaled(&self, at: &[f64], band: EqualiserBand) -> EqualiserBand {
        let alone =
            at_cosines(&self.cosines, &Equaliser { gain_db: 0.0, bands: vec![band] }, self.wanted.rate_hz);
        let (mut both, mut own) = (0.0, 1e-12);
        for ((s, shape), db) in self.seen.iter().zip(&alone).zip(at) {
            let weight = s.octaves() / (s.sd_db.powi(2) + LEAST_SD_DB.powi(2));
            both += weight * shape * (s.difference_db - db);
            own += weight * shape * shape;
        }
        EqualiserBand { gain_db: TRIED_DB * both / own, ..band }
    }

    /// Least squares by Levenberg's and Marquardt's method.
    ///
    /// # Source
    /// D. Marquardt, "An algorithm for least-squares estimation of nonlinear parameters", SIAM Journal 11 (1963) 431–441; from
    /// memory.
    fn improved(&self, from: &Equaliser) -> Equaliser {
        let mut now = from.clone();
        let mut cost = self.cost(&now);
        let mut damping = 1e-3;
        for _ in 0..MOST_STEPS {
            // A parameter moves one band alone: the others' gains are kept.
            let shapes: Vec<Vec<f64>> = now.bands.iter().map(|b| self.band_db(b)).collect();
            let all: Vec<f64> = (0..self.everywhere.len())
                .map(|i| now.gain_db + shapes.iter().map(|shape| shape[i]).sum::<f64>())
                .collect();
            let off = self.distances_of(&all, now.gain_db);
            let at = parameters(&now);
            let slopes: Vec<Vec<f64>> = (0..at.len())
                .map(|k| {
                    let mut moved = at.clone();
                    moved[k] += SMALL_STEP;
                    let moved = with_parameters(&now, &moved);
                    let there: Vec<f64> = match k.checked_sub(1).map(|k| k / 3) {
                        None => all.iter().map(|db| db + SMALL_STEP).collect(),
                        Some(b) => {
                            let shape = self.band_db(&moved.bands[b]);
                            (0..all.len()).map(|i| all[i] - shapes[b][i] + shape[i]).collect()
                        }
                    };
                    let there = self.distances_of(&there, moved.gain_db);
                    off.iter().zip(there).map(|(a, b)| (b - a) / SMALL_STEP).collect()
                })
                .collect();
            let normal = Normal::of(&slopes, &off);
            let (mut better, mut fell) = (None, 0.0);
            for _ in 0..12 {
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

/// Step by which slopes are taken: of gains in dB, of frequencies and widths in natural logarithms.
const SMALL_STEP: f64 = 1e-4;

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

/// The normal equations of a step, the same for every damping that is tried.
struct Normal {
    products: Matrix,
    towards: Vec<f64>,
}

impl Normal {
    fn of(slopes: &[Vec<f64>], off: &[f64]) -> Normal {
        let n = slopes.len();
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let mut products = Matrix::zeros(n, n);
        for i in 0..n {
            for j in 0..=i {
                let both = product(&slopes[i], &slopes[j]);
                products.set(i, j, both);
                products.set(j, i, both);
            }
        }
        Normal { products, towards: slopes.iter().map(|s| -product(s, off)).collect() }
    }

    /// The damped step towards less distance.
    fn step(&self, damping: f64) -> Vec<f64> {
        let n = self.towards.len();
        let mut normal = self.products.clone();
        for i in 0..n {
            let own = self.products.at(i, i);
            normal.set(i, i, own + damping * (own + 1e-9) + 1e-12);
        }
        let root = normal.cholesky();
        let mut x = self.towards.clone();
        for i in 0..n {
            let known: f64 = (0..i).map(|j| root.at(i, j) * x[j]).sum();
            x[i] = (x[i] - known) / root.at(i, i).max(1e-12);
        }
        for i in (0..n).rev() {
            let known: f64 = (i + 1..n).map(|j| root.at(j, i) * x[j]).sum();
            x[i] = (x[i] - known) / root.at(i, i).max(1e-12);
        }
        x
    }
}

/// What every band bought: root mean square of what remains, in dB, with none, one, two … bands.
pub(crate) fn bought(seen: &[Seen], steps: &[Equaliser], rate_hz: f64) -> Vec<f64> {
    steps.iter().map(|e| rms_db(seen, &at_bands(seen, e, rate_hz))).collect()
}
