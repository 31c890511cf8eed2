//! Tests: the imposed difference is the one that was found, and nothing gets too loud.

use super::*;
use crate::testing::{RATE_HZ, every_second, found, hits, random, take};
use crate::{clip, gains_db, moments};
use fairtake_compare::{Playing, Verdict};
use fairtake_signal::bands::BandSet;
use fairtake_signal::filters::Biquad;
use fairtake_signal::levels::sample_peak;
use fairtake_signal::loudness::KWeighting;
use fairtake_signal::spectrum::BandSpectrum;
use fairtake_signal::units::{amplitude_db, power_db};

/// A comparison to be filled with another curve.
fn any_comparison() -> ComparisonFindings {
    let samples = hits(48_000, 3, &every_second(), 14.0);
    let takes = [take("a", 1, samples.clone()), take("b", 1, samples)];
    found(&takes, Playing::Percussive).findings.comparisons.remove(0)
}

fn with_curve(comparison: &mut ComparisonFindings, db: impl Fn(f64) -> f64) {
    for band in &mut comparison.bands {
        band.difference_db = Some(db(band.centre_hz));
        band.verdict = Verdict::Undecided;
    }
}

#[test]
fn an_impulse_takes_on_the_found_curve_and_nothing_sounds_before_it() {
    let mut comparison = any_comparison();
    let wanted = |hz: f64| 2.0 * (hz / 300.0).ln().sin() - 2.5;
    with_curve(&mut comparison, wanted);
    let (n, at) = (4 * RATE_HZ as usize, RATE_HZ as usize);
    let mut samples = vec![0f32; n];
    samples[at] = 0.5;
    let reference = Clip { rate_hz: RATE_HZ, samples, gain_db: 0.0 };
    let made = imposed(&reference, &[], &comparison, Extent::Everywhere).expect("a curve is known");
    // The curve is negative everywhere: nothing gets louder.
    assert_eq!((made.trim_db, made.clip.samples.len()), (0.0, n));
    // What is there before is rounding of f64 by the transform, rounded to f32.
    assert!(made.clip.samples[..at].iter().all(|x| x.abs() < 1e-9));
    let response = made.clip.samples[at..].iter().map(|x| f64::from(*x) / 0.5);
    let n_fft = fairtake_transform::fast_length(n);
    let spectrum = fairtake_signal::fir::to_frequency(response, n_fft);
    for band in &comparison.bands {
        let bin = (band.centre_hz * n_fft as f64 / f64::from(RATE_HZ)).round() as usize;
        let found = amplitude_db(spectrum[bin].norm()).expect("not zero");
        assert!((found - wanted(band.centre_hz)).abs() < 0.1, "{}: {found}", band.centre_hz);
    }
}

/// Energy per third octave of samples, dB.
fn thirds_db(samples: &[f32]) -> Vec<f64> {
    let bands = BandSet::new(3, 24_000.0);
    let energy = BandSpectrum::new(RATE_HZ, &bands).event_energy(samples);
    energy.into_iter().map(|e| power_db(e).expect("noise is in every band")).collect()
}

#[test]
fn the_reference_with_the_difference_sounds_as_the_other_one_does() {
    let a = hits(48_000, 13, &every_second(), 14.0);
    let mut b = a.clone();
    let rate = f64::from(RATE_HZ);
    // Another microphone: 5 dB more treble, a dip at 900 Hz, half as loud.
    Biquad::high_shelf(rate, 4000.0, 5.0).run(&mut b);
    Biquad::peak(rate, 900.0, -4.0, 1.0).run(&mut b);
    b.iter_mut().for_each(|x| *x *= 0.5);
    let takes = [take("a", 1, a), take("b", 1, b)];
    let found = found(&takes, Playing::Percussive);
    let moment = moments(&takes, &found.measures, &found.findings, "drum").expect("twelve hits").remove(0);
    let mics: Vec<String> = moment.parts.iter().map(|p| p.mic.clone()).collect();
    let gains = gains_db(&found.findings, "drum", &mics).expect("both were compared");
    let clips: Vec<Clip> = (0..2)
        .map(|i| clip(&takes[i], moment.parts[i].stretch, gains[i].gain_db).expect("can be played"))
        .collect();
    let comparison = &found.findings.comparisons[0];
    let made = imposed(&clips[0], &clips, comparison, Extent::Everywhere).expect("a curve is known");
    assert_eq!(made.trim_db, 0.0);
    let [own, other, imposed] = [&clips[0], &clips[1], &made.clip].map(|c| thirds_db(&c.samples));
    // From 100 Hz on, where the hits are far above the floor: twelfth-octave means over events beside third-octave sums of
    // energy, on eight hits, agree to a few tenths.
    let n = own.len();
    for i in 7..n {
        assert!((imposed[i] - other[i]).abs() < 0.3, "band {i}: {} {}", imposed[i], other[i]);
    }
    // Without it they are far apart.
    assert!((7..n).any(|i| (own[i] - other[i]).abs() > 2.5));
    // One region alone: the treble follows, the rest stays.
    let region = Extent::Region { from_hz: 8000.0, to_hz: 24_000.0 };
    let treble = imposed_thirds(&clips, comparison, region);
    for (i, (from, to)) in BandSet::new(3, 24_000.0).spans_hz().into_iter().enumerate() {
        if from > 8000.0 {
            assert!((treble[i] - other[i]).abs() < 0.3, "band {i}");
        } else if to < 7000.0 {
            assert!((treble[i] - own[i]).abs() < 0.05, "band {i}");
        }
    }
}

fn imposed_thirds(clips: &[Clip], comparison: &ComparisonFindings, extent: Extent) -> Vec<f64> {
    let made = imposed(&clips[0], clips, comparison, extent).expect("a curve is known");
    assert_eq!(made.trim_db, 0.0);
    thirds_db(&made.clip.samples)
}

/// Peak between samples by brute force: eightfold, through a transform.
fn peak(samples: &[f32]) -> f64 {
    let n = fairtake_transform::fast_length(samples.len() + 512);
    let mut spectrum = fairtake_signal::fir::to_frequency(samples.iter().map(|x| f64::from(*x)), n);
    spectrum.resize(4 * n + 1, Default::default());
    let fine = fairtake_signal::fir::to_time(spectrum, 8 * n);
    8.0 * fine.iter().fold(0.0, |most: f64, x| most.max(x.abs()))
}

fn weighted_energy(samples: &[f32]) -> f64 {
    KWeighting::new(RATE_HZ).energies(samples, 4800).iter().sum()
}

#[test]
fn nothing_is_louder_than_the_loudest_original() {
    let mut number = random(14);
    let mut comparison = any_comparison();
    let mut n_trimmed = 0;
    for round in 0..24 {
        let level = 10f64.powf(-1.5 * number().abs());
        let mut noise = random(round + 100);
        let original: Vec<f32> = (0..12_000)
            .map(|i| {
                (level * noise() * (-(f64::from(i % 6000)) / (600.0 + 2000.0 * number().abs())).exp()) as f32
            })
            .collect();
        let louder: Vec<f32> = original.iter().map(|x| x * (1.0 + number().abs() as f32 * 0.01)).collect();
        let takes = [take("a", 1, original.clone()), take("b", 1, louder.clone())];
        let stretch = crate::Stretch { start: 0, frames: 48_000 };
        let gains = [-8.0 * number().abs(), -2.0 * number().abs()];
        let clips: Vec<Clip> =
            (0..2).map(|i| clip(&takes[i], stretch, gains[i]).expect("can be played")).collect();
        let (tilt, lift, ripple) = (4.0 * number(), 12.0 * number(), 6.0 * number());
        with_curve(&mut comparison, |hz| {
            lift + tilt * (hz / 1000.0).log2() + ripple * (3.0 * (hz / 1000.0).log2()).sin()
        });
        let extent = if round % 3 == 0 {
            Extent::Region { from_hz: 1000.0, to_hz: 3000.0 + 9000.0 * number().abs() }
        } else {
            Extent::Everywhere
        };
        let made = imposed(&clips[0], &clips, &comparison, extent).expect("a curve is known");
        assert!(made.trim_db <= 0.0 && made.clip.gain_db <= gains[0], "{}", made.trim_db);
        n_trimmed += usize::from(made.trim_db < 0.0);
        // The clips are faded as originals are when played without a match.
        let originals = takes.each_ref().map(|t| clip(t, stretch, 0.0).expect("can be played"));
        let most = |of: fn(&[f32]) -> f64| originals.iter().map(|c| of(&c.samples)).fold(0.0, f64::max);
        // Interpolation through another filter differs by hundredths of a dB: 0.5 % in the peak; energies are exact to the
        // rounding of samples to f32.
        assert!(peak(&made.clip.samples) <= most(peak) * 1.005, "round {round}");
        assert!(sample_peak(&made.clip.samples) <= most(peak) * 1.005, "round {round}");
        let energy = weighted_energy(&made.clip.samples);
        assert!(energy <= most(weighted_energy) * (1.0 + 1e-5), "round {round}");
        let loudest = |x: &[f32]| {
            let tenths = KWeighting::new(RATE_HZ).energies(x, 4800);
            tenths.windows(4).map(|w| w.iter().sum()).fold(0.0, f64::max)
        };
        assert!(loudest(&made.clip.samples) <= most(loudest) * (1.0 + 1e-5), "round {round}");
        let n = made.clip.samples.len();
        assert_eq!((made.clip.samples[0], made.clip.samples[n - 1]), (0.0, 0.0));
    }
    // Both happen among what was drawn.
    assert!(n_trimmed > 4 && n_trimmed < 24, "{n_trimmed}");
}

#[test]
fn silence_stays_silence() {
    let mut comparison = any_comparison();
    with_curve(&mut comparison, |_| 12.0);
    let silent = Clip { rate_hz: RATE_HZ, samples: vec![0.0; 4800], gain_db: 0.0 };
    let made = imposed(&silent, std::slice::from_ref(&silent), &comparison, Extent::Everywhere);
    let made = made.expect("a curve is known");
    assert!(made.clip.samples.iter().all(|x| *x == 0.0) && made.trim_db == 0.0, "{}", made.trim_db);
    // One frame, which is all fade, and none.
    for n in [0, 1] {
        let short = Clip { rate_hz: RATE_HZ, samples: vec![0.0; n], gain_db: 0.0 };
        let made = imposed(&short, &[], &comparison, Extent::Everywhere).expect("a curve is known");
        assert_eq!(made.clip.samples.len(), n);
    }
}
