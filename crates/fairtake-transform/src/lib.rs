//! What computes much: Fourier transforms of real signals, planned once for each length and shared by all threads; and
//! [`widest`], the same code for whatever registers the processor has.
//!
//! A room of its own, because the transforms are generic code that takes a minute to compile: crates that use them through
//! plans are compiled without. Nothing is scaled: forward and back multiplies by the length.

mod widest;

use realfft::RealFftPlanner;
use rustfft::FftPlanner;
use std::collections::HashMap;
use std::f64::consts::TAU;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

pub use realfft::num_complex::Complex;
pub use realfft::{ComplexToReal, RealToComplex};
pub use rustfft::Fft;
pub use widest::{Work, widest};

static SINGLE: LazyLock<Mutex<RealFftPlanner<f32>>> = LazyLock::new(|| Mutex::new(RealFftPlanner::new()));
static DOUBLE: LazyLock<Mutex<RealFftPlanner<f64>>> = LazyLock::new(|| Mutex::new(RealFftPlanner::new()));

/// Forward, of `n` values in single precision.
pub fn forward_single(n: usize) -> Arc<dyn RealToComplex<f32>> {
    SINGLE.lock().unwrap_or_else(PoisonError::into_inner).plan_fft_forward(n)
}

/// Back to `n` values in single precision.
pub fn inverse_single(n: usize) -> Arc<dyn ComplexToReal<f32>> {
    SINGLE.lock().unwrap_or_else(PoisonError::into_inner).plan_fft_inverse(n)
}

/// What the powers of `n` real values in single precision are found with: the transform of n/2 complex values, of which each
/// holds two, and the turns that go with it.
pub struct HalfTransform {
    /// Of n/2 complex values.
    pub plan: Arc<dyn Fft<f32>>,
    /// e^(−j2πk/n) for k = 0..=n/4: takes apart the bins of pairs of neighbours.
    pub turns: Turns,
    /// e^(−jπk/n) for k = 0..=n/2: moves the bins by half of their distance.
    pub half_turns: Turns,
}

/// Points on the unit circle, real and imaginary parts.
pub struct Turns {
    /// Cosines.
    pub re: Vec<f32>,
    /// Sines.
    pub im: Vec<f32>,
}

impl Turns {
    /// e^(−j·angle·k) for so many k from 0 on.
    fn new(angle: f64, n: usize) -> Turns {
        let (im, re) = (0..n)
            .map(|k| {
                let (sin, cos) = (angle * k as f64).sin_cos();
                (-sin as f32, cos as f32)
            })
            .unzip();
        Turns { re, im }
    }

    /// Those for even k.
    fn every_second(&self) -> Turns {
        let [re, im] = [&self.re, &self.im].map(|part| part.iter().copied().step_by(2).collect());
        Turns { re, im }
    }
}

static HALVES: LazyLock<Mutex<HashMap<usize, Arc<HalfTransform>>>> = LazyLock::new(Mutex::default);

/// Of `n` values, a multiple of four.
pub fn half_single(n: usize) -> Arc<HalfTransform> {
    let mut halves = HALVES.lock().unwrap_or_else(PoisonError::into_inner);
    let made = halves.entry(n).or_insert_with(|| {
        let half_turns = Turns::new(0.5 * TAU / n as f64, n / 2 + 1);
        Arc::new(HalfTransform {
            plan: FftPlanner::new().plan_fft_forward(n / 2),
            turns: half_turns.every_second(),
            half_turns,
        })
    });
    Arc::clone(made)
}

/// Forward, of `n` values in double precision.
pub fn forward(n: usize) -> Arc<dyn RealToComplex<f64>> {
    DOUBLE.lock().unwrap_or_else(PoisonError::into_inner).plan_fft_forward(n)
}

/// Back to `n` values in double precision.
pub fn inverse(n: usize) -> Arc<dyn ComplexToReal<f64>> {
    DOUBLE.lock().unwrap_or_else(PoisonError::into_inner).plan_fft_inverse(n)
}

/// The least even length of at least `n`, and of 256, whose transform is fast: a power of two times 4, 5, 6 or 7.
pub fn fast_length(n: usize) -> usize {
    let n = n.max(256);
    let whole = n.next_power_of_two();
    (5..=8).map(|eighths| whole / 8 * eighths).find(|length| *length >= n).unwrap_or(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_fast_and_long_enough() {
        // Exact: eighths of powers of two.
        for (n, length) in
            [(1, 256), (256, 256), (257, 320), (384, 384), (385, 448), (449, 512), (96_000, 98_304)]
        {
            assert_eq!(fast_length(n), length);
        }
    }

    #[test]
    fn forth_and_back_is_the_length_times_the_signal() {
        for n in [256usize, 320, 384, 448] {
            let signal: Vec<f64> = (0..n).map(|i| ((i * i) % 31) as f64 - 15.0).collect();
            let (mut there, mut back) = (forward(n).make_output_vec(), vec![0.0; n]);
            forward(n).process(&mut signal.clone(), &mut there).expect("lengths fit");
            inverse(n).process(&mut there, &mut back).expect("lengths fit");
            // Rounding of f64 in a transform of this length.
            for (x, y) in signal.iter().zip(&back) {
                assert!((x * n as f64 - y).abs() < 1e-9, "{x} {y}");
            }
        }
    }

    #[test]
    fn single_precision_is_the_double_one_rounded() {
        let n = 448;
        let signal: Vec<f64> = (0..n).map(|i| ((i * i) % 31) as f64 - 15.0).collect();
        let (mut exact, mut rounded) = (forward(n).make_output_vec(), forward_single(n).make_output_vec());
        forward(n).process(&mut signal.clone(), &mut exact).expect("lengths fit");
        let mut single: Vec<f32> = signal.iter().map(|x| *x as f32).collect();
        forward_single(n).process(&mut single, &mut rounded).expect("lengths fit");
        // 2⁻²⁴ of the largest value (about 2000), times a few roundings.
        for (e, r) in exact.iter().zip(&rounded) {
            assert!((e.re - f64::from(r.re)).abs() + (e.im - f64::from(r.im)).abs() < 2e-3, "{e} {r}");
        }
        // And back: the length times the signal, to as many roundings of the largest value (448 · 15).
        let mut back = vec![0f32; n];
        inverse_single(n).process(&mut rounded, &mut back).expect("lengths fit");
        for (x, y) in signal.iter().zip(&back) {
            assert!((x * n as f64 - f64::from(*y)).abs() < 7e-3, "{x} {y}");
        }
    }
}
