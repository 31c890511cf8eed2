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
    let made = fairtake(&["demo", name, "--no-page"]);
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
    let again = fairtake(&["demo", name, "--no-page"]);
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

/// A WAV file of 16 bits at 8 kHz: samples interleaved, with cue markers at frames.
fn wav(path: &Path, n_channels: u16, samples: &[i16]) {
    let bytes: Vec<u8> = samples.iter().flat_map(|s| s.to_le_bytes()).collect();
    let mut out = b"RIFF".to_vec();
    out.extend((36 + bytes.len() as u32).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16u32.to_le_bytes());
    out.extend(1u16.to_le_bytes());
    out.extend(n_channels.to_le_bytes());
    out.extend(8000u32.to_le_bytes());
    out.extend((8000 * 2 * u32::from(n_channels)).to_le_bytes());
    out.extend((2 * n_channels).to_le_bytes());
    out.extend(16u16.to_le_bytes());
    out.extend(b"data");
    out.extend((bytes.len() as u32).to_le_bytes());
    out.extend(bytes);
    std::fs::write(path, out).expect("written");
}

#[test]
fn one_long_recording_is_cut_where_microphones_were_changed_and_only_when_told() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let shootout = at(folder.path(), "boathouse");
    let name = shootout.to_str().expect("plain");
    assert!(fairtake(&["new", name]).status.success());
    // Three stretches of sound of 4 s with 6 s between them.
    let sound = |i: usize| if (i / 8000) % 10 < 4 { ((i * 7919) % 20_000) as i16 - 10_000 } else { 0 };
    let long = at(folder.path(), "Long Evening.wav");
    wav(&long, 1, &(0..8000 * 27).map(sound).collect::<Vec<i16>>());
    let long_name = long.to_str().expect("plain");
    let before = content(folder.path());
    let add =
        ["add", name, long_name, "--source", "drum", "--cut", "gaps", "--mics", "moorhen,heron,moorhen"];

    let proposed = fairtake(&add);
    assert!(proposed.status.success(), "{}", text(&proposed.stderr));
    assert!(text(&proposed.stderr).contains("nothing is written yet"));
    assert_eq!(text(&proposed.stdout).lines().count(), 4, "a heading and three parts");
    assert_eq!(content(folder.path()), before);

    let done = fairtake(&[&add[..], &["--yes"]].concat());
    assert!(done.status.success(), "{}", text(&done.stderr));
    let log = std::fs::read_to_string(shootout.join("shootout.toml")).expect("the log");
    assert_eq!(log.matches("[[takes]]").count(), 3);
    // The microphone that returns was set up again.
    let last = log.rsplit("[[takes]]").next().expect("the third");
    assert!(last.contains("mic = \"moorhen\"") && last.contains("placement = 2"), "{last}");
    assert!(shootout.join("takes/long-evening-2-heron.wav").is_file());
    assert!(fairtake(&["compare", name, "--json"]).status.success());

    // The same again would overwrite: refused, and nothing is changed.
    let state = content(folder.path());
    assert_eq!(fairtake(&[&add[..], &["--yes"]].concat()).status.code(), Some(2));
    assert_eq!(content(folder.path()), state);
    let wrong = fairtake(&["add", name, long_name, "--source", "drum", "--cut", "gaps", "--mics", "moorhen"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("3 parts were found, and 1 microphones are named"));
}

#[test]
fn the_channels_of_one_file_share_its_copy_and_their_performance() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let shootout = at(folder.path(), "boathouse");
    let name = shootout.to_str().expect("plain");
    assert!(fairtake(&["new", name]).status.success());
    let two = at(folder.path(), "two.wav");
    wav(&two, 2, &(0..32_000).map(|i| ((i * 7919) % 20_000) as i16 - 10_000).collect::<Vec<i16>>());
    let two_name = two.to_str().expect("plain");
    let unnamed = fairtake(&["add", name, two_name, "--source", "drum"]);
    assert_eq!(unnamed.status.code(), Some(2));
    let done = fairtake(&["add", name, two_name, "--source", "drum", "--mics", "moorhen,heron", "--yes"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    let log = std::fs::read_to_string(shootout.join("shootout.toml")).expect("the log");
    assert_eq!(log.matches("file = \"takes/two.wav\"").count(), 2);
    assert_eq!(log.matches("performance = 1").count(), 2);
    assert_eq!(
        std::fs::read(shootout.join("takes/two.wav")).expect("copied"),
        std::fs::read(&two).expect("there")
    );
}

#[test]
fn a_write_up_is_whole_holds_what_its_manifest_says_and_replaces_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = at(folder.path(), "demo");
    let name = demo.to_str().expect("plain");
    assert!(fairtake(&["demo", name, "--no-page"]).status.success());
    let made = fairtake(&["write-up", name, "--moments", "1", "--licence", "none"]);
    assert!(made.status.success(), "{}", text(&made.stderr));
    let into = demo.join("write-up");
    let manifest = std::fs::read_to_string(into.join("manifest.sha256")).expect("the manifest");
    let mut n_files = 0;
    for line in manifest.lines() {
        let (hash, file) = line.split_once("  ").expect("hash and path");
        assert_eq!(fairtake_files::sha256(&into.join(file)).expect("reads"), hash, "{file}");
        n_files += 1;
    }
    // Two reports, seven of data, two of words for all and three a pair, eight figures and five files of an equaliser a pair, four of
    // a reel and an excerpt of each microphone a source, the licence: four pairs on four sources.
    assert_eq!(n_files, 2 + 7 + 2 + 4 * 3 + 4 * 8 + 4 * 5 + 4 * 4 + 4 * 2 + 1);
    let begins = |file: &str, with: &[u8]| {
        assert!(std::fs::read(into.join(file)).expect("reads").starts_with(with), "{file}");
    };
    begins("report.pdf", b"%PDF-");
    begins("figures/drum-heron-against-moorhen-screen-step-5.png", b"\x89PNG");
    let captions = std::fs::read_to_string(into.join("reels/drum.vtt")).expect("captions");
    assert!(captions.starts_with("WEBVTT\n\n00:00:00.000 --> ") && captions.contains("\nHeron 3\n"));
    let reel = fairtake_files::AudioFile::open(&into.join("reels/drum.wav")).expect("opens");
    let labels: Vec<&str> = reel.metadata().cue_markers.iter().map(|c| c.label.as_str()).collect();
    assert_eq!(labels, ["Moorhen 12", "Heron 3"]);
    let again = fairtake(&["write-up", name]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("exists already"), "{}", text(&again.stderr));
}
