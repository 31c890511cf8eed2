//! The acoustic centre by the delays: how far sound has travelled, less the logged distance.
//!
//! It is another centre than that of the levels: delays tell where waves of high frequency seem to come from and to be taken up,
//! levels where pressure falls off from.

use super::takes::Reading;
use super::{Placing, ProximityCaution, speed_of_sound_m_s};
use crate::{Contribution, Quantity};
use serde::{Deserialize, Serialize};

/// Absolute zero in °C.
const ZERO_C: f64 = -273.15;
/// Speeds are compared from so many of their standard uncertainties on.
const SURE: f64 = 3.0;

/// What delays say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DelayCentre {
    /// Sum of the offsets of both acoustic centres in mm; `None` where the delay of the equipment is not known.
    pub centre_mm: Option<Quantity>,
    /// Speed of sound by the delays alone in m/s: a check of distances and temperature.
    pub speed_m_s: Quantity,
}

/// From readings with delays; `None` with fewer than three.
pub(super) fn by_delay(
    readings: &[Reading],
    placing: &Placing,
) -> (Option<DelayCentre>, Option<ProximityCaution>) {
    let rows: Vec<(f64, f64)> =
        readings.iter().filter_map(|r| Some((r.distance_mm / 1000.0, r.delay_s?))).collect();
    let n = rows.len() as f64;
    if rows.len() < 3 {
        return (None, None);
    }
    let mean = |f: &dyn Fn(&(f64, f64)) -> f64| rows.iter().map(f).sum::<f64>() / n;
    let (d_mean, t_mean) = (mean(&|r| r.0), mean(&|r| r.1));
    let dd: f64 = rows.iter().map(|r| (r.0 - d_mean).powi(2)).sum();
    let slope = rows.iter().map(|r| (r.0 - d_mean) * (r.1 - t_mean)).sum::<f64>() / dd;
    let left: f64 = rows.iter().map(|r| (r.1 - t_mean - slope * (r.0 - d_mean)).powi(2)).sum();
    let t_standard = (left / (n - 2.0)).sqrt();
    let spread = |from: &str, standard: f64, df: f64| Contribution {
        from: from.into(),
        standard,
        degrees_of_freedom: Some(df),
    };
    let by_delays = 1.0 / slope;
    let speed_m_s = Quantity::new(
        by_delays,
        vec![spread("spread of the delays", by_delays * by_delays * t_standard / dd.sqrt(), n - 2.0)],
    );
    let by_air = speed_of_sound_m_s(placing.temperature_c.value);
    let air_standard = by_air * placing.temperature_c.contribution("").standard
        / (2.0 * (placing.temperature_c.value - ZERO_C));
    let doubt = SURE * air_standard.hypot(speed_m_s.budget[0].standard);
    let caution = ((by_delays - by_air).abs() > doubt)
        .then_some(ProximityCaution::SpeedOfSound { figure: by_delays, limit: by_air });
    let centre_mm = placing.latency_s.map(|latency| {
        let offsets: Vec<f64> =
            rows.iter().map(|(d, t)| 1000.0 * (by_air * (t - latency.value) - d)).collect();
        let mut budget: Vec<Contribution> = Contribution::of_repeats(&offsets)
            .map(|c| Contribution { from: "spread of the delays".into(), ..c })
            .into_iter()
            .collect();
        let latency_part = latency.contribution("delay of the equipment");
        budget.push(Contribution { standard: 1000.0 * by_air * latency_part.standard, ..latency_part });
        budget.push(Contribution::within("zero of the distances", placing.zero_mm));
        budget.push(Contribution {
            from: "temperature".into(),
            standard: 1000.0 * air_standard * (t_mean - latency.value).abs(),
            degrees_of_freedom: None,
        });
        Quantity::new(offsets.iter().sum::<f64>() / n, budget)
    });
    (Some(DelayCentre { centre_mm, speed_m_s }), caution)
}
