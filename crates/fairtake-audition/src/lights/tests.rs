//! Tests: light follows the sound that is there, in its range and at its time.

use super::*;

const RATE_HZ: u32 = 48_000;
const FRAMES_PER_SECOND: f64 = 25.0;
const SPANS_HZ: [(f64, f64); 4] = [(28.0, 63.0), (63.0, 2000.0), (2000.0, 8000.0), (15_000.0, 20_000.0)];

/// A sine of this amplitude from one time to another, added.
fn add(samples: &mut [f32], hz: f64, amplitude: f64, from_s: f64, to_s: f64) {
    let rate = f64::from(RATE_HZ);
    for (i, x) in samples.iter_mut().enumerate() {
        let t = i as f64 / rate;
        if t >= from_s && t < to_s {
            *x += (amplitude * (2.0 * std::f64::consts::PI * hz * t).sin()) as f32;
        }
    }
}

fn frame(s: f64) -> usize {
    (s * FRAMES_PER_SECOND).round() as usize
}

#[test]
fn a_range_lights_while_it_sounds_and_no_other_does() {
    let mut samples = vec![0f32; 4 * RATE_HZ as usize];
    add(&mut samples, 45.0, 0.5, 1.0, 2.0);
    add(&mut samples, 5000.0, 0.1, 2.0, 3.0);
    let light = lights(&samples, RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND);
    assert_eq!(light.len(), 100);
    assert!(light.iter().all(|of_frame| of_frame.len() == 4));
    let at = |s: f64| &light[frame(s)];
    assert_eq!(at(0.5), &[0.0; 4]);
    assert!(at(1.6)[0] > 0.98 && at(1.6)[2] == 0.0, "{:?}", at(1.6));
    assert!(at(2.6)[2] > 0.98 && at(2.6)[0] < 0.5, "{:?}", at(2.6));
    // What never sounds stays dark, whatever leaks there.
    assert!(light.iter().all(|of_frame| of_frame[3] == 0.0));
    // Dark again: 30 dB at 35 dB a second after the window has passed.
    assert_eq!(at(3.9)[0], 0.0);
    assert!(at(3.5)[2] > 0.2 && at(3.9)[2] < at(3.5)[2], "{:?}", at(3.5));
}

#[test]
fn brightness_is_level_below_the_strongest_of_the_range() {
    let mut samples = vec![0f32; 6 * RATE_HZ as usize];
    // The second is 12 dB below the first: 1 − 12/30.
    add(&mut samples, 3000.0, 0.4, 0.0, 2.0);
    add(&mut samples, 3000.0, 0.4 * 10f64.powf(-12.0 / 20.0), 4.0, 6.0);
    let light = lights(&samples, RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND);
    assert!((light[frame(1.5)][2] - 1.0).abs() < 1e-3, "{}", light[frame(1.5)][2]);
    // Steady, so that smoothing has long settled: rounding only.
    assert!((light[frame(5.5)][2] - 0.6).abs() < 1e-3, "{}", light[frame(5.5)][2]);
}

#[test]
fn light_goes_with_the_time_constant_that_is_stated() {
    let mut samples = vec![0f32; 3 * RATE_HZ as usize];
    add(&mut samples, 3000.0, 0.4, 0.0, 1.0);
    let light = lights(&samples, RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND);
    // Once the window has passed: 10·lg(e) dB in 0.125 s, 30 dB from full to dark.
    let per_s = (light[frame(1.2)][2] - light[frame(1.6)][2]) / 0.4;
    let expected = power_db(std::f64::consts::E).expect("positive") / 0.125 / 30.0;
    assert!((f64::from(per_s) / expected - 1.0).abs() < 1e-3, "{per_s} {expected}");
}

#[test]
fn silence_is_dark_and_nothing_has_no_frames() {
    let light = lights(&vec![0.0; RATE_HZ as usize], RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND);
    assert!(light.len() == 25 && light.iter().flatten().all(|b| *b == 0.0));
    assert!(lights(&[], RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND).is_empty());
}

/// How often brightness falls by so much and rises again, counted from turning point to turning point.
fn flashes(brightness: &[f32], by: f32) -> usize {
    let (mut top, mut bottom, mut falling, mut n) = (0f32, 0f32, false, 0);
    for b in brightness {
        if falling {
            bottom = bottom.min(*b);
            if *b - bottom >= by {
                (falling, top, n) = (false, *b, n + 1);
            }
        } else {
            top = top.max(*b);
            if top - *b >= by {
                (falling, bottom) = (true, *b);
            }
        }
    }
    n
}

#[test]
fn no_playing_makes_it_flash_more_than_three_times_a_second() {
    // WCAG 2.2, criterion 2.3.1: a flash is a change of luminance by a tenth and back. From the ground to full light it
    // changes by 0.30 at most (on white; figure/colours.css), so that a tenth is a third of the brightness.
    let by = 0.1 / 0.304;
    for hits_per_s in [2.0, 3.0, 3.5, 4.0, 5.0, 7.0, 10.0] {
        let mut samples = vec![0f32; 5 * RATE_HZ as usize];
        for k in 0..(5.0 * hits_per_s) as usize {
            let at_s = k as f64 / hits_per_s;
            add(&mut samples, 5000.0, 0.5, at_s, at_s + 0.01);
        }
        let light: Vec<f32> = lights(&samples, RATE_HZ, &SPANS_HZ, FRAMES_PER_SECOND)
            .iter()
            .map(|of_frame| of_frame[2])
            .collect();
        let in_a_second = light.windows(25).map(|second| flashes(second, by)).max().unwrap_or(0);
        assert!(in_a_second <= 3, "{hits_per_s} hits a second: {in_a_second} flashes");
        // Slow ones are seen each: the count works.
        assert!(hits_per_s > 2.0 || flashes(&light, by) >= 8, "{}", flashes(&light, by));
    }
}
