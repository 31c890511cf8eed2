//! Every text of a run.

use fairtake_compare::Findings;
use fairtake_report::Heard;
use fairtake_report::spoken::{About, Chapter, Length, description, speech, table};
use std::fmt::Write;

/// Of a reel that begins late and has a name in two lines.
pub const CHAPTERS: [(f64, &str); 2] = [(3.2, "Heron 3, 12 hits"), (75.5, "the other\none")];

/// One text.
pub struct Text {
    /// `minute`, `three_minutes`, `description`, `reel` (a description with chapters), `table`.
    pub kind: &'static str,
    /// Place in `comparisons`; `None`: all of them.
    pub about: Option<usize>,
    pub text: String,
    /// Words as spoken, and seconds.
    pub time: Option<(usize, f64)>,
}

/// What is said of every comparison, and of all together. Descriptions come without and with chapters by turns.
pub fn of(findings: &Findings, heard: &[Heard]) -> Vec<Text> {
    let chapters: Vec<Chapter> = CHAPTERS.iter().filter_map(|(s, n)| Chapter::new(*s, n)).collect();
    let mut out = Vec::new();
    for about in (0..findings.comparisons.len()).map(Some).chain([None]) {
        let what = about.map_or(About::Whole, About::Pair);
        for (kind, length) in [("minute", Length::Minute), ("three_minutes", Length::ThreeMinutes)] {
            let said = speech(findings, heard, what, length);
            out.push(Text { kind, about, text: said.text, time: Some((said.n_words, said.seconds)) });
        }
        let (kind, list) = if about.is_some_and(|i| i % 2 == 0) {
            ("description", &[][..])
        } else {
            ("reel", &chapters[..])
        };
        out.push(Text { kind, about, text: description(findings, heard, what, list), time: None });
        if let Some(c) = about.map(|i| &findings.comparisons[i]) {
            out.push(Text { kind: "table", about, text: table(findings, c), time: None });
        }
    }
    out
}

/// All of them to be looked at.
pub fn shown(findings: &Findings, heard: &[Heard]) -> String {
    let mut out = String::new();
    for t in of(findings, heard) {
        let about = t.about.map_or("all".to_string(), |i| format!("comparison {i}"));
        let seconds = t.time.map_or(String::new(), |(_, s)| format!(", {s:.0} s"));
        let _ = writeln!(out, "== {} of {about}{seconds}\n\n{}", t.kind, t.text);
    }
    out
}
