//! How steep the level axes are: those of IEC 60263 (25 or 50 dB as long as a decade of frequency) where there is room.

/// Scales of the spectra and of the difference in dB for a decade, the largest first.
const IEC_60263: [(f64, f64); 3] = [(25.0, 25.0), (50.0, 25.0), (50.0, 50.0)];

/// Where nothing of IEC 60263 fits, dB of the spectra for one dB of the difference on the same length.
const OTHERWISE: f64 = 3.0;

/// The proportions of one figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Proportions {
    /// Length of a decade.
    pub decade: f64,
    /// dB of the spectra on that length.
    pub spectra_db: f64,
    /// dB of the difference on that length.
    pub difference_db: f64,
    /// Whether these are proportions of IEC 60263.
    pub standard: bool,
}

impl Proportions {
    /// The largest that fit: `height` for both panels, `widest` for a decade, `least` a decade that is not given up for
    /// the standard's sake (lengths in one unit); spans of both axes in dB.
    pub fn fitting(height: f64, widest: f64, least: f64, (spectra, difference): (f64, f64)) -> Proportions {
        for (spectra_db, difference_db) in IEC_60263 {
            let decade = widest.min(height / (spectra / spectra_db + difference / difference_db));
            if decade >= least {
                return Proportions { decade, spectra_db, difference_db, standard: true };
            }
        }
        let difference_db = (spectra / OTHERWISE + difference) * widest / height;
        Proportions { decade: widest, spectra_db: difference_db * OTHERWISE, difference_db, standard: false }
    }

    /// Said in the figure.
    pub fn words(&self) -> String {
        if self.standard {
            format!(
                "{} dB of the spectra and {} dB of the difference are as long as a decade (IEC 60263).",
                self.spectra_db, self.difference_db
            )
        } else {
            format!(
                "A decade is as long as {:.0} dB of the spectra and {:.0} dB of the difference: there is no room for the \
                 25 or 50 dB of IEC 60263.",
                self.spectra_db, self.difference_db
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standard_s_proportions_are_taken_where_they_fit() {
        let tall = Proportions::fitting(1000.0, 300.0, 200.0, (60.0, 18.0));
        assert_eq!((tall.spectra_db, tall.difference_db, tall.decade), (25.0, 25.0, 300.0));
        let wide = Proportions::fitting(400.0, 300.0, 200.0, (60.0, 18.0));
        assert_eq!((wide.spectra_db, wide.difference_db), (50.0, 25.0));
        // Both panels fill the height then.
        assert!((wide.decade * (60.0 / 50.0 + 18.0 / 25.0) - 400.0).abs() < 1e-9);
        let low = Proportions::fitting(100.0, 300.0, 200.0, (60.0, 18.0));
        assert!(!low.standard && low.words().contains("no room"));
        assert!((300.0 * (60.0 / low.spectra_db + 18.0 / low.difference_db) - 100.0).abs() < 1e-9);
    }
}
