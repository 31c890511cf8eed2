//! Made pairs whose delay, filter and noise are known.

use super::*;
use crate::filters::Biquad;
use fairtake_transform::{forward, inverse};

/// White noise of unit variance, uniform.
fn noise(n: usize, seed: u64) -> Vec<f32> {
    let mut state = seed;
    (0..n)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (((state >> 33) as f64 / (1u64 << 30) as f64 - 1.0) * 3f64.sqrt()) as f32
        })
        .collect()
}

/// Moves samples by a fraction, by turning the phase of their spectrum.
fn delayed(x: &[f32], frames: f64) -> Vec<f32> {
    let n = (2 * x.len()).next_power_of_two();
    let (forward, inverse) = (forward(n), inverse(n));
    let mut padded = vec![0.0; n];
    padded.iter_mut().zip(x).for_each(|(p, v)| *p = f64::from(*v));
    let mut bins = forward.make_output_vec();
    forward.process(&mut padded, &mut bins).expect("planned");
    let last = bins.len() - 1;
    for (k, b) in bins.iter_mut().enumerate() {
        *b *= Complex::from_polar(1.0, -TAU * k as f64 * frames / n as f64);
    }
    (bins[0].im, bins[last].im) = (0.0, 0.0);
    inverse.process(&mut bins, &mut padded).expect("planned");
    padded[..x.len()].iter().map(|v| (v / n as f64) as f32).collect()
}

/// Decaying noise after some silence, with nothing near half the rate: a fractional delay of it rings shortly, and is
/// cut off at neither end.
fn burst(n: usize, seed: u64, rate_hz: u32) -> Vec<f32> {
    let rate = f64::from(rate_hz);
    let mut out = noise(n, seed);
    out[..512].fill(0.0);
    out.iter_mut().enumerate().for_each(|(i, x)| *x *= (-8.0 * i as f32 / n as f32).exp());
    Biquad::high_pass(rate, 60.0).run(&mut out);
    (0..4).for_each(|_| Biquad::low_pass(rate, 0.25 * rate).run(&mut out));
    out
}

fn pair(rate_hz: u32, make: impl Fn(&[f32], u64) -> Vec<f32>) -> PairSpectra {
    let n = rate_hz as usize / 4;
    let mut spectra = PairSpectra::new(rate_hz, n);
    for event in 0..12u64 {
        let a = burst(n, 2 * event + 1, rate_hz);
        let b = make(&a, event);
        spectra.push(&a, &b);
    }
    spectra
}

#[test]
fn fractional_delays_are_found_at_every_rate_and_either_way_up() {
    for rate in [44_100, 48_000, 96_000] {
        for frames in [-37.3, -0.25, 0.0, 0.4, 12.75] {
            for sign in [1.0, -1.0] {
                let spectra = pair(rate, |a, _| delayed(a, frames).iter().map(|x| sign * 0.5 * x).collect());
                let found = spectra.delay().expect("there is coherence");
                // A hundredth of a sample: 0.07 mm of path at 48 kHz.
                let error = found.seconds * f64::from(rate) - frames;
                assert!(error.abs() < 0.01, "{rate} {frames}: off by {error}");
                assert_eq!(found.same_polarity(), Some(sign > 0.0));
            }
        }
    }
}

#[test]
fn noise_moves_the_delay_little_and_strangers_have_no_polarity() {
    let rate = 48_000;
    let noisy = pair(rate, |a, event| {
        let extra = noise(a.len(), 1000 + event);
        delayed(a, 5.5).iter().zip(extra).map(|(x, n)| x + 0.02 * n).collect()
    });
    let found = noisy.delay().expect("there is coherence");
    assert!((found.seconds * 48_000.0 - 5.5).abs() < 0.05, "{found:?}");
    let strangers = pair(rate, |a, event| noise(a.len(), 5000 + event));
    assert!(strangers.delay().is_none_or(|d| d.same_polarity().is_none()));
}

#[test]
fn each_fit_leaves_over_what_it_cannot_carry() {
    let rate = 48_000;
    // Gain and delay alone leave nothing but what is cut off at the end of the event.
    let plain = pair(rate, |a, _| delayed(a, 3.5).iter().map(|x| 0.7 * x).collect()).left_over();
    assert!(plain.gain_delay_db.expect("fitted") < -50.0, "{plain:?}");
    // An equaliser is minimum phase: gain and delay leave much of it, its like leaves little.
    let equaliser = |a: &[f32]| {
        let mut b = delayed(a, 3.5);
        Biquad::peak(48_000.0, 3000.0, 9.0, 1.0).run(&mut b);
        b
    };
    let filtered = pair(rate, |a, _| equaliser(a)).left_over();
    let (first, second, third) = (
        filtered.gain_delay_db.expect("fitted"),
        filtered.minimum_phase_db.expect("fitted"),
        filtered.any_linear_db.expect("fitted"),
    );
    assert!(first > -12.0 && second < first - 8.0 && third < -30.0, "{filtered:?}");
    // Noise at −20 dB cannot be carried by any filter: exact but for the fit on six events.
    let energy = |x: &[f32]| x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>();
    let noisy = pair(rate, |a, event| {
        let b = equaliser(a);
        let extra = noise(a.len(), 77 + event);
        let scale = (0.01 * energy(&b) / energy(&extra)).sqrt() as f32;
        b.iter().zip(extra).map(|(x, n)| x + scale * n).collect()
    });
    let left = noisy.left_over().any_linear_db.expect("fitted");
    // −20.04 dB re all of B (1 % of 101 %); the filter's own error adds some tenths.
    assert!((-20.5..-19.0).contains(&left), "{left}");
}

#[test]
fn coherence_of_noise_in_one_channel_is_that_of_the_textbook() {
    // γ² = 1/(1 + N/S) with independent noise of equal power in B: a half; 12 averages scatter, the mean does not.
    let spectra = pair(48_000, |a, event| {
        let extra = burst(a.len(), 301 + 2 * event, 48_000);
        a.iter().zip(extra).map(|(x, n)| x + n).collect()
    });
    let coherence = spectra.coherence().expect("twelve events");
    // Up to where the bursts have energy.
    let inside = &coherence[100..coherence.len() / 2];
    let mean = inside.iter().sum::<f64>() / inside.len() as f64;
    // First-order bias correction with twelve averages is good to some hundredths.
    assert!((mean - 0.5).abs() < 0.05, "{mean}");
}

#[test]
fn the_random_error_of_the_ratio_is_that_of_the_textbook() {
    // reference/08_h1_random_error.csv: coherence, averages, relative standard deviation of the gain; half of the last digit.
    let rows: Vec<Vec<f64>> = include_str!("../../../../reference/08_h1_random_error.csv")
        .lines()
        .map(|l| l.split(',').filter_map(|c| c.parse().ok()).collect::<Vec<f64>>())
        .filter(|r| r.len() == 7)
        .collect();
    assert_eq!(rows.len(), 35);
    for r in rows {
        let found = relative_error_of_ratio(r[0], r[1]);
        assert!((found - r[2]).abs() < 6e-7, "coherence {}, {} averages: {found}", r[0], r[1]);
    }
}

/// Many events of white noise with noise of a given power added to one of the channels or both; H = 1.
fn steady(n_events: u64, power_a: f32, power_b: f32, seed: u64) -> PairSpectra {
    let n = 512;
    let mut spectra = PairSpectra::new(8000, n);
    for event in 0..n_events {
        let at = |k: u64| noise(n, seed + 3 * event + k);
        let add = |x: &[f32], y: &[f32], power: f32| -> Vec<f32> {
            x.iter().zip(y).map(|(x, y)| x + power.sqrt() * y).collect()
        };
        let common = at(0);
        spectra.push(&add(&common, &at(1), power_a), &add(&common, &at(2), power_b));
    }
    spectra
}

#[test]
fn noise_in_the_second_channel_scatters_the_ratio_as_the_textbook_says_and_does_not_bias_it() {
    // Noise of a quarter of the power: coherence 1/(1 + 1/4) = 0.8; 16 averages: 0.0884 by the table.
    let spectra = steady(16, 0.0, 0.25, 1);
    let ratio = spectra.ratio().expect("sixteen events");
    let inside: Vec<f64> = ratio[20..ratio.len() - 20].iter().map(|(h, _)| h.re).collect();
    let n = inside.len() as f64;
    let mean = inside.iter().sum::<f64>() / n;
    let sd = (inside.iter().map(|h| (h - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    // About 400 bins, padded and faded to some 150 independent ones: the mean to 0.0884/√150 = 0.007, the deviation to
    // 1/√300 = 6 %; four of each. Beyond that an average over 16 events has a heavier tail than the normal: to order 1/16.
    assert!((mean - 1.0).abs() < 0.03, "{mean}");
    assert!((sd / 0.088388 - 1.0).abs() < 0.25, "{sd}");
    // What the bins themselves say of their error agrees in the mean.
    let said = ratio[20..ratio.len() - 20].iter().map(|(_, e)| e).sum::<f64>() / n;
    assert!((said / 0.088388 - 1.0).abs() < 0.15, "{said}");
}

#[test]
fn noise_in_the_first_channel_makes_the_ratio_too_small() {
    // Exact: S/(S + N) = 1/1.25 = 0.8 with noise of a quarter in A.
    let ratio = steady(200, 0.25, 0.0, 5001).ratio().expect("200 events");
    let inside = &ratio[20..ratio.len() - 20];
    let mean = inside.iter().map(|(h, _)| h.re).sum::<f64>() / inside.len() as f64;
    // 200 events of 512 values: to a third of a per cent; five of them.
    assert!((mean - 0.8).abs() < 0.015, "{mean}");
}

/// Seeds that follow each other make sequences that hang together; these do not.
fn scattered(seed: u64) -> u64 {
    let mixed = (seed ^ (seed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

#[test]
fn the_interval_of_the_delay_covers_it_as_often_as_it_says() {
    // Twelve short events with noise in both; delays of fractions of a frame. Student's t with 11 degrees of freedom.
    let (rate, n) = (48_000, 2048);
    let mut n_covered = 0;
    let trials = 100;
    for trial in 0..trials {
        let frames = -3.0 + 0.061 * trial as f64;
        let mut spectra = PairSpectra::new(rate, n);
        for event in 0..12u64 {
            let seed = 40_000 + 100 * trial as u64 + event;
            let a = burst(n, scattered(seed), rate);
            let b = delayed(&a, frames);
            let with = |x: &[f32], seed: u64| -> Vec<f32> {
                x.iter().zip(noise(n, scattered(seed))).map(|(x, e)| x + 0.05 * e).collect()
            };
            spectra.push(&with(&a, seed + 1_000_000), &with(&b, seed + 2_000_000));
        }
        let found = spectra.delay().expect("there is coherence");
        let error = (found.seconds - frames / f64::from(rate)).abs();
        n_covered += usize::from(error <= 2.201 * found.sd_seconds);
    }
    // 95 of 100 expected; by the binomial law fewer than 88 come once in 400 times (the sandwich is a little short with
    // twelve events), 100 would be too wide.
    assert!((88..=99).contains(&n_covered), "{n_covered} of {trials}");
}

#[test]
fn noise_that_gaps_show_is_taken_off_what_is_left_over() {
    // Equal channels but for noise of their own at −20 dB of B: left over is that noise, until gaps show it.
    let rate = 48_000;
    let energy = |x: &[f32]| x.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>();
    let n = rate as usize / 4;
    let mut spectra = PairSpectra::new(rate, n);
    let scale = (0.01 * energy(&burst(n, 1, rate)) / n as f64).sqrt() as f32;
    let own = |seed: u64| -> Vec<f32> { noise(n, seed).iter().map(|e| scale * e).collect() };
    for event in 0..12u64 {
        let a = burst(n, 2 * event + 1, rate);
        let b: Vec<f32> = a.iter().zip(own(900 + event)).map(|(x, e)| x + e).collect();
        spectra.push(&a, &b);
    }
    let plain = spectra.left_over().gain_delay_db.expect("fitted");
    // Bursts differ in strength by some tenths.
    assert!((-20.6..-19.4).contains(&plain), "{plain}");
    // Noise that both share is carried by the fit: a gap that holds it alone takes nothing off.
    let mut shared = spectra_like(&spectra);
    (0..12).for_each(|k| shared.push_gap(&own(3000 + k), &own(3000 + k)));
    let kept = shared.left_over().gain_delay_db.expect("fitted");
    assert!((kept - plain).abs() < 0.1, "{kept} {plain}");
    (0..12).for_each(|k| spectra.push_gap(&vec![0.0; n], &own(2000 + k)));
    // Noise of 12 stretches and of 6 events, 12,000 values each: known to about half a per cent. What is left of it is
    // below the tenth at which taking off ends: exactly 10 dB less, but for B's own.
    let corrected = spectra.left_over().gain_delay_db.expect("fitted");
    assert!((corrected - (plain - 10.0)).abs() < 0.2, "{corrected} {plain}");
}

/// The same events without gaps.
fn spectra_like(spectra: &PairSpectra) -> PairSpectra {
    let mut out = PairSpectra::new(48_000, 12_000);
    out.events = spectra.events.clone();
    out.by_turns = spectra.by_turns.clone();
    out.faded_energy = spectra.faded_energy;
    out
}

#[test]
fn a_delay_of_low_sounds_alone_is_found_though_its_top_is_flat() {
    // Up to some 400 Hz at 192 kHz, noise above: neighbours on the grid differ by less than single precision tells, and less
    // than what the noise of a hundred thousand bins adds up to.
    let rate_hz = 192_000;
    let low = |x: &[f32]| {
        let mut out = x.to_vec();
        (0..4).for_each(|_| Biquad::low_pass(f64::from(rate_hz), 100.0).run(&mut out));
        out
    };
    let n = rate_hz as usize / 2;
    for frames in [0.4, 40.0] {
        let mut spectra = PairSpectra::new(rate_hz, n);
        for event in 0..12u64 {
            let with = |x: Vec<f32>, seed: u64| -> Vec<f32> {
                // Seeds far apart: with neighbouring ones this generator makes sequences that hang together.
                let own = noise(n, seed.wrapping_mul(0x9e37_79b9_7f4a_7c15));
                x.iter().zip(own).map(|(x, own)| x + 1e-5 * own).collect()
            };
            let a = low(&burst(n, 2 * event + 1, rate_hz));
            spectra.push(&with(a.clone(), 1000 + event), &with(delayed(&a, frames), 2000 + event));
        }
        let found = spectra.delay().expect("coherent below 400 Hz");
        let (error, sd) =
            (found.seconds * f64::from(rate_hz) - frames, found.sd_seconds * f64::from(rate_hz));
        // Within the 95 % interval of twelve events, and that is no wide one: 0.25 samples of 192 kHz are 0.4 mm.
        assert!(error.abs() < 2.2 * sd && sd < 0.3, "{frames}: {error} off, of a standard deviation of {sd}");
    }
}
