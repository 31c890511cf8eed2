//! Random curves over frequency: smooth ones of any correlation length, rough ones, with tails heavier than normal.

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A standard normal draw.
pub(crate) fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// A draw between `low` and `high`, all alike.
pub(crate) fn between(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    use rand::Rng;
    let unit = (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
    low + (high - low) * unit
}

/// Factor that makes a normal vector one with tails like Student's t with 5 degrees of freedom, at unit variance.
pub(crate) fn heavy_tail(rng: &mut ChaCha8Rng) -> f64 {
    let chi_square: f64 = (0..5).map(|_| normal(rng).powi(2)).sum();
    (3.0 / chi_square).sqrt()
}

/// A smooth random curve of unit variance over octaves: bells at equally spaced knots with random heights.
#[derive(Debug, Clone)]
pub(crate) struct SmoothField {
    /// For every band the first knot in reach and its weights.
    weights: Vec<(usize, Vec<f64>)>,
    n_knots: usize,
}

impl SmoothField {
    /// `length`: where the correlation has fallen to about 0.6, in octaves.
    pub(crate) fn new(octaves: &[f64], length: f64) -> SmoothField {
        let spacing = length / 1.5;
        let (low, high) = (octaves[0] - 3.0 * spacing, octaves[octaves.len() - 1] + 3.0 * spacing);
        let n_knots = ((high - low) / spacing).ceil() as usize + 1;
        let weights = octaves
            .iter()
            .map(|o| {
                let first = (((o - low) / spacing) as usize).saturating_sub(2);
                let last = (first + 6).min(n_knots);
                // Bells of width length/√2 correlate as a bell of the wanted length.
                let bell = |k: usize| (-((o - low - k as f64 * spacing) / length).powi(2)).exp();
                let raw: Vec<f64> = (first..last).map(bell).collect();
                let norm = raw.iter().map(|w| w * w).sum::<f64>().sqrt();
                (first, raw.iter().map(|w| w / norm).collect())
            })
            .collect();
        SmoothField { weights, n_knots }
    }

    /// One curve.
    pub(crate) fn draw(&self, rng: &mut ChaCha8Rng) -> Vec<f64> {
        let knots: Vec<f64> = (0..self.n_knots).map(|_| normal(rng)).collect();
        self.weights
            .iter()
            .map(|(first, weights)| weights.iter().enumerate().map(|(k, w)| w * knots[first + k]).sum())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::rand_core::SeedableRng;

    #[test]
    fn a_smooth_field_has_unit_variance_and_the_stated_length() {
        let octaves: Vec<f64> = (0..120).map(|i| i as f64 / 12.0).collect();
        let field = SmoothField::new(&octaves, 0.5);
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let (mut squares, mut near) = (0.0, 0.0);
        for _ in 0..4000 {
            let c = field.draw(&mut rng);
            squares += c[60] * c[60] / 4000.0;
            near += c[60] * c[66] / 4000.0;
        }
        // Sampling error of 4000 draws: 2 %; three of them.
        assert!((squares - 1.0).abs() < 0.07, "{squares}");
        assert!((near - 0.6).abs() < 0.1, "{near}");
    }
}
