//! Size and proportions of the picture.

use super::{FROM_HZ, TO_HZ};

/// Size and proportions. Levels per decade of frequency as IEC 60263 has them (25 or 50 dB), where there is room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// Width in px.
    pub width: f64,
    /// Height of letters in px.
    pub letter: f64,
    /// dB of the spectra that are as long as a decade.
    pub spectra_db_per_decade: f64,
    /// dB of the difference that are as long as a decade.
    pub difference_db_per_decade: f64,
    /// Ends of the frequency axis in Hz. Proportions are those of the whole axis, 20 Hz to 20 kHz, also where a part of it
    /// is stretched over the width.
    pub range_hz: (f64, f64),
    /// Lay an area over every band that carries its numbers in words, for a cursor.
    pub readings: bool,
}

impl Layout {
    /// For a page.
    pub const WIDE: Layout = Layout {
        width: 1000.0,
        letter: 13.0,
        spectra_db_per_decade: 50.0,
        difference_db_per_decade: 25.0,
        range_hz: (FROM_HZ, TO_HZ),
        readings: false,
    };
    /// For a telephone: the axes are steeper than IEC 60263 has them, or nothing could be read.
    pub const NARROW: Layout = Layout {
        width: 360.0,
        letter: 11.0,
        spectra_db_per_decade: 50.0,
        difference_db_per_decade: 12.5,
        ..Layout::WIDE
    };
}
