//! Curves and tolerance masks as plain text: a correction file of a microphone, a published response.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A level over frequency, as it stood in a file: low to high, at least two points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<(f64, f64)>", into = "Vec<(f64, f64)>")]
pub struct TextCurve {
    points: Vec<(f64, f64)>,
}

/// Between which levels a response has to lie, over frequency: low to high, at least two points.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TextMask {
    /// Lower limit in dB.
    pub low: TextCurve,
    /// Upper limit in dB.
    pub high: TextCurve,
}

/// A text could not be read as a curve: where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TextCurveError {
    /// Line, counted from 1; `None` when the whole is meant.
    pub line: Option<usize>,
    /// The line itself, and from which character on (from 0) something is wrong.
    pub shown: Option<(String, usize)>,
    /// What was found.
    pub what: String,
    /// What to do.
    pub hint: &'static str,
}

/// Levels beyond this, in dB, are no response of anything: columns are exchanged, or it is another file.
const MOST_DB: f64 = 300.0;
/// A line that begins so is a comment.
const COMMENTS: [&str; 4] = ["#", ";", "*", "//"];
const HINT_FORM: &str = "write one point a line: frequency in Hz and level in dB, such as `1000 -0.3`";

impl TextCurve {
    /// Reads two columns, frequency in Hz and level in dB, parted by blanks, tabs, a comma or a semicolon. Empty lines, lines that
    /// begin with `#`, `;`, `*` or `//`, and a first line of words are passed over; numbers have a decimal point.
    ///
    /// # Errors
    /// With line and place: something that is not a number, too many or too few columns, frequencies that do not rise.
    pub fn parse(text: &str) -> Result<TextCurve, TextCurveError> {
        let points = rows::<2>(text)?.into_iter().map(|[hz, db]| (hz, db)).collect();
        TextCurve::new(points)
    }

    /// A curve through points of frequency in Hz and level in dB.
    ///
    /// # Errors
    /// With fewer than two points, frequencies that do not rise from above 0, or values that are not finite.
    pub fn new(points: Vec<(f64, f64)>) -> Result<TextCurve, TextCurveError> {
        let whole = |what: String| TextCurveError { line: None, shown: None, what, hint: HINT_FORM };
        if points.len() < 2 {
            return Err(whole(format!("{} points are no curve", points.len())));
        }
        if let Some(p) = points.iter().find(|p| !(p.0 > 0.0 && p.0.is_finite() && p.1.abs() <= MOST_DB)) {
            return Err(whole(format!("{} Hz, {} dB is no point of a response", p.0, p.1)));
        }
        if let Some(pair) = points.windows(2).find(|pair| pair[1].0 <= pair[0].0) {
            return Err(whole(format!("frequencies do not rise: {} Hz after {} Hz", pair[1].0, pair[0].0)));
        }
        Ok(TextCurve { points })
    }

    /// Its points: frequency in Hz and level in dB, low to high.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Lowest and highest frequency in Hz.
    pub fn range_hz(&self) -> (f64, f64) {
        (self.points[0].0, self.points[self.points.len() - 1].0)
    }

    /// Level in dB at a frequency in Hz, straight over the logarithm of frequency between points; `None` outside of them.
    pub fn db(&self, hz: f64) -> Option<f64> {
        let after = self.points.partition_point(|(at, _)| *at < hz);
        let above = self.points.get(after)?;
        if above.0 == hz {
            return Some(above.1);
        }
        let below = self.points[after.checked_sub(1)?];
        Some(below.1 + (above.1 - below.1) * (hz / below.0).ln() / (above.0 / below.0).ln())
    }
}

impl TextMask {
    /// Reads three columns: frequency in Hz, lowest and highest level in dB that are allowed there. Else as
    /// [`TextCurve::parse`].
    ///
    /// # Errors
    /// As there; also where the lower limit lies above the upper one.
    pub fn parse(text: &str) -> Result<TextMask, TextCurveError> {
        let rows = rows::<3>(text)?;
        if let Some([hz, low, high]) = rows.iter().find(|[_, low, high]| low > high) {
            return Err(TextCurveError {
                line: None,
                shown: None,
                what: format!("at {hz} Hz the lower limit {low} dB lies above the upper one {high} dB"),
                hint: "write frequency in Hz, lower limit and upper limit in dB",
            });
        }
        Ok(TextMask {
            low: TextCurve::new(rows.iter().map(|[hz, low, _]| (*hz, *low)).collect())?,
            high: TextCurve::new(rows.iter().map(|[hz, _, high]| (*hz, *high)).collect())?,
        })
    }
}

/// Rows of `N` numbers of which the first, the frequency, rises.
fn rows<const N: usize>(text: &str) -> Result<Vec<[f64; N]>, TextCurveError> {
    let mut rows: Vec<[f64; N]> = Vec::new();
    let mut seen_any = false;
    for (line_idx, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let trimmed = line.trim();
        if trimmed.is_empty() || COMMENTS.iter().any(|c| trimmed.starts_with(c)) {
            continue;
        }
        let wrong = |at: usize, what: String, hint| TextCurveError {
            line: Some(line_idx + 1),
            shown: Some((line.to_string(), at)),
            what,
            hint,
        };
        let columns = columns(line);
        let is_first = !std::mem::replace(&mut seen_any, true);
        if is_first && columns.iter().all(|(_, word)| word.parse::<f64>().is_err()) {
            continue;
        }
        let mut row = [0.0; N];
        for (i, value) in row.iter_mut().enumerate() {
            let Some((at, word)) = columns.get(i) else {
                let what = format!("{} columns where {N} are needed", columns.len());
                return Err(wrong(line.chars().count(), what, HINT_FORM));
            };
            *value = match word.parse::<f64>() {
                Ok(value) if value.is_finite() => value,
                _ => return Err(wrong(*at, format!("`{word}` is not a number"), HINT_FORM)),
            };
        }
        if let Some((at, word)) = columns.get(N) {
            let hint = "leave only the columns that are read; decimals have a point, not a comma";
            return Err(wrong(*at, format!("`{word}` is one column more than the {N} that are read"), hint));
        }
        let at = columns[0].0;
        if row[0] <= 0.0 {
            return Err(wrong(at, format!("{} Hz is no frequency", row[0]), HINT_FORM));
        }
        if let Some(before) = rows.last().filter(|before| before[0] >= row[0]) {
            let what = format!("{} Hz after {} Hz: frequencies must rise", row[0], before[0]);
            return Err(wrong(at, what, "sort the lines by frequency and leave each only once"));
        }
        if let Some(i) = (1..N).find(|i| row[*i].abs() > MOST_DB) {
            let what = format!("{} dB is no level of a response", row[i]);
            return Err(wrong(columns[i].0, what, "frequency comes first, then the level in dB"));
        }
        rows.push(row);
    }
    if rows.len() < 2 {
        let what = format!("{} points are no curve", rows.len());
        return Err(TextCurveError { line: None, shown: None, what, hint: HINT_FORM });
    }
    Ok(rows)
}

/// Words of a line, each with the character at which it begins. A comma or semicolon parts as a blank does.
fn columns(line: &str) -> Vec<(usize, String)> {
    let mut words: Vec<(usize, String)> = Vec::new();
    let mut inside = false;
    for (at, c) in line.chars().enumerate() {
        if c.is_whitespace() || c == ',' || c == ';' {
            inside = false;
        } else if inside {
            words.last_mut().expect("a word has begun").1.push(c);
        } else {
            inside = true;
            words.push((at, c.to_string()));
        }
    }
    words
}

impl TryFrom<Vec<(f64, f64)>> for TextCurve {
    type Error = TextCurveError;

    fn try_from(points: Vec<(f64, f64)>) -> Result<TextCurve, TextCurveError> {
        TextCurve::new(points)
    }
}

impl From<TextCurve> for Vec<(f64, f64)> {
    fn from(curve: TextCurve) -> Vec<(f64, f64)> {
        curve.points
    }
}

impl fmt::Display for TextCurveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        f.write_str(&self.what)?;
        match &self.shown {
            Some((line, at)) => write!(f, "\n  {line}\n  {}^", " ".repeat(*at)),
            None => Ok(()),
        }
    }
}

impl std::error::Error for TextCurveError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_parted_by_what_people_use() {
        let expected = TextCurve::new(vec![(20.0, -1.5), (1000.0, 0.0)]).expect("good");
        for text in [
            "20 -1.5\n1000 0\n",
            "# heron, 2024\nHz,dB\n20,-1.5\n1000,0",
            "* a\n20\t-1.5\r\n\r\n1000;0.0\n",
            "\u{feff}freq level\n20 , -1.5\n1e3 0",
        ] {
            assert_eq!(TextCurve::parse(text), Ok(expected.clone()), "{text:?}");
        }
    }

    #[test]
    fn what_is_wrong_is_shown_with_its_place() {
        let told = |text: &str| TextCurve::parse(text).expect_err("wrong").to_string();
        assert_eq!(told("20 0\n31.5 loud\n"), "line 2: `loud` is not a number\n  31.5 loud\n       ^");
        assert_eq!(told("20 0\n31.5\n"), "line 2: 1 columns where 2 are needed\n  31.5\n      ^");
        assert_eq!(
            told("20 0 0\n30 0 1"),
            "line 1: `0` is one column more than the 2 that are read\n  20 0 0\n       ^"
        );
        assert_eq!(told("30 0\n20 0"), "line 2: 20 Hz after 30 Hz: frequencies must rise\n  20 0\n  ^");
        assert_eq!(told("0 20\n1 30"), "line 1: 0 Hz is no frequency\n  0 20\n  ^");
        assert_eq!(told("-1.5 1000\n"), "line 1: -1.5 Hz is no frequency\n  -1.5 1000\n  ^");
        assert_eq!(told("1 1000\n2 1000\n"), "line 1: 1000 dB is no level of a response\n  1 1000\n    ^");
        assert_eq!(told("nothing here"), "0 points are no curve");
        assert_eq!(told("100 nan\n"), "line 1: `nan` is not a number\n  100 nan\n      ^");
    }

    #[test]
    fn between_points_it_is_straight_over_the_logarithm() {
        let curve = TextCurve::parse("100 0\n400 4").expect("good");
        // Exact: 200 Hz is halfway from 100 to 400.
        assert!((curve.db(200.0).expect("inside") - 2.0).abs() < 1e-12);
        assert_eq!((curve.db(100.0), curve.db(400.0)), (Some(0.0), Some(4.0)));
        assert_eq!((curve.db(99.0), curve.db(401.0)), (None, None));
    }

    #[test]
    fn a_mask_has_two_limits() {
        let mask = TextMask::parse("# hz low high\n100 -3 3\n1000 -1 1\n").expect("good");
        assert_eq!((mask.low.db(1000.0), mask.high.db(100.0)), (Some(-1.0), Some(3.0)));
        let told = TextMask::parse("100 3 -3\n1000 -1 1\n").expect_err("exchanged").to_string();
        assert!(told.contains("at 100 Hz the lower limit 3 dB lies above"), "{told}");
    }
}
