//! How far off its last placement a microphone seems to stand, after it was set up again at the same source.
//!
//! A change of distance bends the low end of a microphone with a pressure-gradient share (proximity), and shifts its
//! level. The level also follows the player, so it tells nothing unless a witness that nobody moved heard both takes;
//! otherwise only the *shape* of the difference counts. Derivation, assumptions: docs/methods/replaced.md.

mod fit;
mod takes;

pub use takes::{Placements, replaced_by_takes};

use crate::judge::{distance_change_db, spread_at};
use crate::{PairTables, Playing, Settings, Shootout, Table};
use fairtake_stats::matrix::Matrix;
use fairtake_stats::student::t_quantile;
use fit::{backward, best, event_variance, forward, quadratic};
use serde::{Deserialize, Serialize};

/// Fewer hits than this at either placement tell nothing of their spread: the same number as for any interval.
const FEWEST_EVENTS: usize = 4;
/// Fewer blocks of sustained sound than this do not tell how much neighbours hang together.
const FEWEST_BLOCKS: usize = 12;
/// One pass of playing differs from the next by a smooth curve of this standard deviation, in dB (assumption).
const PASS_TIMBRE_DB: f64 = 0.4;
/// Correlation length of that curve in octaves (assumption).
const PASS_TIMBRE_OCTAVES: f64 = 1.0;
/// And by a tilt of this standard deviation, in dB per octave (assumption: harder playing is brighter).
const PASS_TILT_DB: f64 = 0.2;
/// What the model of the source leaves open in every band by itself, in dB (assumption).
const MODEL_DB: f64 = 0.1;
/// What early reflections and a source that is no piston change smoothly per placement, in dB (assumption).
const ROOM_DB: f64 = 0.25;
/// The logged radius is good to this share, as a standard deviation (assumption: nobody measures what radiates).
const RADIUS_SHARE: f64 = 0.15;
/// An interval with more than this share of the distance (the greater of both) to each side is of no use to somebody who
/// places a stand.
const WIDEST_SHARE: f64 = 0.5;
/// Standard deviation that leaves the overall level free, in dB: far more than any change of strength.
const FREE_LEVEL_DB: f64 = 1000.0;
/// The acoustic centre is never taken to be nearer to the source than this, in mm.
const NEAREST_MM: f64 = 5.0;

/// How one microphone was set up at one source, as logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetUp {
    /// Distance from grille to source in mm.
    pub distance_mm: f64,
    /// Depth of the acoustic centre behind the grille in mm.
    pub centre_offset_mm: f64,
    /// Radius of what radiates in mm; 0 = a point.
    pub radius_mm: f64,
    /// Gradient share of the pattern, 0..=1.
    pub gradient_share: f64,
    /// Speed of sound in m/s.
    pub speed_of_sound_m_s: f64,
}

/// Whether the overall level of both placements can be compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelIs {
    /// It follows the player, and perhaps the gain: only the shape tells.
    Free,
    /// A witness heard both, and the gain rose by so many dB from the last placement to this one.
    Known {
        /// Gain of this placement less that of the last, dB.
        gain_change_db: f64,
    },
}

/// How far off the last placement it seems to be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Replaced {
    /// Farther from the source is positive, in mm.
    pub moved_mm: f64,
    /// Lower 95 % bound.
    pub low_mm: f64,
    /// Upper 95 % bound.
    pub high_mm: f64,
    /// True when the level was used too; false when the shape alone tells.
    pub level_used: bool,
}

/// Why it cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "because")]
pub enum CannotTell {
    /// No `distance_mm` of the source is logged.
    NoDistance,
    /// No `pattern` of the microphone is logged.
    NoPattern,
    /// No `radius_mm` of the source is logged: before a point the low end moves ten times as much as before a skin.
    NoSize,
    /// A pressure microphone has no proximity effect, and no witness tells how strongly it was played.
    Omni,
    /// Too few hits at one of the placements.
    TooFewEvents {
        /// Needed at each placement.
        needed: usize,
    },
    /// The interval reaches half of the distance and more to each side.
    TooWide {
        /// Half of the interval, mm; `None`: without bound.
        half_mm: Option<f64>,
    },
}

impl CannotTell {
    /// In few words, lower case.
    pub fn words(self) -> String {
        match self {
            CannotTell::NoDistance => "distance_mm of the source is not logged".into(),
            CannotTell::NoPattern => "its pattern is not logged".into(),
            CannotTell::NoSize => "radius_mm of the source is not logged".into(),
            CannotTell::Omni => "an omni without a witness does not show it".into(),
            CannotTell::TooFewEvents { needed } => format!("{needed} hits at each placement are needed"),
            CannotTell::TooWide { half_mm: Some(half_mm) } => format!("no nearer than ±{half_mm:.0} mm"),
            CannotTell::TooWide { half_mm: None } => "the sound does not show it".into(),
        }
    }
}

impl Replaced {
    /// In one line: `about 12 mm farther (4 to 21)`. Bounds are rounded outwards.
    pub fn words(self) -> String {
        let (low, high) = (self.low_mm.floor(), self.high_mm.ceil());
        let way = |mm: f64| if mm < 0.0 { "nearer" } else { "farther" };
        let shown = self.moved_mm.round();
        let about = if shown == 0.0 {
            "at the same distance".to_string()
        } else {
            format!("about {:.0} mm {}", shown.abs(), way(shown))
        };
        if low < 0.0 && high > 0.0 {
            return format!("{about} ({:.0} mm nearer to {high:.0} mm farther)", -low);
        }
        let (small, great) = if high <= 0.0 { (-high, -low) } else { (low, high) };
        format!("{about} ({small:.0} to {great:.0})")
    }
}

impl SetUp {
    /// From the log.
    ///
    /// # Errors
    /// When the log does not say enough.
    pub fn logged(shootout: &Shootout, source: &str, mic: &str) -> Result<SetUp, CannotTell> {
        let source = shootout.sources.get(source).ok_or(CannotTell::NoDistance)?;
        let logged = shootout.mics.get(mic).ok_or(CannotTell::NoPattern)?;
        Ok(SetUp {
            distance_mm: source.distance_mm.ok_or(CannotTell::NoDistance)?,
            gradient_share: logged.pattern.ok_or(CannotTell::NoPattern)?.gradient_share(),
            radius_mm: source.radius_mm.ok_or(CannotTell::NoSize)?,
            centre_offset_mm: logged.centre_behind_grille_mm(),
            speed_of_sound_m_s: shootout.speed_of_sound_m_s(),
        })
    }
}

/// Fits the change of distance that best explains the difference between two placements of one microphone.
///
/// `pair.reference` holds the takes of the last placement, `pair.against` those of this one; a witness counts where it
/// heard every one of them. The interval holds 95 %: the spread of hits, and the stated assumptions on playing again,
/// on angle and on the logged distance.
///
/// # Errors
/// When it cannot be told.
///
/// # Source
/// Own derivation: docs/methods/replaced.md. Checked against the known changes of the virtual studio.
pub fn replaced(
    pair: &PairTables,
    at: &SetUp,
    level: LevelIs,
    settings: &Settings,
) -> Result<Replaced, CannotTell> {
    let bands: Vec<usize> = (0..pair.bands.len()).filter(|b| pair.supported[*b]).collect();
    let witnessed = [&pair.reference, &pair.against]
        .iter()
        .all(|takes| takes.iter().all(|t| witness_of(t, pair).is_some()))
        && !pair.witness.is_empty();
    let level = if witnessed { level } else { LevelIs::Free };
    if at.gradient_share <= 0.0 && level == LevelIs::Free {
        return Err(CannotTell::Omni);
    }
    let sides = [&pair.reference, &pair.against]
        .map(|takes| takes.iter().map(|t| rows(t, pair, &bands, witnessed)).collect::<Vec<Matrix>>());
    let needed = if pair.playing == Playing::Sustained { FEWEST_BLOCKS } else { FEWEST_EVENTS };
    let n_events = |takes: &[Matrix]| takes.iter().map(Matrix::n_rows).sum::<usize>();
    if sides.iter().any(|takes| n_events(takes) < needed) {
        return Err(CannotTell::TooFewEvents { needed });
    }
    let gain_db = match level {
        LevelIs::Known { gain_change_db } => gain_change_db,
        LevelIs::Free => 0.0,
    };
    let (last, now) = (mean(&sides[0]), mean(&sides[1]));
    let difference: Vec<f64> = now.iter().zip(&last).map(|(n, l)| n - l - gain_db).collect();
    let hz: Vec<f64> = bands.iter().map(|b| pair.bands[*b].centre_hz()).collect();
    let assumed = assumed(&hz, witnessed, level, settings);
    let mut expected = assumed.clone();
    for (i, b) in bands.iter().enumerate() {
        let events: f64 = sides.iter().map(|takes| column_variance(takes, i)).sum();
        let noise = pair.noise_subtraction_sd_db[*b].powi(2);
        expected.set(i, i, expected.at(i, i) + events + noise);
    }
    let whitener = expected.cholesky();
    let centre_mm = (at.distance_mm + at.centre_offset_mm).max(NEAREST_MM);
    let model = |from_mm: f64, radius_mm: f64, u: f64| -> Vec<f64> {
        let change = |hz: &f64| {
            let to_mm = from_mm * u.exp();
            distance_change_db(from_mm, to_mm, *hz, at.gradient_share, radius_mm, at.speed_of_sound_m_s)
        };
        hz.iter().map(change).collect()
    };
    let fit = |from_mm: f64, radius_mm: f64| {
        best(&difference, &whitener, |u| model(from_mm, radius_mm, u), from_mm)
    };
    let u = fit(centre_mm, at.radius_mm)?;

    // Straight-line weights at the best fit: every hit gets a distance of its own by them, and their spread tells.
    let step = 1e-4;
    let slope: Vec<f64> = model(centre_mm, at.radius_mm, u + step)
        .iter()
        .zip(model(centre_mm, at.radius_mm, u - step))
        .map(|(a, b)| (a - b) / (2.0 * step))
        .collect();
    let whitened = forward(&whitener, &slope);
    let information: f64 = whitened.iter().map(|v| v * v).sum();
    if information < 1e-6 {
        return Err(CannotTell::TooWide { half_mm: None });
    }
    let weights: Vec<f64> = backward(&whitener, &whitened).iter().map(|v| v / information).collect();
    let (by_events, df) = event_variance(&sides, &weights, pair.playing);
    let noise: f64 =
        bands.iter().zip(&weights).map(|(b, w)| (w * pair.noise_subtraction_sd_db[*b]).powi(2)).sum();
    let by_assumption = quadratic(&assumed, &weights) + noise;
    let variance = by_events + by_assumption;
    // GUM G.4: what is assumed has infinitely many degrees of freedom.
    let effective_df = if by_events > 0.0 { df * (variance / by_events).powi(2) } else { f64::INFINITY };
    let k = t_quantile(0.5 + settings.confidence / 2.0, effective_df);
    let half = k * variance.sqrt();
    let millimetres = |u: f64| centre_mm * u.exp_m1();

    // What the logged distance, the acoustic centre and the logged size leave open scales the answer.
    let half_of = |one: (f64, f64), other: (f64, f64)| -> f64 {
        match (fit(one.0, one.1), fit(other.0, other.1)) {
            (Ok(x), Ok(y)) => k * (one.0 * x.exp_m1() - other.0 * y.exp_m1()).abs() / 2.0,
            // One end cannot be fitted: the answer may be off by its own size.
            _ => k * millimetres(u).abs(),
        }
    };
    let sd_mm = settings.allowance.centre_offset_sd_mm;
    let nearer_mm = (centre_mm - sd_mm).max(NEAREST_MM);
    let by_centre = half_of((nearer_mm, at.radius_mm), (centre_mm + sd_mm, at.radius_mm));
    let sized = |share: f64| (centre_mm, at.radius_mm * (1.0 + share));
    let by_size = if at.radius_mm > 0.0 { half_of(sized(-RADIUS_SHARE), sized(RADIUS_SHARE)) } else { 0.0 };
    let scale_half = by_centre.hypot(by_size);
    let moved_mm = millimetres(u);
    let low_mm = moved_mm - (moved_mm - millimetres(u - half)).hypot(scale_half);
    let high_mm = moved_mm + (millimetres(u + half) - moved_mm).hypot(scale_half);
    let half_mm = (high_mm - low_mm) / 2.0;
    if !half_mm.is_finite() || half_mm > WIDEST_SHARE * centre_mm.max(centre_mm + moved_mm) {
        return Err(CannotTell::TooWide { half_mm: Some(half_mm).filter(|h| *h < 1e4) });
    }
    Ok(Replaced { moved_mm, low_mm, high_mm, level_used: level != LevelIs::Free })
}

/// The witness's take of the same performance with the same events.
fn witness_of<'a>(take: &Table, pair: &'a PairTables) -> Option<&'a Table> {
    pair.witness.iter().find(|w| w.performance == take.performance && w.n_events() == take.n_events())
}

/// Band levels of every event, supported bands only, less the witness's where it counts.
fn rows(take: &Table, pair: &PairTables, bands: &[usize], witnessed: bool) -> Matrix {
    let m = pair.bands.len();
    let witness = if witnessed { witness_of(take, pair) } else { None };
    let mut out = Matrix::zeros(0, bands.len());
    for event in 0..take.n_events() {
        let at = |t: &Table, b: usize| t.band_db[event * m + b];
        let row: Vec<f64> = bands.iter().map(|b| at(take, *b) - witness.map_or(0.0, |w| at(w, *b))).collect();
        out.push_row(&row);
    }
    out
}

/// Mean over all events of all takes of one placement.
fn mean(takes: &[Matrix]) -> Vec<f64> {
    let n: usize = takes.iter().map(Matrix::n_rows).sum();
    let mut out = vec![0.0; takes.first().map_or(0, Matrix::n_cols)];
    for take in takes {
        let share = take.n_rows() as f64 / n as f64;
        out.iter_mut().zip(take.column_means()).for_each(|(o, v)| *o += share * v);
    }
    out
}

/// Variance of the mean of one column over the events of one placement, as if events were independent: for weights only.
fn column_variance(takes: &[Matrix], column: usize) -> f64 {
    let values: Vec<f64> =
        takes.iter().flat_map(|t| (0..t.n_rows()).map(|i| t.at(i, column)).collect::<Vec<f64>>()).collect();
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0) / n
}

/// Covariance over bands of what is assumed and not seen in the hits, for the difference of two placements.
fn assumed(hz: &[f64], witnessed: bool, level: LevelIs, settings: &Settings) -> Matrix {
    let a = &settings.allowance;
    let m = hz.len();
    let mut out = Matrix::zeros(m, m);
    let octave: Vec<f64> = hz.iter().map(|f| (f / 1000.0).log2()).collect();
    let level_sd_db = match level {
        LevelIs::Free => FREE_LEVEL_DB,
        LevelIs::Known { .. } => a.gain_db,
    };
    for i in 0..m {
        for j in 0..m {
            let apart = octave[i] - octave[j];
            let bell = |length: f64| (-0.5 * (apart / length).powi(2)).exp();
            let mut v = level_sd_db.powi(2)
                + 2.0 * spread_at(hz[i], a) * spread_at(hz[j], a) * bell(a.correlation_octaves)
                + 2.0 * ROOM_DB.powi(2) * bell(a.correlation_octaves);
            if !witnessed {
                v += 2.0 * PASS_TIMBRE_DB.powi(2) * bell(PASS_TIMBRE_OCTAVES);
                v += 2.0 * PASS_TILT_DB.powi(2) * octave[i] * octave[j];
            }
            if i == j {
                v += MODEL_DB.powi(2);
            }
            out.set(i, j, v);
        }
    }
    out
}

#[cfg(test)]
mod tests;
