//! Was it played alike for both microphones? Only a witness that nobody moved can tell.

use crate::wording::signed;
use crate::{Take, TakeMeasure};

/// A difference counts from this many of its standard errors on: chance exceeds them in one comparison of 300.
const STANDARD_ERRORS: f64 = 3.0;
/// Fewer events than this tell nothing of spread or drift.
const FEWEST_EVENTS: usize = 4;

/// Differences in playing, *against minus reference*, by the witness's loudness of every event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Strength {
    /// Of the standard deviation within a take, in dB.
    spread_db: f64,
    /// Of the rise from start to end of a take, in dB.
    drift_db: f64,
    /// The greater of both in size, of those that chance does not explain; else 0.
    counted_db: f64,
}

impl Strength {
    pub(super) fn figure_db(self) -> f64 {
        self.counted_db
    }

    pub(super) fn text(self) -> String {
        format!(
            "by the witness, strength of playing differs by {} dB in spread and {} dB in drift{}",
            signed(self.spread_db),
            signed(self.drift_db),
            if self.counted_db == 0.0 { ", no more than chance" } else { "" }
        )
    }
}

/// `None` without a witness beside enough events of both.
pub(super) fn differs(
    a: &[(&Take, &TakeMeasure)],
    b: &[(&Take, &TakeMeasure)],
    witness: &[(&Take, &TakeMeasure)],
) -> Option<Strength> {
    let of = |takes: &[(&Take, &TakeMeasure)]| {
        let heard: Vec<Vec<f64>> = witness
            .iter()
            .filter(|(w, _)| takes.iter().any(|(t, _)| t.performance == w.performance))
            .map(|(_, m)| m.events.iter().filter(|e| e.left_out.is_none()).map(|e| e.loudness_db).collect())
            .filter(|v: &Vec<f64>| v.len() >= FEWEST_EVENTS)
            .collect();
        Playing::of(&heard)
    };
    let (a, b) = (of(a)?, of(b)?);
    let (spread_db, drift_db) = (b.spread_db - a.spread_db, b.drift_db - a.drift_db);
    let counted = |d: f64, x: f64, y: f64| if d.abs() > STANDARD_ERRORS * x.hypot(y) { d.abs() } else { 0.0 };
    let spread = counted(spread_db, a.spread_se_db, b.spread_se_db);
    let drift = counted(drift_db, a.drift_se_db, b.drift_se_db);
    Some(Strength { spread_db, drift_db, counted_db: spread.max(drift) })
}

/// How one microphone's takes were played.
struct Playing {
    spread_db: f64,
    spread_se_db: f64,
    drift_db: f64,
    drift_se_db: f64,
}

impl Playing {
    /// A straight line through every take: its mean rise, and what is left around it.
    fn of(takes: &[Vec<f64>]) -> Option<Playing> {
        let n_takes = takes.len() as f64;
        let (mut rise, mut squares, mut dof, mut rise_factor) = (0.0, 0.0, 0.0, 0.0);
        for levels in takes {
            let n = levels.len() as f64;
            let mean = levels.iter().sum::<f64>() / n;
            let at = |i: usize| i as f64 - (n - 1.0) / 2.0;
            // Sum of squared distances of 0..n from their middle.
            let sxx = n * (n * n - 1.0) / 12.0;
            let slope = levels.iter().enumerate().map(|(i, v)| at(i) * (v - mean)).sum::<f64>() / sxx;
            squares +=
                levels.iter().enumerate().map(|(i, v)| (v - mean - slope * at(i)).powi(2)).sum::<f64>();
            dof += n - 2.0;
            rise += slope * (n - 1.0) / n_takes;
            rise_factor += (n - 1.0).powi(2) / sxx / (n_takes * n_takes);
        }
        (dof > 0.0).then(|| {
            let spread_db = (squares / dof).sqrt();
            Playing {
                spread_db,
                // Normal law: a standard deviation has a standard error of s/√(2·dof).
                spread_se_db: spread_db / (2.0 * dof).sqrt(),
                drift_db: rise,
                drift_se_db: spread_db * rise_factor.sqrt(),
            }
        })
    }
}
