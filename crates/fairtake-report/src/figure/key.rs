//! What the marks and tints of a corridor mean, in words.

/// The part of a corridor that a sample belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// The difference and its bands.
    Difference,
    /// The verdict strip.
    Verdicts,
}

/// One sample of the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// Where what it shows is found.
    pub part: Part,
    /// Class of the sample; empty for a line in words alone.
    pub class: &'static str,
    /// Pattern that fills it; empty for none.
    pub fill: &'static str,
    /// Meaning.
    pub words: &'static str,
}

/// The key, in order. `widened`: whether the dotted interval is drawn.
pub fn key(widened: bool) -> Vec<Sample> {
    let sample = |part, class, fill, words| Sample { part, class, fill, words };
    let mut all = vec![
        sample(Part::Difference, "pointwise", "", "95 %, each band by itself"),
        sample(Part::Difference, "simultaneous", "", "95 %, all bands at once"),
        sample(Part::Difference, "lane", "", "margin"),
        sample(Part::Verdicts, "segment different", "more", "more"),
        sample(Part::Verdicts, "segment different", "less", "less"),
        sample(Part::Verdicts, "segment alike", "", "alike"),
        sample(Part::Verdicts, "segment", "open", "undecided"),
        sample(Part::Verdicts, "segment", "hidden", "out of range"),
    ];
    if widened {
        let words = "dotted: widened by what re-placing is assumed to do";
        all.insert(3, sample(Part::Difference, "", "", words));
    }
    all
}
