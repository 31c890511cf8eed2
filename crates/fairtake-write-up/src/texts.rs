//! Report, words and data.

use crate::bridged::bridge_files;
use crate::jobs::Remarks;
use crate::names::Names;
use crate::{Material, WriteUpError};
use fairtake_files::FolderInMaking;
use fairtake_report::spoken::{About, Length, speech, table};
use fairtake_report::{data, events, page, pdf};

/// Length of the impulse responses in seconds.
const FILTER_S: f64 = 0.5;

pub(crate) fn report(m: &Material<'_>, into: &FolderInMaking) -> Remarks {
    into.put("report.html", page::page_with(m.findings, m.heard, m.bridges).as_bytes())?;
    Ok(Vec::new())
}

pub(crate) fn typeset(m: &Material<'_>, into: &FolderInMaking) -> Remarks {
    into.put("report.pdf", &pdf::pdf_with(m.findings, m.heard, m.bridges, m.measured)?.bytes)?;
    Ok(Vec::new())
}

pub(crate) fn data(m: &Material<'_>, into: &FolderInMaking) -> Remarks {
    let json = serde_json::to_string_pretty(m.findings).map_err(|e| WriteUpError::Json(e.to_string()))?;
    into.put("data/findings.json", json.as_bytes())?;
    for (name, csv) in data::tables(m.findings) {
        into.put(&format!("data/{name}.csv"), csv.as_bytes())?;
    }
    if !m.distances.is_empty() {
        into.put("data/distances.csv", data::distances(m.distances).as_bytes())?;
    }
    if !m.gone.is_empty() {
        return Ok(vec!["not written: data/events.csv, which needs every take".to_string()]);
    }
    let table = events::table(m.measures, m.findings.settings.bands_per_octave);
    into.put("data/events.csv", table.as_bytes())?;
    Ok(Vec::new())
}

/// Every bridge: filters for any convolution, settings for any console.
pub(crate) fn equalisers(m: &Material<'_>, names: &Names, into: &FolderInMaking) -> Remarks {
    for (i, c) in m.findings.comparisons.iter().enumerate() {
        let Some(bridge) = m.bridges.iter().find(|b| b.is_of(c)) else { continue };
        for file in bridge_files(m.findings, bridge, bridge.wanted.rate_hz as u32, FILTER_S) {
            into.put(&format!("equalisers/{}/{}", names.pairs[i], file.name), &file.bytes)?;
        }
    }
    Ok(Vec::new())
}

pub(crate) fn words(m: &Material<'_>, names: &Names, into: &FolderInMaking) -> Remarks {
    let put = |name: String, text: &str| into.put(&name, text.as_bytes());
    let lengths = [("60", Length::Minute), ("180", Length::ThreeMinutes)];
    for (s, length) in lengths {
        put(format!("words/spoken-{s}-s.txt"), &spoken(m, About::Whole, length))?;
    }
    for (i, c) in m.findings.comparisons.iter().enumerate() {
        let name = &names.pairs[i];
        for (s, length) in lengths {
            put(format!("words/{name}-{s}-s.txt"), &spoken(m, About::Pair(i), length))?;
        }
        put(format!("words/{name}-table.txt"), &table(m.findings, c))?;
    }
    Ok(Vec::new())
}

/// A summary with its length in front, in brackets, where it takes longer than was asked for.
fn spoken(m: &Material<'_>, about: About, length: Length) -> String {
    let speech = speech(m.findings, m.heard, about, length);
    match speech.overrun(length) {
        None => speech.text,
        Some(words) => {
            let shorter = about == About::Whole && m.findings.comparisons.len() > 1;
            let where_else = if shorter { "; each comparison has a shorter text of its own" } else { "" };
            format!("[{words}{where_else}]\n\n{}", speech.text)
        }
    }
}
