//! Whether bare files hold one performance recorded at once.
//!
//! Stretches spread over the first file are looked for in the others at one common delay. Recordings of one performance
//! correlate there, whatever the microphones; two passes of playing do not, however alike, since no one delay fits all
//! their hits. A replay of one recording correlates too: it is not told from a performance recorded at once, so nothing
//! is claimed about time or polarity.

use crate::{ReadError, Take};

/// Number of stretches, one from each part of the file.
const N_STRETCHES: u64 = 6;
/// Length of one stretch in seconds.
const STRETCH_S: f64 = 0.25;
/// No more than this many places in each part are looked at for its loudest stretch, spread evenly. Reason: a stretch
/// is wanted in which something plays, not the loudest of all; a long file need not be read whole for that.
const MOST_PLACES: u64 = 40;
/// Delays looked at, to each side, in seconds: 20 ms is 7 m of path.
const MOST_DELAY_S: f64 = 0.02;
/// Correlation from which files are taken to hold the same performance. Reason: microphones that differ by steep
/// filters still correlate above 0.5, independent passes stay below 0.2.
const SAME_FROM: f64 = 0.35;

/// Gives takes that hold the performance of the first one its number; the others keep theirs.
///
/// # Errors
/// When a take cannot be read.
pub fn recognise_performances(takes: &mut [Take]) -> Result<(), ReadError> {
    for i in 1..takes.len() {
        for j in 0..i {
            if same_performance(&takes[j], &takes[i])? {
                takes[i].performance = takes[j].performance;
                break;
            }
        }
    }
    Ok(())
}

fn same_performance(a: &Take, b: &Take) -> Result<bool, ReadError> {
    let rate = a.samples.rate_hz();
    let (n_a, n_b) = (a.samples.frames(), b.samples.frames());
    // Files of one recording start and stop together.
    if rate != b.samples.rate_hz() || n_a.abs_diff(n_b) > u64::from(rate) / 2 {
        return Ok(false);
    }
    let length = (STRETCH_S * f64::from(rate)) as usize;
    let reach = (MOST_DELAY_S * f64::from(rate)) as usize;
    let (mut products, mut squares_a, mut squares_b) = (vec![0f64; 2 * reach + 1], 0.0, 0.0);
    let part = n_a / N_STRETCHES;
    for k in 0..N_STRETCHES {
        let Some(start) = loudest(a, k * part, (k + 1) * part, length)? else { continue };
        let near = start.max(reach as u64);
        let (mut x, mut y) = (vec![0f32; length], vec![0f32; length + 2 * reach]);
        a.samples.read(near, &mut x)?;
        b.samples.read(near - reach as u64, &mut y)?;
        // Every stretch weighs alike.
        let scale = fairtake_signal::levels::energy(&x).max(1e-20).sqrt();
        squares_a += 1.0;
        let energy_b = fairtake_signal::levels::energy(&y[reach..reach + length]).max(1e-20);
        squares_b += 1.0;
        for (delay, p) in products.iter_mut().enumerate() {
            let product = fairtake_signal::levels::dot(&x, &y[delay..delay + length]);
            *p += f64::from(product) / (scale * energy_b.sqrt());
        }
    }
    let norm = f64::sqrt(squares_a * squares_b);
    Ok(norm > 0.0 && products.iter().any(|p| p.abs() / norm >= SAME_FROM))
}

/// Start of the loudest of the stretches looked at between two frames; `None` when there is only silence or too little.
fn loudest(take: &Take, from: u64, to: u64, length: usize) -> Result<Option<u64>, ReadError> {
    let mut best: Option<(f64, u64)> = None;
    let mut samples = vec![0f32; length];
    let mut start = from;
    let step = (to - from).div_ceil(MOST_PLACES).max(length as u64);
    while start + length as u64 <= to {
        let n = take.samples.read(start, &mut samples)?;
        let energy = fairtake_signal::levels::energy(&samples[..n]);
        if energy > 0.0 && best.is_none_or(|(e, _)| energy > e) {
            best = Some((energy, start));
        }
        start += step;
    }
    Ok(best.map(|(_, start)| start))
}
