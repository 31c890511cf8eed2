//! How numbers are written, in sentences and everywhere else.
//!
//! Estimates are rounded to the nearest tenth. Bounds are rounded outwards: an interval that is shown never claims
//! more than the one that was computed, and a verdict can be checked against it by eye.

/// One decimal, nearest; never −0.
pub fn rounded(value: f64) -> f64 {
    // Adding zero turns −0 into 0.
    (value * 10.0).round() / 10.0 + 0.0
}

/// One decimal with its sign.
pub fn signed(value: f64) -> String {
    signed_to(value, 1)
}

/// So many decimals with their sign, in the minus of typography; never −0.
pub fn signed_to(value: f64, decimals: i32) -> String {
    let whole = 10f64.powi(decimals);
    let shown = (value * whole).round() / whole + 0.0;
    format!("{shown:+.*}", decimals as usize).replace('-', "−")
}

/// So many decimals, in the minus of typography; never −0.
pub fn plain(value: f64, decimals: i32) -> String {
    signed_to(value, decimals).trim_start_matches('+').to_string()
}

/// A number of things: `1 take`, `3 takes`.
pub fn number_of(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// Both bounds, rounded outwards to a tenth; never −0.
pub fn outwards(low: f64, high: f64) -> (f64, f64) {
    // What was meant as a whole tenth stays one: a binary fraction is off by far less than a millionth.
    ((low * 10.0 + 1e-6).floor() / 10.0 + 0.0, (high * 10.0 - 1e-6).ceil() / 10.0 + 0.0)
}

/// Both bounds as they are shown: `+0.4 to +1.3`.
pub fn interval(low: f64, high: f64) -> String {
    let (low, high) = outwards(low, high);
    format!("{} to {}", signed(low), signed(high))
}

/// A margin in dB as it was set: a shorter number would claim more, or less, than was tested.
pub fn margin(db: f64) -> String {
    if (rounded(db) - db).abs() < 1e-9 { format!("{db:.1}") } else { format!("{db}") }
}

/// A frequency as people say it.
pub fn hertz(hz: f64) -> String {
    if hz >= 9950.0 {
        format!("{:.0} kHz", hz / 1000.0)
    } else if hz >= 1000.0 {
        format!("{:.1} kHz", hz / 1000.0)
    } else {
        format!("{hz:.0} Hz")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_said_to_be_minus_nothing() {
        assert_eq!((signed(-0.04), signed(-0.06)), ("+0.0".into(), "−0.1".into()));
        assert_eq!(signed(0.04), "+0.0");
        assert_eq!((margin(1.0), margin(0.25)), ("1.0".into(), "0.25".into()));
        assert_eq!((signed_to(-0.126, 2), signed_to(-0.004, 2)), ("−0.13".into(), "+0.00".into()));
    }

    #[test]
    fn one_is_not_many() {
        assert_eq!((number_of(1, "take"), number_of(0, "take")), ("1 take".into(), "0 takes".into()));
    }

    #[test]
    fn bounds_are_rounded_away_from_the_estimate() {
        assert_eq!(interval(0.45, 1.01), "+0.4 to +1.1");
        assert_eq!(interval(-0.99, -0.04), "−1.0 to +0.0");
        // Whole tenths stay.
        assert_eq!(interval(0.1 + 0.2, 1.0), "+0.3 to +1.0");
        assert_eq!(interval(-1.0, -0.3), "−1.0 to −0.3");
    }

    #[test]
    fn frequencies_are_read_as_people_say_them() {
        assert_eq!((hertz(236.6), hertz(3162.0)), ("237 Hz".into(), "3.2 kHz".into()));
        assert_eq!(hertz(9999.0), "10 kHz");
    }
}
