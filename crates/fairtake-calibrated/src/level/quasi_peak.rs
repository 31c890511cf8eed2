//! BS.468: the weighting network as a filter in time, and the quasi-peak meter behind it.

use fairtake_signal::fir::{filtered, to_time};
use fairtake_signal::units::db_to_power;
use fairtake_transform::Complex;

/// Length of the filter in s: its slowest pole dies away by 100 dB within.
const FILTER_S: f64 = 0.04;
/// Share of the filter that comes before the impulse: what the end of the range at half the sampling rate rings back.
const BEFORE_SHARE: usize = 8;
/// What makes the network's formula 0 dB at 1 kHz, in dB (computed from it).
const NETWORK_GAIN_DB: f64 = 18.238_675;

/// Time constants of the two peak rectifiers in tandem, in s: charge and discharge of the first, of the second.
///
/// Fitted to the eleven bursts of `reference/04_bs468_bursts.csv`, through the weighting network, each deviation as a share of
/// its tolerance (`outside/levels.py` reads the bursts by a meter of its own, and with each constant of the first rectifier a tenth
/// more or less: worse each time). The largest is 0.18 of its tolerance, at the fastest
/// train; of the second rectifier the bursts fix little more than its sum of rates, 1/0.141 s.
const CHARGE_DISCHARGE_S: [[f64; 2]; 2] = [[0.001_474, 0.294], [0.234, 0.353]];

/// The weighting network's complex gain.
///
/// # Source
/// ITU-R BS.468-4, network of Fig. 1 as a rational function; held against Table 1 in `reference/04_bs468_weighting.csv`.
fn network(f: f64) -> Complex<f64> {
    let h1 = -4.737_338_981_378_384e-24 * f.powi(6) + 2.043_828_333_606_125e-15 * f.powi(4)
        - 1.363_894_795_463_638e-7 * f * f
        + 1.0;
    let h2 = 1.306_612_257_412_824e-19 * f.powi(5) - 2.118_150_887_518_656e-11 * f.powi(3)
        + 5.559_488_023_498_642e-4 * f;
    let gain = 1.246_332_637_532_143e-4 * f * db_to_power(NETWORK_GAIN_DB).sqrt();
    Complex::new(0.0, gain) / Complex::new(h1, h2)
}

/// Impulse response of the weighting network at a sampling rate, with a few milliseconds before the impulse.
pub fn bs468_filter(rate_hz: u32) -> Vec<f64> {
    let n = ((FILTER_S * f64::from(rate_hz)) as usize).next_power_of_two();
    let bins = (0..=n / 2).map(|k| {
        let gain = network(k as f64 * f64::from(rate_hz) / n as f64);
        // Real at half the sampling rate, as any real filter's.
        if k == n / 2 { Complex::new(gain.re, 0.0) } else { gain }
    });
    let mut impulse = to_time(bins.collect(), n);
    impulse.rotate_right(n / BEFORE_SHARE);
    impulse
}

/// Samples through the weighting network, 0 dB at 1 kHz.
pub fn bs468_weighted(samples: &[f32], filter: &[f64]) -> Vec<f64> {
    // In pieces, so that room does not grow with the take; each begins with what the filter remembers.
    let (step, memory) = (16 * filter.len(), filter.len());
    let mut out = Vec::with_capacity(samples.len());
    for start in (0..samples.len()).step_by(step) {
        let from = start.saturating_sub(memory);
        let piece = &samples[from..samples.len().min(start + step)];
        out.extend_from_slice(&filtered(piece, filter)[start - from..]);
    }
    out
}

/// The meter: a full-wave rectifier and two peak rectifiers in tandem. A steady sine reads its RMS.
///
/// # Source
/// ITU-R BS.468-4, clause 2 (from memory): quasi-peak indication, defined by its readings of tone bursts.
#[derive(Debug, Clone)]
pub struct QuasiPeak {
    /// Per sample: charge and discharge of the first, of the second.
    rates: [[f64; 2]; 2],
    held: [f64; 2],
    scale: f64,
}

impl QuasiPeak {
    /// An empty meter for samples at this rate.
    pub fn new(rate_hz: u32) -> QuasiPeak {
        let rates =
            CHARGE_DISCHARGE_S.map(|pair| pair.map(|s| 1.0 - (-1.0 / (s * f64::from(rate_hz))).exp()));
        let mut meter = QuasiPeak { rates, held: [0.0; 2], scale: 1.0 };
        // A sine whose frequency has no simple ratio to the rate, until all is steady; then its mean over a second.
        let turns = (5.0f64.sqrt() - 1.0) / 2.0 / 10.0;
        let n = rate_hz as usize;
        let sine = |i: usize| (std::f64::consts::TAU * turns * i as f64).sin();
        (0..4 * n).for_each(|i| {
            meter.push(sine(i));
        });
        let steady = (4 * n..5 * n).map(|i| meter.push(sine(i))).sum::<f64>() / n as f64;
        QuasiPeak { rates, held: [0.0; 2], scale: std::f64::consts::FRAC_1_SQRT_2 / steady }
    }

    /// Takes in a weighted sample and reads the meter.
    #[inline]
    pub fn push(&mut self, x: f64) -> f64 {
        let mut input = x.abs();
        for (held, [charge, discharge]) in self.held.iter_mut().zip(self.rates) {
            *held += charge * (input - *held).max(0.0) - discharge * *held;
            input = *held;
        }
        self.scale * input
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_signal::units::{amplitude_db, power_db};

    fn db(x: f64) -> f64 {
        amplitude_db(x).expect("positive")
    }

    #[test]
    fn the_filter_follows_the_published_table() {
        let text = include_str!("../../../../reference/04_bs468_weighting.csv");
        let mut n_checked = 0;
        for line in text.lines().filter(|l| !l.starts_with('#') && !l.starts_with("freq")) {
            let cells: Vec<f64> = line.split(',').map(|c| c.parse().expect("a number")).collect();
            let (hz, formula_db) = (cells[0], cells[4]);
            // Exact: the network is the formula, whose values are printed to 0.001 dB.
            assert!((power_db(network(hz).norm_sqr()).expect("a gain") - formula_db).abs() < 6e-4, "{hz} Hz");
            if !(63.0..=16_000.0).contains(&hz) {
                continue;
            }
            // The filter, cut to its length, at 48 kHz: within the table's own tolerances, the narrowest of which is zero
            // (6300 Hz: the table is rounded to 0.1 dB, half of that).
            let filter = bs468_filter(48_000);
            let (re, im) = filter.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, h)| {
                let angle = std::f64::consts::TAU * hz * i as f64 / 48_000.0;
                (re + h * angle.cos(), im - h * angle.sin())
            });
            let found = db(re.hypot(im));
            assert!((found - cells[1]).abs() <= cells[2].max(0.05), "{hz} Hz: {found}");
            n_checked += 1;
        }
        assert!(n_checked >= 15);
    }

    /// Highest reading of a burst, or of a train of them once steady, re the steady tone: through the network or not.
    fn reading_percent(rate_hz: u32, burst_ms: f64, per_s: Option<f64>, weighted: bool) -> f64 {
        let rate = f64::from(rate_hz);
        let seconds = if per_s.is_some() { 4.0 } else { 1.5 };
        let made = |sounds: &dyn Fn(f64) -> bool, seconds: f64| -> Vec<f64> {
            let x: Vec<f32> = (0..(seconds * rate) as usize)
                .map(|i| {
                    let t = i as f64 / rate;
                    if sounds(t) { (std::f64::consts::TAU * 5000.0 * t).sin() as f32 } else { 0.0 }
                })
                .collect();
            if weighted {
                bs468_weighted(&x, &bs468_filter(rate_hz))
            } else {
                x.iter().map(|x| f64::from(*x)).collect()
            }
        };
        let highest = |x: &[f64], from_s: f64| {
            let mut meter = QuasiPeak::new(rate_hz);
            let readings: Vec<f64> = x.iter().map(|x| meter.push(*x)).collect();
            readings[(from_s * rate) as usize..].iter().copied().fold(0.0, f64::max)
        };
        let length_s = burst_ms / 1000.0;
        let burst = made(
            &|t| match per_s {
                // Bursts begin at zero crossings: their period holds whole periods of 5 kHz.
                Some(per_s) => (t * per_s).fract() / per_s < length_s - 1e-9,
                None => (0.1..0.1 + length_s - 1e-9).contains(&t),
            },
            seconds,
        );
        let steady = made(&|_| true, 4.0);
        100.0 * highest(&burst, if per_s.is_some() { 3.0 } else { 0.0 }) / highest(&steady, 3.0)
    }

    #[test]
    fn bursts_read_as_the_recommendation_demands() {
        // Reference: ITU-R BS.468-4, clauses 2.1 and 2.2, limits of the readings. The file is from memory; what a steady tone
        // reads is exact, below.
        let text = include_str!("../../../../reference/04_bs468_bursts.csv");
        let mut n_checked = 0;
        for line in text.lines().filter(|l| !l.starts_with('#') && !l.starts_with("kind")) {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |k: usize| cells[k].parse::<f64>().expect("a number");
            let per_s = cells[2].parse::<f64>().ok();
            for (rate_hz, weighted) in [(48_000, true), (96_000, true), (44_100, true), (48_000, false)] {
                let found = reading_percent(rate_hz, number(1), per_s, weighted);
                assert!(
                    (number(5)..=number(6)).contains(&found),
                    "{line} at {rate_hz}, {weighted}: {found:.1} %"
                );
            }
            n_checked += 1;
        }
        assert_eq!(n_checked, 11);
    }

    #[test]
    fn a_steady_sine_reads_its_rms_whichever_way_up() {
        for (rate_hz, hz) in [(48_000, 1000.0), (44_100, 315.0), (96_000, 6300.0), (48_000, 12_000.1)] {
            for sign in [1.0, -1.0] {
                let mut meter = QuasiPeak::new(rate_hz);
                let readings: Vec<f64> = (0..3 * rate_hz as usize)
                    .map(|i| {
                        meter.push(
                            0.1 * sign * (std::f64::consts::TAU * hz * i as f64 / f64::from(rate_hz)).sin(),
                        )
                    })
                    .collect();
                let last = &readings[2 * rate_hz as usize..];
                let mean = last.iter().sum::<f64>() / last.len() as f64;
                // Exact by the meter's scale; charge runs for a part of every period only, which few samples cut coarsely.
                assert!((db(mean / (0.1 * std::f64::consts::FRAC_1_SQRT_2))).abs() < 0.1, "{hz} Hz: {mean}");
            }
        }
    }

    #[test]
    fn pieces_make_the_whole() {
        let x: Vec<f32> =
            (0..100_000).map(|i| ((i % 1009 * (i % 1009) * 31) % 1009) as f32 / 1009.0 - 0.5).collect();
        let filter = bs468_filter(48_000);
        let (pieces, whole) = (bs468_weighted(&x, &filter), filtered(&x, &filter));
        assert_eq!(pieces.len(), whole.len());
        // The same sums in another order.
        assert!(pieces.iter().zip(&whole).all(|(a, b)| (a - b).abs() < 1e-9));
    }
}
