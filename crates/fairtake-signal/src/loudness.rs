//! K-weighting as a running filter, and gated loudness.

use crate::weighting::{K_HIGH_PASS, K_SHELF};
use fairtake_transform::{Work, widest};

/// So many stretches of the signal are filtered side by side.
const LANES: usize = 4;
/// After so long the filter has forgotten what came before, in seconds: its slowest part, two poles near 38 Hz, has
/// fallen to 10⁻⁹.
const FORGETS_S: f64 = 0.1;

/// One second-order section, direct form I: of all forms the one in which an output waits for the least of the one before
/// it, and in f64 exact enough at every rate.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Section {
    b: [f64; 3],
    a: [f64; 2],
}

/// One value of each of `N` signals.
type Lanes<const N: usize> = [f64; N];

/// What `N` signals leave in the filter: the last two inputs, the last two outputs of the shelf, and the last two of the
/// high-pass.
type Memory<const N: usize> = [Lanes<N>; 6];

/// a·b + c, in one instruction or in two.
#[inline(always)]
fn add<const FUSED: bool, const N: usize>(a: f64, b: &Lanes<N>, c: &Lanes<N>) -> Lanes<N> {
    let mut out = [0.0; N];
    for i in 0..N {
        out[i] = if FUSED { a.mul_add(b[i], c[i]) } else { a * b[i] + c[i] };
    }
    out
}

/// The K-weighting filter for any sampling rate; keeps its state between calls.
#[derive(Debug, Clone, PartialEq)]
pub struct KWeighting {
    rate_hz: f64,
    sections: [Section; 2],
    memory: Memory<1>,
}

impl KWeighting {
    /// The filter for `rate_hz`.
    ///
    /// # Source
    /// ITU-R BS.1770-5, Annex 1: bilinear transform of the prototypes behind Tables 1 and 2; reproduces them at 48 kHz.
    pub fn new(rate_hz: u32) -> KWeighting {
        let rate = f64::from(rate_hz);
        let (f0, q, gain_db) = K_SHELF;
        let k = (std::f64::consts::PI * f0 / rate).tan();
        let vh = 10f64.powf(gain_db / 20.0);
        let vb = vh.powf(0.499_666_774_154_541_6);
        let a0 = 1.0 + k / q + k * k;
        let shelf = Section {
            b: [(vh + vb * k / q + k * k) / a0, 2.0 * (k * k - vh) / a0, (vh - vb * k / q + k * k) / a0],
            a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
        };
        let (f1, q1) = K_HIGH_PASS;
        let k = (std::f64::consts::PI * f1 / rate).tan();
        let a0 = 1.0 + k / q1 + k * k;
        let high_pass =
            Section { b: [1.0, -2.0, 1.0], a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q1 + k * k) / a0] };
        KWeighting { rate_hz: rate, sections: [shelf, high_pass], memory: [[0.0]; 6] }
    }

    /// Energies (sums of squares) after weighting of the next samples, one per stretch of `hop` samples; the last
    /// stretch may be shorter.
    ///
    /// A filter that feeds back waits for itself. Long input is therefore cut into four parts that are filtered side by side;
    /// all but the first start early, by the time in which the filter forgets.
    pub fn energies(&mut self, samples: &[f32], hop: usize) -> Vec<f64> {
        let n_hops = samples.len() / hop;
        let early = (FORGETS_S * self.rate_hz / hop as f64).ceil() as usize;
        let mut out = Vec::with_capacity(n_hops + 1);
        // Worth it from where the early starts are a small part of the work.
        let long = n_hops.saturating_sub(early) / LANES;
        let mut done = 0;
        if long > early {
            let starts: [usize; LANES] = std::array::from_fn(|i| i * long * hop);
            // The first part goes on from what came before.
            let mut memory: Memory<LANES> = [[0.0; LANES]; 6];
            memory.iter_mut().zip(&self.memory).for_each(|(all, one)| all[0] = one[0]);
            let mut energies: [Vec<f64>; LANES] = std::array::from_fn(|_| Vec::with_capacity(long + early));
            for k in 0..long + early {
                let parts = starts.map(|start| &samples[start + k * hop..start + (k + 1) * hop]);
                let sums = self.energy_of(&mut memory, parts);
                energies.iter_mut().zip(sums).for_each(|(e, sum)| e.push(sum));
            }
            out.extend(&energies[0]);
            energies[1..].iter().for_each(|e| out.extend(&e[early..]));
            self.memory.iter_mut().zip(&memory).for_each(|(one, all)| one[0] = all[LANES - 1]);
            done = (LANES * long + early) * hop;
        }
        for part in samples[done..].chunks(hop) {
            let mut memory = self.memory;
            let [sum] = self.energy_of(&mut memory, [part]);
            self.memory = memory;
            out.push(sum);
        }
        out
    }

    /// Energies of signals of one length.
    fn energy_of<const N: usize>(&self, memory: &mut Memory<N>, signals: [&[f32]; N]) -> Lanes<N> {
        widest(Filtering { sections: self.sections, memory, signals })
    }
}

struct Filtering<'a, const N: usize> {
    sections: [Section; 2],
    memory: &'a mut Memory<N>,
    signals: [&'a [f32]; N],
}

impl<const N: usize> Work for Filtering<'_, N> {
    type Out = Lanes<N>;

    #[inline(always)]
    fn done(self) -> Lanes<N> {
        self.filtered::<false>()
    }

    #[inline(always)]
    fn done_fused(self) -> Lanes<N> {
        self.filtered::<true>()
    }
}

impl<const N: usize> Filtering<'_, N> {
    #[inline(always)]
    fn filtered<const FUSED: bool>(self) -> Lanes<N> {
        // Local copies stay in registers.
        let [Section { b: [b0, b1, b2], a: [a1, a2] }, Section { a: [c1, c2], .. }] = self.sections;
        let ([mut x1, mut x2, mut y1, mut y2, mut z1, mut z2], mut sums) = (*self.memory, [0.0; N]);
        let n = self.signals[0].len();
        let signals = self.signals.map(|s| &s[..n]);
        #[allow(clippy::needless_range_loop, reason = "several signals are read at one place")]
        for k in 0..n {
            let (mut x, mut second) = ([0.0; N], [0.0; N]);
            for i in 0..N {
                x[i] = f64::from(signals[i][k]);
            }
            // What the last output goes into comes last.
            let heard =
                add::<FUSED, N>(b2, &x2, &add::<FUSED, N>(b1, &x1, &add::<FUSED, N>(b0, &x, &[0.0; N])));
            let y = add::<FUSED, N>(-a1, &y1, &add::<FUSED, N>(-a2, &y2, &heard));
            for i in 0..N {
                second[i] = (y[i] - y1[i]) + (y2[i] - y1[i]);
            }
            let z = add::<FUSED, N>(-c1, &z1, &add::<FUSED, N>(-c2, &z2, &second));
            for i in 0..N {
                sums[i] = if FUSED { z[i].mul_add(z[i], sums[i]) } else { sums[i] + z[i] * z[i] };
            }
            (x2, x1, y2, y1, z2, z1) = (x1, x, y1, y, z1, z);
        }
        *self.memory = [x1, x2, y1, y2, z1, z2];
        sums
    }
}

/// Loudness of a mean square after K-weighting, in LUFS; −∞ has none.
pub fn loudness(mean_square: f64) -> Option<f64> {
    crate::units::power_db(mean_square).map(|db| db - 0.691)
}

/// Gated programme loudness from mean squares of consecutive 100 ms stretches.
///
/// # Source
/// ITU-R BS.1770-5, Annex 1: 400 ms blocks, 75 % overlap, gates at −70 LUFS and −10 LU. `None` when nothing passes.
pub fn gated_loudness(tenths: &[f64]) -> Option<f64> {
    let blocks: Vec<f64> = tenths.windows(4).map(|w| w.iter().sum::<f64>() / 4.0).collect();
    let mean_above = |gate: f64| {
        let kept: Vec<f64> =
            blocks.iter().copied().filter(|b| loudness(*b).is_some_and(|l| l > gate)).collect();
        (!kept.is_empty()).then(|| kept.iter().sum::<f64>() / kept.len() as f64)
    };
    let relative = loudness(mean_above(-70.0)?)? - 10.0;
    loudness(mean_above(relative.max(-70.0))?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_filter_at_48_khz_has_the_coefficients_of_the_recommendation() {
        let k = KWeighting::new(48_000);
        // Reference: ITU-R BS.1770-5, Annex 1, Tables 1 and 2 (reference/03_bs1770.toml). Rounding of the derivation.
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-8, "{a} {b}");
        near(k.sections[0].b[0], 1.535_124_859_586_97);
        near(k.sections[0].b[1], -2.691_696_189_406_38);
        near(k.sections[0].b[2], 1.198_392_810_852_85);
        near(k.sections[0].a[0], -1.690_659_293_182_41);
        near(k.sections[0].a[1], 0.732_480_774_215_85);
        near(k.sections[1].a[0], -1.990_047_454_833_98);
        near(k.sections[1].a[1], 0.990_072_250_366_21);
    }

    #[test]
    fn side_by_side_is_one_after_the_other() {
        for rate in [8_000u32, 48_000, 192_000] {
            let hop = rate as usize / 400;
            let mut state = 5u64;
            // Loud at first, 80 dB quieter later: what a part that starts early has not heard is the loud one.
            let samples: Vec<f32> = (0..1111 * hop + 7)
                .map(|i| {
                    state =
                        state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    let x = (state >> 40) as f32 / 8_388_608.0 - 1.0;
                    if i < 300 * hop { x } else { 1e-4 * x }
                })
                .collect();
            let (mut fast, mut slow) = (KWeighting::new(rate), KWeighting::new(rate));
            let together: Vec<f64> = samples.chunks(512 * hop).flat_map(|c| fast.energies(c, hop)).collect();
            let one_by_one: Vec<f64> = samples.chunks(hop).flat_map(|c| slow.energies(c, hop)).collect();
            assert_eq!(together.len(), 1112);
            for (t, o) in together.iter().zip(&one_by_one) {
                // What is not yet forgotten, 1e-9 of the loud part, is 1e-5 of the quiet one; once, where a part begins.
                assert!((t / o - 1.0).abs() < 1e-5, "{rate}: {t} {o}");
            }
        }
    }

    fn sine_tenths(rate: u32, hz: f64, peak_dbfs: f64, seconds: f64) -> Vec<f64> {
        let mut filter = KWeighting::new(rate);
        let peak = 10f64.powf(peak_dbfs / 20.0);
        let n = (f64::from(rate) * seconds) as usize;
        let samples: Vec<f32> = (0..n)
            .map(|i| (peak * (2.0 * std::f64::consts::PI * hz * i as f64 / f64::from(rate)).sin()) as f32)
            .collect();
        let tenth = rate as usize / 10;
        filter.energies(&samples, tenth).iter().map(|e| e / tenth as f64).collect()
    }

    #[test]
    fn a_sine_reads_three_below_its_peak_in_one_channel_at_any_rate() {
        for rate in [44_100, 48_000, 96_000, 192_000] {
            let l = gated_loudness(&sine_tenths(rate, 997.0, -20.0, 5.0)).expect("loud enough");
            // BS.1770-5: one channel of 997 Hz at −20 dBFS reads −23.01 at 48 kHz. At other rates the bilinear transform bends
            // the same prototype less or more: up to 0.03 dB, well inside the ±0.1 LU of EBU Tech 3341.
            let tolerance = if rate == 48_000 { 0.005 } else { 0.035 };
            assert!((l + 23.01).abs() < tolerance, "{rate}: {l}");
        }
    }

    #[test]
    fn quiet_stretches_do_not_count() {
        // EBU Tech 3341 case 3 in one channel: 10 s at −36, 60 s at −23, 10 s at −36 dBFS peak; two channels read −23.0,
        // one 3.01 less. Tolerance ±0.1 LU as there.
        let mut tenths = sine_tenths(48_000, 1000.0, -36.0, 10.0);
        tenths.extend(sine_tenths(48_000, 1000.0, -23.0, 60.0));
        tenths.extend(sine_tenths(48_000, 1000.0, -36.0, 10.0));
        let l = gated_loudness(&tenths).expect("loud enough");
        assert!((l + 26.01).abs() < 0.1, "{l}");
    }

    #[test]
    fn silence_has_no_loudness() {
        assert_eq!(gated_loudness(&[0.0; 100]), None);
    }
}
