//! `measure`, as typed, on a made session: page, JSON and PDF say the same.

use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairtake")).args(args).current_dir(folder).output().expect("runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn data_sheets_are_written_as_page_and_pdf_and_nothing_is_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = run(folder.path(), &["demo", "--bench", "bench"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    let args = ["measure", "bench", "--json", "--report", "sheets.html", "--pdf", "sheets.pdf"];
    let measured = run(folder.path(), &args);
    assert_eq!(measured.status.code(), Some(0), "{}", text(&measured.stderr));
    let json: serde_json::Value = serde_json::from_slice(&measured.stdout).expect("JSON");
    let names: Vec<&str> =
        json["sheets"].as_array().expect("a list").iter().filter_map(|s| s["name"].as_str()).collect();
    assert_eq!(names.len(), 4);

    let page = std::fs::read_to_string(folder.path().join("sheets.html")).expect("written");
    let read = Command::new("pdftotext")
        .args(["-raw", "-enc", "UTF-8"])
        .arg(folder.path().join("sheets.pdf"))
        .arg("-")
        .output()
        .expect("pdftotext (Debian: poppler-utils)");
    let squeezed = |text: &str| text.split_whitespace().collect::<String>();
    let set = squeezed(&text(&read.stdout));
    for name in names {
        assert!(page.contains(name) && set.contains(&squeezed(&format!("Data sheet: {name}"))), "{name}");
    }
    // The reference is named and not its key; figures of one sheet stand in both.
    let against = json["sheets"][0]["response"]["found"]["reference_name"].as_str().expect("a reference");
    for said in [format!("against {against}").as_str(), "distance factor", "beside the loudspeaker's"] {
        assert!(page.contains(said) || page.contains(&said.replace('\'', "&#39;")), "{said}");
        assert!(set.contains(&squeezed(said)), "{said}");
    }
    // Every pair with the interval of its level.
    for pair in json["pairs"].as_array().expect("a list") {
        assert!(pair["at_equal_gain_db"]["half"].as_f64().is_some_and(|half| half > 0.0), "{pair}");
    }

    let again = run(folder.path(), &args);
    assert_eq!(again.status.code(), Some(2), "{}", text(&again.stderr));
    assert!(text(&again.stderr).contains("sheets.html"));
}
