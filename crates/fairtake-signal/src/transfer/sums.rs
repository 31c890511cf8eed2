//! Auto and cross spectra summed over stretches.

use super::wide;
use fairtake_transform::{Complex, Work, widest};

/// Sums over stretches, per bin: energies of both channels, and the cross spectrum conj(A)·B.
#[derive(Clone)]
pub(super) struct Sums {
    pub aa: Vec<f64>,
    pub bb: Vec<f64>,
    pub ab: Vec<Complex<f64>>,
}

impl Sums {
    pub(super) fn new(n_bins: usize) -> Sums {
        Sums { aa: vec![0.0; n_bins], bb: vec![0.0; n_bins], ab: vec![Complex::default(); n_bins] }
    }

    /// Adds one stretch; its own cross spectrum is written into `cross`.
    pub(super) fn add(&mut self, spectra: &[Vec<Complex<f32>>; 2], cross: &mut [Complex<f32>]) {
        widest(Added { sums: self, spectra, cross });
    }

    /// Both added.
    pub(super) fn with(&self, other: &Sums) -> Sums {
        fn add<T: Copy + std::ops::Add<Output = T>>(x: &[T], y: &[T]) -> Vec<T> {
            x.iter().zip(y).map(|(x, y)| *x + *y).collect()
        }
        Sums { aa: add(&self.aa, &other.aa), bb: add(&self.bb, &other.bb), ab: add(&self.ab, &other.ab) }
    }

    /// Magnitude-squared coherence per bin as it comes out: of strangers 1/n in the mean of n stretches.
    pub(super) fn raw_coherence(&self) -> Vec<f64> {
        let of_bin = |k: usize| self.ab[k].norm_sqr() / (self.aa[k] * self.bb[k]).max(f64::MIN_POSITIVE);
        (0..self.ab.len()).map(of_bin).collect()
    }

    /// Energy of B − H·A, and of B, over all stretches and bins.
    pub(super) fn left_by(&self, filter: &[Complex<f64>]) -> (f64, f64) {
        let left = (0..filter.len()).map(|k| {
            let (h, b) = (filter[k], self.bb[k]);
            // Rounding can take it below nothing.
            (b + h.norm_sqr() * self.aa[k] - 2.0 * (h.conj() * self.ab[k]).re).max(0.0)
        });
        (left.sum(), self.bb.iter().sum())
    }
}

/// One stretch more in the sums.
struct Added<'a> {
    sums: &'a mut Sums,
    spectra: &'a [Vec<Complex<f32>>; 2],
    cross: &'a mut [Complex<f32>],
}

impl Work for Added<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        let [a, b] = self.spectra;
        let sums = self.sums.aa.iter_mut().zip(&mut self.sums.bb).zip(&mut self.sums.ab);
        for ((((aa, bb), ab), cross), (a, b)) in sums.zip(self.cross).zip(a.iter().zip(b)) {
            let (a, b) = (wide(a), wide(b));
            *aa += a.norm_sqr();
            *bb += b.norm_sqr();
            let own = a.conj() * b;
            *ab += own;
            *cross = Complex::new(own.re as f32, own.im as f32);
        }
    }
}

/// Number of bins that [`sixth_octave`] takes the mean of at a bin, but for those beyond the last.
pub(super) fn around(bin: usize) -> f64 {
    let step = (1.0f64 / 12.0).exp2();
    (bin as f64 * step).ceil() + 1.0 - (bin as f64 / step).floor()
}

/// Means over a twelfth of an octave to each side.
pub(super) fn sixth_octave(energy: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0];
    energy.iter().for_each(|e| sums.push(sums[sums.len() - 1] + e));
    let step = (1.0f64 / 12.0).exp2();
    (0..energy.len())
        .map(|k| {
            let from = ((k as f64 / step) as usize).min(k);
            let to = ((k as f64 * step).ceil() as usize + 1).min(energy.len());
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}
