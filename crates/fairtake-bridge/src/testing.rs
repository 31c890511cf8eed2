//! Made bands for tests.

use crate::seen::Seen;
use fairtake_compare::BandSpan;

/// Twelfth-octave bands from 50 Hz to 15 kHz with one standard uncertainty and a difference of band and frequency.
pub(crate) fn bands(sd_db: f64, difference_db: impl Fn(usize, f64) -> f64) -> Vec<Seen> {
    let edge = |i: usize| 50.0 * 2f64.powf(i as f64 / 12.0);
    (0..99)
        .map(|index| {
            let band = BandSpan { from_hz: edge(index), to_hz: edge(index + 1) };
            let difference_db = difference_db(index, band.centre_hz());
            let half = 3.0 * sd_db;
            Seen {
                index,
                band,
                difference_db,
                sd_db,
                half_db: 2.0 * sd_db,
                simultaneous_db: [difference_db - half, difference_db + half],
            }
        })
        .collect()
}
