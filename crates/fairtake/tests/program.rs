//! The program as a user types it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn fairtake(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairtake")).args(args).output().expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn at(folder: &Path, name: &str) -> PathBuf {
    folder.join(name)
}

/// Everything in a folder that a user made: names and bytes, without what is derived.
fn content(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut out = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(here) = folders.pop() {
        for entry in std::fs::read_dir(here).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() && path.file_name().is_some_and(|n| n != ".fairtake") {
                folders.push(path);
            } else if path.is_file() {
                out.push((path.clone(), std::fs::read(&path).expect("a file")));
            }
        }
    }
    out.sort();
    out
}

#[test]
fn the_demo_makes_a_shootout_with_a_report_and_a_second_comparison_is_the_first() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = at(folder.path(), "demo");
    let name = demo.to_str().expect("plain");
    let made = fairtake(&["demo", name]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    assert_eq!(text(&made.stdout).trim(), demo.join("report.html").to_str().expect("plain"));
    let report = std::fs::read_to_string(demo.join("report.html")).expect("the report");
    assert!(report.contains("Heron 3 against Moorhen 12: speaking voice"));

    let before = content(&demo);
    let kept = fairtake(&["compare", name, "--json"]);
    let anew = fairtake(&["compare", name, "--json", "--anew"]);
    assert!(kept.status.success() && anew.status.success());
    assert_eq!(text(&kept.stdout), text(&anew.stdout), "what was kept is what is computed");
    assert_eq!(content(&demo), before, "comparing changes no file of the user");

    // Another setting, and another log, are noticed.
    let wider = fairtake(&["compare", name, "--json", "--margin", "3"]);
    assert_ne!(text(&wider.stdout), text(&kept.stdout));
    let log = std::fs::read_to_string(demo.join("shootout.toml")).expect("the log");
    std::fs::write(demo.join("shootout.toml"), log.replace("Heron 3", "Heron 4")).expect("written");
    let renamed = fairtake(&["compare", name, "--json"]);
    assert!(text(&renamed.stdout).contains("Heron 4") && !text(&renamed.stdout).contains("Heron 3"));

    // Nothing is overwritten without being asked.
    let again = fairtake(&["demo", name]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("exists already"));
    let report_again = fairtake(&["report", name]);
    assert_eq!(report_again.status.code(), Some(2));
    assert_eq!(std::fs::read_to_string(demo.join("report.html")).expect("the report"), report);
    assert!(fairtake(&["report", name, "--overwrite"]).status.success());
}

#[test]
fn what_cannot_be_compared_is_said_with_a_hint_and_exit_two() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = at(folder.path(), "notes.wav");
    std::fs::write(&file, "not audio").expect("written");
    let name = file.to_str().expect("plain");
    for args in
        [vec!["compare", name], vec!["compare", name, name], vec!["compare", "/nowhere"], vec!["check", name]]
    {
        let out = fairtake(&args);
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        let said = text(&out.stderr);
        assert!(said.starts_with("error: ") && said.contains("\nhint: "), "{args:?}: {said}");
        assert!(out.stdout.is_empty());
    }
    assert!(text(&fairtake(&["compare", "/nowhere"]).stderr).contains("no such file or folder"));
}
