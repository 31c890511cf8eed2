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
    format!("{:+.1}", rounded(value)).replace('-', "−")
}

/// Both bounds, rounded outwards to a tenth: `+0.4 to +1.3`.
pub fn interval(low: f64, high: f64) -> String {
    // What was meant as a whole tenth stays one: a binary fraction is off by far less than a millionth.
    let low = (low * 10.0 + 1e-6).floor() / 10.0;
    let high = (high * 10.0 - 1e-6).ceil() / 10.0;
    format!("{} to {}", signed(low), signed(high))
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
