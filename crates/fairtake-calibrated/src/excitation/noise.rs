//! Noise of a seed.

use super::form::{Form, Kind};
use fairtake_signal::fir::{to_frequency, to_time};
use fairtake_transform::fast_length;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// Flanks of the band, in octaves, inside its edges.
const FLANK_OCTAVES: f64 = 1.0 / 6.0;

/// Normal noise within the band, of peak amplitude 1, `n` samples: of equal power per octave if pink.
pub(super) fn noise(form: &Form, n: usize) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(form.seed);
    let whole = fast_length(n);
    let white = (0..whole).map(|_| StandardNormal.sample(&mut rng));
    let mut spectrum = to_frequency(white, whole);
    for (k, bin) in spectrum.iter_mut().enumerate() {
        let hz = k as f64 * f64::from(form.rate_hz) / whole as f64;
        *bin *= flank((hz / form.from_hz).log2()) * flank((form.to_hz / hz).log2());
        if form.kind == Kind::PinkNoise && hz > 0.0 {
            *bin /= hz.sqrt();
        }
    }
    let mut samples = to_time(spectrum, whole);
    samples.truncate(n);
    samples
}

/// From 0 at an edge to 1 inside of it.
fn flank(octaves_inside: f64) -> f64 {
    let share = (octaves_inside / FLANK_OCTAVES).clamp(0.0, 1.0);
    0.5 - 0.5 * (std::f64::consts::PI * share).cos()
}
