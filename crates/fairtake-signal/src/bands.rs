//! Fractional-octave bands.

/// Bands of one width, low to high.
#[derive(Debug, Clone, PartialEq)]
pub struct BandSet {
    edges_hz: Vec<f64>,
}

/// Lowest and highest exact mid-band frequency of interest in Hz: METHOD's 1/12-octave range, wide enough for the
/// third-octave bands of nominal 20 Hz and 20 kHz.
const RANGE_HZ: (f64, f64) = (19.5, 20_500.0);

impl BandSet {
    /// Bands of 1/`per_octave` octave with mid-band frequencies in 19.5 Hz–20.5 kHz whose upper edge lies below
    /// `highest_hz`. For even fractions 1 kHz is a band edge, for odd ones a mid-band frequency.
    ///
    /// # Source
    /// IEC 61260-1:2014, Formulas (1)–(5), base ten: G = 10^0.3. Checked against `reference/02_bands.csv`.
    pub fn new(per_octave: u32, highest_hz: f64) -> BandSet {
        let b = f64::from(per_octave.max(1));
        let shift = if per_octave.is_multiple_of(2) { 0.5 } else { 0.0 };
        let mid = |k: i32| 1000.0 * 10f64.powf(0.3 * (f64::from(k) + shift) / b);
        let half = 10f64.powf(0.15 / b);
        let first = -40 * per_octave.max(1) as i32;
        let mut edges_hz = Vec::new();
        for k in first..-first {
            let centre_hz = mid(k);
            if centre_hz > RANGE_HZ.0 && centre_hz < RANGE_HZ.1 && centre_hz * half <= highest_hz {
                if edges_hz.is_empty() {
                    edges_hz.push(centre_hz / half);
                }
                edges_hz.push(centre_hz * half);
            }
        }
        BandSet { edges_hz }
    }

    /// How many bands there are.
    pub fn len(&self) -> usize {
        self.edges_hz.len().saturating_sub(1)
    }

    /// True without any band.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Lower and upper edge of every band in Hz.
    pub fn spans_hz(&self) -> Vec<(f64, f64)> {
        self.edges_hz.windows(2).map(|e| (e[0], e[1])).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_120_twelfths_and_31_thirds() {
        // METHOD §5: 120 bands of 1/12 octave, 31 of 1/3.
        assert_eq!(BandSet::new(12, 24_000.0).len(), 120);
        assert_eq!(BandSet::new(3, 24_000.0).len(), 31);
    }

    #[test]
    fn one_kilohertz_is_an_edge_of_even_and_a_middle_of_odd_fractions() {
        let touches = |b: u32| {
            BandSet::new(b, 24_000.0).spans_hz().iter().any(|(from, _)| (from - 1000.0).abs() < 1e-9)
        };
        assert!(touches(12) && touches(6) && touches(24) && !touches(3));
    }

    #[test]
    fn bands_end_below_the_highest_frequency_asked_for() {
        let spans = BandSet::new(12, 4000.0).spans_hz();
        assert!(spans.last().is_some_and(|(_, to)| *to <= 4000.0 && *to > 3700.0));
    }

    #[test]
    fn edges_are_those_of_the_standard() {
        // Reference: IEC 61260-1:2014, exact frequencies and edges, to the five decimals of the file.
        let text = include_str!("../../../reference/02_bands.csv");
        let mut n_checked = 0;
        for line in text.lines().filter(|l| !l.starts_with('#')) {
            let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap_or(f64::NAN)).collect();
            if cells[0] != 1.0 && cells[0] != 3.0 {
                continue;
            }
            let (middle_hz, from_hz, to_hz) = (cells[2], cells[4], cells[5]);
            if !(19.5..20_500.0).contains(&middle_hz) {
                continue;
            }
            let spans = BandSet::new(cells[0] as u32, 24_000.0).spans_hz();
            let found = spans.iter().find(|(from, to)| *from < middle_hz && middle_hz < *to);
            let (from, to) = found.expect("the band exists");
            assert!((from - from_hz).abs() < 1e-4 && (to - to_hz).abs() < 1e-4, "{middle_hz} Hz");
            n_checked += 1;
        }
        assert!(n_checked >= 38, "10 octaves less the cut ones and 31 thirds: {n_checked}");
    }
}
