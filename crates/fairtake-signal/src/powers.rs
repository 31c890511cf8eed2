//! Power per bin of real samples.
//!
//! Two neighbouring samples are taken as one complex value, so that half the transform does; then every pair of bins that
//! mirror each other is taken apart, and only its powers are kept.

use fairtake_transform::{Complex, HalfTransform, Turns, Work, half_single, widest};
use std::sync::Arc;

/// Room for transforms, kept from one to the next, and the powers of the last one.
#[derive(Default)]
pub(crate) struct Powers {
    /// Transform used last, and how many samples it takes.
    half: Option<(usize, Arc<HalfTransform>)>,
    values: Vec<Complex<f32>>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    evens: Vec<f32>,
    powers: Vec<f32>,
}

impl Powers {
    /// Power per bin of samples, a multiple of four of them; both sides of the spectrum counted. In f32: the rounding,
    /// 6·10⁻⁸, averages out over bins. Shape: one bin more than half as many.
    pub(crate) fn of(&mut self, samples: &[f32]) -> &[f32] {
        let half = self.half(samples.len());
        let mut powers = std::mem::take(&mut self.powers);
        self.plain(samples, &half, &mut powers);
        self.powers = powers;
        &self.powers
    }

    /// The same of samples followed by as many zeros.
    ///
    /// The even bins are those of the samples alone. The odd ones lie half a bin higher; of them one half mirrors the other,
    /// so that the first and the second half of the samples make one complex signal, and its bins are every second of them.
    /// Two transforms of a quarter each, which stay in the cache where one of a half does not.
    pub(crate) fn of_padded(&mut self, samples: &[f32]) -> &[f32] {
        let n = samples.len();
        let half = self.half(n);
        let mut evens = std::mem::take(&mut self.evens);
        self.plain(samples, &half, &mut evens);
        self.evens = evens;
        widest(Moved { samples, turns: &half.half_turns, values: &mut self.values });
        half.plan.process_outofplace_with_scratch(&mut self.values, &mut self.bins, &mut self.scratch);
        self.powers.resize(n + 1, 0.0);
        widest(Woven { evens: &self.evens, odds: &self.bins, powers: &mut self.powers });
        &self.powers
    }

    /// What transforms `n` samples.
    fn half(&mut self, n: usize) -> Arc<HalfTransform> {
        if self.half.as_ref().is_none_or(|(of, _)| *of != n) {
            self.half = None;
        }
        let (_, half) = self.half.get_or_insert_with(|| (n, half_single(n)));
        Arc::clone(half)
    }

    fn plain(&mut self, samples: &[f32], half: &HalfTransform, powers: &mut Vec<f32>) {
        let n = half.plan.len();
        self.values.clear();
        self.values.extend(samples.as_chunks::<2>().0.iter().map(|[re, im]| Complex::new(*re, *im)));
        self.bins.resize(n, Complex::default());
        self.scratch.resize(half.plan.get_outofplace_scratch_len(), Complex::default());
        half.plan.process_outofplace_with_scratch(&mut self.values, &mut self.bins, &mut self.scratch);
        powers.resize(n + 1, 0.0);
        widest(Apart { bins: &self.bins, turns: &half.turns, powers });
    }
}

/// First and second half of samples as one signal whose bins lie half a bin higher.
struct Moved<'a> {
    samples: &'a [f32],
    turns: &'a Turns,
    values: &'a mut [Complex<f32>],
}

impl Work for Moved<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        let n = self.values.len();
        let (first, second) = (&self.samples[..n], &self.samples[n..2 * n]);
        let (re, im) = (&self.turns.re[..n], &self.turns.im[..n]);
        for (k, value) in self.values.iter_mut().enumerate() {
            value.re = first[k] * re[k] + second[k] * im[k];
            value.im = first[k] * im[k] - second[k] * re[k];
        }
    }
}

/// Even and odd bins in turn; of the odd ones every second comes from the mirrored half.
struct Woven<'a> {
    evens: &'a [f32],
    odds: &'a [Complex<f32>],
    powers: &'a mut [f32],
}

impl Work for Woven<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        let Woven { evens, odds, powers } = self;
        let (fours, last) = powers.as_chunks_mut::<4>();
        let n = fours.len();
        let (twos, low, high) = (&evens.as_chunks::<2>().0[..n], &odds[..n], &odds[n..2 * n]);
        let power = |bin: Complex<f32>| 2.0 * (bin.re * bin.re + bin.im * bin.im);
        for k in 0..n {
            fours[k] = [twos[k][0], power(low[k]), twos[k][1], power(high[n - 1 - k])];
        }
        last[0] = evens[evens.len() - 1];
    }
}

struct Apart<'a> {
    bins: &'a [Complex<f32>],
    turns: &'a Turns,
    powers: &'a mut [f32],
}

impl Work for Apart<'_> {
    type Out = ();

    #[inline(always)]
    fn done(self) {
        let Apart { bins, turns, powers } = self;
        // The outermost bins are real, and have no mirror; nor has the middle one.
        let (n, middle) = (bins.len(), bins.len() / 2);
        let (sum, difference) = (bins[0].re + bins[0].im, bins[0].re - bins[0].im);
        (powers[0], powers[n]) = (sum * sum, difference * difference);
        (powers[middle], _) = apart(bins[middle], bins[middle], turns.re[middle], turns.im[middle]);
        let m = middle - 1;
        let (below, above) = powers.split_at_mut(middle + 1);
        all_apart(&mut below[1..=m], &mut above[..m], &bins[1..=m], &bins[middle + 1..][..m], turns);
    }
}

/// The bins below the middle with those above it. A function of its own, so that it is known that the two results are not
/// one place.
#[inline(always)]
fn all_apart(
    below: &mut [f32],
    above: &mut [f32],
    low: &[Complex<f32>],
    high: &[Complex<f32>],
    turns: &Turns,
) {
    let m = below.len();
    let (above, low, high) = (&mut above[..m], &low[..m], &high[..m]);
    let (re, im) = (&turns.re[1..=m], &turns.im[1..=m]);
    for k in 0..m {
        (below[k], above[m - 1 - k]) = apart(low[k], high[m - 1 - k], re[k], im[k]);
    }
}

/// Powers of bins k and n − k of the samples, from the same bins of their pairs.
#[inline(always)]
fn apart(z: Complex<f32>, mirror: Complex<f32>, turn_re: f32, turn_im: f32) -> (f32, f32) {
    // Twice the spectra of even and of odd samples: z ± the mirror's conjugate.
    let even = (z.re + mirror.re, z.im - mirror.im);
    let odd = (z.im + mirror.im, mirror.re - z.re);
    let turned = (turn_re * odd.0 - turn_im * odd.1, turn_re * odd.1 + turn_im * odd.0);
    let (lower, upper) = ((even.0 + turned.0, even.1 + turned.1), (even.0 - turned.0, even.1 - turned.1));
    // Twice squared is four; both sides of the spectrum are two.
    (0.5 * (lower.0 * lower.0 + lower.1 * lower.1), 0.5 * (upper.0 * upper.0 + upper.1 * upper.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fast_spectrum_is_the_slow_one() {
        let mut state = 12_345u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f32 / 8_388_608.0 - 1.0
        };
        let mut room = Powers::default();
        for (n, padded) in [(256, false), (320, true), (384, false), (448, true), (256, true), (256, false)] {
            let samples: Vec<f32> = (0..if padded { n / 2 } else { n }).map(|_| next()).collect();
            let fast = if padded { room.of_padded(&samples) } else { room.of(&samples) };
            // Slow twin: the definition of the transform at every bin, in f64. Tolerance: f32 transform of so many points.
            let fast: Vec<f64> = fast.iter().map(|p| f64::from(*p)).collect();
            assert_eq!(fast.len(), n / 2 + 1);
            for (k, f) in fast.into_iter().enumerate() {
                let (mut re, mut im) = (0.0, 0.0);
                for (i, x) in samples.iter().enumerate() {
                    let angle = -std::f64::consts::TAU * (k * i) as f64 / n as f64;
                    re += f64::from(*x) * angle.cos();
                    im += f64::from(*x) * angle.sin();
                }
                let slow = (re * re + im * im) * if k == 0 || k == n / 2 { 1.0 } else { 2.0 };
                assert!((f - slow).abs() < 1e-3 * (1.0 + slow), "{n} {padded}, bin {k}: {f} {slow}");
            }
        }
    }
}
