//! How steep the level axes are: those of IEC 60263 (25 or 50 dB as long as a decade of frequency) where there is room, or
//! those that are asked for.

/// How many decibels are as long as a decade of frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Decade {
    /// What fits: proportions of IEC 60263 where there is room for them, the largest first; otherwise it is said.
    Fitting,
    /// 25 dB in both panels, as IEC 60263 has it; the picture becomes narrower where it must.
    Db25,
    /// 50 dB in both.
    Db50,
}

impl Decade {
    /// The scales that may be taken, of the spectra and of the difference.
    fn scales(self) -> &'static [(f64, f64)] {
        match self {
            Decade::Fitting => &IEC_60263,
            Decade::Db25 => &IEC_60263[..1],
            Decade::Db50 => &IEC_60263[2..],
        }
    }
}

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
    ///
    /// A scale that is asked for is taken whatever the decade; the sheet says where that is too short to be read.
    pub fn fitting(
        asked: Decade,
        height: f64,
        widest: f64,
        least: f64,
        (spectra, difference): (f64, f64),
    ) -> Proportions {
        for &(spectra_db, difference_db) in asked.scales() {
            let decade = widest.min(height / (spectra / spectra_db + difference / difference_db));
            if decade >= least || asked != Decade::Fitting {
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

impl Proportions {
    /// The same in few words, for large letters: each line of them is taken from the panels.
    pub fn brief(&self) -> String {
        let (spectra, difference) = (self.spectra_db, self.difference_db);
        let standard = if self.standard { "" } else { "not " };
        format!("To a decade: {spectra:.0} and {difference:.0} dB ({standard}IEC 60263).")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standard_s_proportions_are_taken_where_they_fit() {
        let tall = Proportions::fitting(Decade::Fitting, 1000.0, 300.0, 200.0, (60.0, 18.0));
        assert_eq!((tall.spectra_db, tall.difference_db, tall.decade), (25.0, 25.0, 300.0));
        let wide = Proportions::fitting(Decade::Fitting, 400.0, 300.0, 200.0, (60.0, 18.0));
        assert_eq!((wide.spectra_db, wide.difference_db), (50.0, 25.0));
        // Both panels fill the height then.
        assert!((wide.decade * (60.0 / 50.0 + 18.0 / 25.0) - 400.0).abs() < 1e-9);
        let low = Proportions::fitting(Decade::Fitting, 100.0, 300.0, 200.0, (60.0, 18.0));
        assert!(!low.standard && low.words().contains("no room"));
        assert!((300.0 * (60.0 / low.spectra_db + 18.0 / low.difference_db) - 100.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_asked_for_is_taken_and_the_picture_made_narrower() {
        for (asked, db) in [(Decade::Db25, 25.0), (Decade::Db50, 50.0)] {
            let p = Proportions::fitting(asked, 100.0, 300.0, 200.0, (60.0, 18.0));
            assert_eq!((p.spectra_db, p.difference_db, p.standard), (db, db, true));
            assert!((p.decade * (60.0 + 18.0) / db - 100.0).abs() < 1e-9 && p.decade < 200.0);
        }
    }
}
