//! The effective frequency range: how far out a response stays within so many dB of its level at 1 kHz.

use crate::quantity::{Contribution, Quantity};
use crate::response::{Point, level_at};
use serde::{Deserialize, Serialize};

/// One end of a range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    /// The response falls through the limit at this frequency in Hz.
    At(Quantity),
    /// It does not fall so far up to here, in Hz, where the measurement ends.
    Beyond(f64),
}

/// Where a response stays above a limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EffectiveRange {
    /// The limit against the level at 1 kHz, in dB: −3 or −10.
    pub limit_db: f64,
    /// Lower end.
    pub low: Edge,
    /// Upper end.
    pub high: Edge,
}

/// How far from 1 kHz a response stays above `limit_db` (negative) against its level there. `None` where nothing is known at 1 kHz.
///
/// # Source
/// IEC 60268-4, effective frequency range (clause from memory), with the limit as given.
pub fn effective_range(points: &[Point], limit_db: f64) -> Option<EffectiveRange> {
    let limit = level_at(points, 1000.0)?.value + limit_db;
    let middle = points.partition_point(|p| p.hz < 1000.0);
    let up: Vec<&Point> = points[middle..].iter().collect();
    let down: Vec<&Point> = points[..middle].iter().rev().collect();
    Some(EffectiveRange { limit_db, low: edge(&down, limit)?, high: edge(&up, limit)? })
}

/// Where points, from 1 kHz outwards, first fall below a limit.
fn edge(outwards: &[&Point], limit: f64) -> Option<Edge> {
    let mut last: Option<(&Point, &Quantity)> = None;
    for point in outwards {
        let Some(level) = &point.level_db else { break };
        if let Some((inner, inner_level)) = last.filter(|_| level.value < limit) {
            let share = (inner_level.value - limit) / (inner_level.value - level.value);
            let octaves = (point.hz / inner.hz).ln();
            let hz = inner.hz * (octaves * share).exp();
            // An error in dB moves the crossing by as much as the response takes to fall by it.
            let hz_per_db = (hz * octaves / (level.value - inner_level.value)).abs();
            let budget = level
                .budget
                .iter()
                .map(|part| Contribution { standard: part.standard * hz_per_db, ..part.clone() });
            return Some(Edge::At(Quantity::new(hz, budget.collect())));
        }
        last = Some((point, level));
    }
    last.map(|(point, _)| Edge::Beyond(point.hz))
}
