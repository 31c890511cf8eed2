//! Findings and their texts as JSON lines, for the outside check of the words.
//!
//! usage: `words N` makes N runs by seed; `words FILE` takes the findings of a file; `words FILE --show` prints the texts.

mod made;
mod parts;

use fairtake_compare::Findings;
use fairtake_report::spoken::{About, Chapter, Length, Speech, description, speech, table};
use serde_json::{Value, json};
use std::io::Write;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let what = args.first().ok_or("usage: words N | words FILE [--show]")?;
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    if let Ok(n) = what.parse::<u64>() {
        for seed in 0..n {
            writeln!(out, "{}", line(&made::findings(seed), &format!("{seed} {:?}", made::case(seed))))?;
        }
        return Ok(());
    }
    let findings: Findings = serde_json::from_str(&std::fs::read_to_string(what)?)?;
    let line = line(&findings, what);
    if args.get(1).is_none_or(|a| a != "--show") {
        writeln!(out, "{line}")?;
        return Ok(());
    }
    for text in line["texts"].as_array().ok_or("no texts")? {
        let seconds = text["seconds"].as_f64().map_or(String::new(), |s| format!(", {s:.0} s"));
        writeln!(
            out,
            "== {} of {}{seconds}\n{}",
            text["kind"],
            text["about"],
            text["text"].as_str().unwrap_or("")
        )?;
    }
    Ok(())
}

/// Of a reel that begins late and has a name in two lines.
const CHAPTERS: [(f64, &str); 2] = [(3.2, "Heron 3, 12 hits"), (75.5, "the other\none")];

/// The findings and everything that is said of them.
fn line(findings: &Findings, seed: &str) -> Value {
    let chapters: Vec<Chapter> = CHAPTERS.iter().filter_map(|(s, n)| Chapter::new(*s, n)).collect();
    let mut texts = Vec::new();
    let abouts = (0..findings.comparisons.len()).map(About::Pair).chain([About::Whole]);
    for about in abouts {
        let place = match about {
            About::Pair(i) => json!(i),
            About::Whole => Value::Null,
        };
        for (kind, length) in [("minute", Length::Minute), ("three_minutes", Length::ThreeMinutes)] {
            let Speech { text, n_words, seconds } = speech(findings, about, length);
            texts.push(
                json!({"kind": kind, "about": place, "text": text, "words": n_words, "seconds": seconds}),
            );
        }
        // Without and with chapters by turns: all else is the same.
        let (kind, list) =
            if texts.len() % 2 == 0 { ("description", &[][..]) } else { ("reel", &chapters[..]) };
        texts.push(json!({"kind": kind, "about": place, "text": description(findings, about, list)}));
        if let About::Pair(i) = about {
            texts.push(
                json!({"kind": "table", "about": i, "text": table(findings, &findings.comparisons[i])}),
            );
        }
    }
    let mut findings = findings.clone();
    // Many, and nothing is said of single bands.
    findings.comparisons.iter_mut().for_each(|c| c.bands.clear());
    json!({"seed": seed, "findings": findings, "texts": texts, "chapters": CHAPTERS})
}
