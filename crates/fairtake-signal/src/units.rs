//! Decibels: the place where logarithms are taken.

/// Level of a power ratio in dB; `None` for zero, which has none.
pub fn power_db(power: f64) -> Option<f64> {
    (power > 0.0).then(|| 10.0 * power.log10())
}

/// Level of an amplitude ratio in dB; `None` for zero.
pub fn amplitude_db(amplitude: f64) -> Option<f64> {
    (amplitude > 0.0).then(|| 20.0 * amplitude.log10())
}

/// Power ratio of a level in dB.
pub fn db_to_power(db: f64) -> f64 {
    10f64.powf(db / 10.0)
}

/// Level of a power ratio in dB, at least `floor_db`: for values that are drawn or averaged.
pub fn power_db_at_least(power: f64, floor_db: f64) -> f64 {
    power_db(power).map_or(floor_db, |db| db.max(floor_db))
}
