//! A measured value with its uncertainty budget.

use fairtake_stats::student::t_factor;
use serde::{Deserialize, Serialize};

/// Confidence of every interval here.
const CONFIDENCE: f64 = 0.95;

/// One contribution to an uncertainty: how much, and how well that is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// What it comes from, in plain words ("repeats", "calibrator").
    pub from: String,
    /// Standard uncertainty in the unit of the value, not negative.
    pub standard: f64,
    /// Degrees of freedom of `standard`; `None`: taken as known exactly, as a figure that a maker states.
    pub degrees_of_freedom: Option<f64>,
}

/// Settings-up from which on their spread is taken; fewer say too little of it.
pub const REPEATED_OFTEN: usize = 3;
/// What a setting-up may change, in dB either way, where there are fewer: of a level, and of each point of a shape. Common practice, no source.
pub(crate) const REPEAT_DB: f64 = 0.2;

impl Contribution {
    /// The spread of repeats: the standard uncertainty of their mean. `None` with fewer than two.
    pub fn of_repeats(values: &[f64]) -> Option<Contribution> {
        let (_, variance) = mean_and_variance(values)?;
        let n = values.len() as f64;
        Some(Contribution {
            from: "repeats".into(),
            standard: (variance / n).sqrt(),
            degrees_of_freedom: Some(n - 1.0),
        })
    }

    /// What settings-up leave unsure of the mean of their levels in dB: their spread, or what is assumed where there are fewer than
    /// [`REPEATED_OFTEN`].
    pub(crate) fn of_settings_up(from: &str, levels_db: &[f64]) -> Contribution {
        match Contribution::of_repeats(levels_db) {
            Some(repeats) if levels_db.len() >= REPEATED_OFTEN => {
                Contribution { from: from.into(), ..repeats }
            }
            _ => {
                let half = REPEAT_DB / (levels_db.len() as f64).sqrt();
                Contribution::within(&format!("{from} (assumed)"), half)
            }
        }
    }

    /// What is only known to lie within ±`half` of the stated value, every place in it as likely.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 4.3.7: `half`/√3.
    pub fn within(from: &str, half: f64) -> Contribution {
        Contribution { from: from.into(), standard: half / 3.0_f64.sqrt(), degrees_of_freedom: None }
    }

    /// What is stated as an expanded uncertainty with a coverage factor, as certificates do.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 4.3.3.
    pub fn expanded(from: &str, half: f64, coverage_factor: f64) -> Contribution {
        Contribution { from: from.into(), standard: half / coverage_factor, degrees_of_freedom: None }
    }
}

/// A measured value with its 95 % uncertainty and what that is made of. Contributions are taken as independent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// The value, in the unit that its place states.
    pub value: f64,
    /// Half width of the 95 % interval around it; `None`: not known (a single reading, say).
    pub half: Option<f64>,
    /// What the uncertainty is made of, in the order in which it was counted.
    pub budget: Vec<Contribution>,
}

impl Quantity {
    /// A value whose uncertainty is not known.
    pub fn of_unknown_uncertainty(value: f64) -> Quantity {
        Quantity { value, half: None, budget: Vec::new() }
    }

    /// A value with its budget. An empty budget leaves the uncertainty unknown.
    ///
    /// # Source
    /// JCGM 100:2008 (GUM), 5.1.2 (root of the summed squares) and G.4.1 (effective degrees of freedom).
    pub fn new(value: f64, budget: Vec<Contribution>) -> Quantity {
        let half = half_width(&budget, CONFIDENCE);
        Quantity { value, half, budget }
    }

    /// Half width of the interval that holds with another confidence; `None`: not known.
    pub(crate) fn half_at(&self, confidence: f64) -> Option<f64> {
        self.half.and_then(|_| half_width(&self.budget, confidence))
    }
}

/// Mean and variance (n − 1) of values; `None` with fewer than two.
pub(crate) fn mean_and_variance(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    Some((mean, values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0)))
}

/// The factor of a two-sided normal interval of that confidence.
pub(crate) fn normal_95() -> f64 {
    t_factor(CONFIDENCE, f64::INFINITY)
}

/// Half width by a budget; `None` for an empty one.
fn half_width(budget: &[Contribution], confidence: f64) -> Option<f64> {
    let variance: f64 = budget.iter().map(|part| part.standard.powi(2)).sum();
    let doubt: f64 =
        budget.iter().filter_map(|part| part.degrees_of_freedom.map(|df| part.standard.powi(4) / df)).sum();
    let factor = match (variance, doubt) {
        (0.0, _) => 0.0,
        (_, 0.0) => t_factor(confidence, f64::INFINITY),
        _ => t_factor(confidence, variance * variance / doubt),
    };
    (!budget.is_empty()).then(|| factor * variance.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GUM, H.1.6 and G.4.1: the end-gauge example. Standard uncertainties in nm and their degrees of freedom as printed
    /// there; printed results: u_c = 32 nm, ν_eff = 16 (and U_99 = 93 nm, which is another confidence). From memory.
    #[test]
    fn the_budget_of_the_guides_end_gauge() {
        let part =
            |standard, df| Contribution { from: String::new(), standard, degrees_of_freedom: Some(df) };
        let quantity =
            Quantity::new(0.0, vec![part(25.0, 18.0), part(9.7, 25.6), part(2.9, 50.0), part(16.6, 2.0)]);
        // t of .95 and 16.7 degrees of freedom is 2.113 (statrs agrees with the table of Annex G between 16: 2.12 and 17: 2.11).
        let half = quantity.half.expect("a budget gives an interval");
        assert!((half / 2.113 - 31.7).abs() < 0.2, "{half}");
    }

    #[test]
    fn known_parts_alone_take_the_normal_factor() {
        let quantity = Quantity::new(1.0, vec![Contribution::within("scale", 3.0_f64.sqrt())]);
        assert!((quantity.half.expect("known") - 1.959_964).abs() < 1e-5);
    }

    #[test]
    fn more_confidence_is_wider() {
        let quantity = Quantity::new(1.0, vec![Contribution::within("scale", 3.0_f64.sqrt())]);
        // Tables of the normal distribution: 2.575829 for 99 %.
        assert!((quantity.half_at(0.99).expect("known") - 2.575_829).abs() < 1e-5);
        assert_eq!(quantity.half_at(0.95), quantity.half);
        assert_eq!(Quantity::of_unknown_uncertainty(1.0).half_at(0.99), None);
    }

    #[test]
    fn one_reading_has_no_spread() {
        assert_eq!(Contribution::of_repeats(&[1.0]), None);
        assert_eq!(Quantity::new(1.0, Vec::new()).half, None);
    }
}
