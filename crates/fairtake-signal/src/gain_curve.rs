//! A gain over frequency that is known in some bands: those gains there, 0 dB elsewhere, with smooth edges.

/// Beyond what is known the curve returns to 0 dB within this many octaves.
const EDGE_OCTAVES: f64 = 1.0 / 6.0;

/// A gain over frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct GainCurve {
    /// Low to high; at least one.
    runs: Vec<Run>,
}

/// Neighbouring bands that are known.
#[derive(Debug, Clone, PartialEq)]
struct Run {
    /// Octaves re 1 Hz of the lowest band's lower edge and the highest band's upper edge.
    span: [f64; 2],
    /// Octaves re 1 Hz and dB at the middle of each band.
    points: Vec<(f64, f64)>,
}

impl GainCurve {
    /// The curve through the gains of bands, low to high: lower and upper edge in Hz, and the gain in dB at its geometric
    /// middle where it is known. `None` where none is.
    pub fn new(bands: impl IntoIterator<Item = (f64, f64, Option<f64>)>) -> Option<GainCurve> {
        let mut runs: Vec<Run> = Vec::new();
        let mut goes_on = false;
        for (from_hz, to_hz, db) in bands {
            let middle = (from_hz * to_hz).sqrt().log2();
            match (db, runs.last_mut()) {
                (Some(db), Some(run)) if goes_on => {
                    run.span[1] = to_hz.log2();
                    run.points.push((middle, db));
                }
                (Some(db), _) => {
                    runs.push(Run { span: [from_hz.log2(), to_hz.log2()], points: vec![(middle, db)] });
                }
                (None, _) => {}
            }
            goes_on = db.is_some();
        }
        (!runs.is_empty()).then_some(GainCurve { runs })
    }

    /// Gain in dB at a frequency in Hz: straight between the middles of bands over the logarithm of frequency.
    pub fn db(&self, hz: f64) -> f64 {
        if hz <= 0.0 {
            return 0.0;
        }
        let octaves = hz.log2();
        let after = self.runs.partition_point(|r| r.span[0] <= octaves);
        let below = after.checked_sub(1).map(|i| &self.runs[i]);
        if let Some(run) = below.filter(|r| octaves <= r.span[1]) {
            return run.db(octaves);
        }
        let above = self.runs.get(after);
        // A narrow gap is bridged: each side has returned to 0 dB where the other begins.
        let gap = below.zip(above).map_or(f64::INFINITY, |(b, a)| a.span[0] - b.span[1]);
        let edge = EDGE_OCTAVES.min(gap);
        let left = below.map_or(0.0, |r| r.db(r.span[1]) * returning(octaves - r.span[1], edge));
        left + above.map_or(0.0, |r| r.db(r.span[0]) * returning(r.span[0] - octaves, edge))
    }
}

impl Run {
    fn db(&self, octaves: f64) -> f64 {
        let after = self.points.partition_point(|(at, _)| *at <= octaves);
        let Some(above) = self.points.get(after) else { return self.points[self.points.len() - 1].1 };
        let Some(below) = after.checked_sub(1).map(|i| self.points[i]) else { return above.1 };
        below.1 + (above.1 - below.1) * (octaves - below.0) / (above.0 - below.0)
    }
}

/// From 1 at the edge to 0 beyond it.
fn returning(beyond: f64, edge: f64) -> f64 {
    if beyond >= edge { 0.0 } else { 0.5 + 0.5 * (std::f64::consts::PI * beyond / edge).cos() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_goes_through_what_is_known_and_returns_beyond() {
        let bands = [
            (100.0, 200.0, Some(2.0)),
            (200.0, 400.0, Some(4.0)),
            (400.0, 800.0, None),
            (800.0, 1600.0, Some(-1.0)),
        ];
        let curve = GainCurve::new(bands).expect("some are known");
        let middle = |from: f64, to: f64| curve.db((from * to).sqrt());
        assert!((middle(100.0, 200.0) - 2.0).abs() < 1e-12 && (middle(200.0, 400.0) - 4.0).abs() < 1e-12);
        assert!((curve.db(200.0) - 3.0).abs() < 1e-12, "straight between");
        assert_eq!((middle(400.0, 800.0), curve.db(0.0), curve.db(50.0)), (0.0, 0.0, 0.0));
        assert!(GainCurve::new([(100.0, 200.0, None)]).is_none());
    }
}
