//! Findings and their texts as JSON lines, for the outside check of the words.
//!
//! usage: `words N` makes N runs by seed; `words FILE` takes the findings of a file; `words FILE --show` prints the texts.

mod made;
mod parts;
mod tests;
mod texts;

use fairtake_compare::Findings;
use fairtake_report::Heard;
use serde_json::{Value, json};
use std::io::Write;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let what = args.first().ok_or("usage: words N | words FILE [--show]")?;
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    if let Ok(n) = what.parse::<u64>() {
        for seed in 0..n {
            let findings = made::findings(seed);
            let heard = tests::heard(&findings, seed);
            writeln!(out, "{}", line(&findings, &heard, &format!("{seed} {:?}", made::case(seed))))?;
        }
        return Ok(());
    }
    let findings: Findings = serde_json::from_str(&std::fs::read_to_string(what)?)?;
    if args.get(1).is_some_and(|a| a == "--show") {
        write!(out, "{}", texts::shown(&findings, &[]))?;
    } else {
        writeln!(out, "{}", line(&findings, &[], what))?;
    }
    Ok(())
}

/// The findings and everything that is said of them.
fn line(findings: &Findings, heard: &[Heard], seed: &str) -> Value {
    let texts: Vec<Value> = texts::of(findings, heard)
        .into_iter()
        .map(|t| {
            let (words, seconds) = t.time.unzip();
            json!({"kind": t.kind, "about": t.about, "text": t.text, "words": words, "seconds": seconds})
        })
        .collect();
    let tests: Vec<Value> =
        heard.iter().map(|h| json!({"title": h.title, "source": h.source, "score": h.score})).collect();
    let mut findings = findings.clone();
    // Many, and nothing is said of single bands.
    findings.comparisons.iter_mut().for_each(|c| c.bands.clear());
    json!({"seed": seed, "findings": findings, "heard": tests, "texts": texts, "chapters": texts::CHAPTERS})
}
