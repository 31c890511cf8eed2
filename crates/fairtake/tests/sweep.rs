//! `sweep`, as typed: what is written, what is said, what is refused.

use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairtake"))
        .arg("sweep")
        .args(args)
        .current_dir(folder)
        .output()
        .expect("runs")
}

fn said(output: &Output) -> (String, String) {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (text(&output.stdout), text(&output.stderr))
}

#[test]
fn a_sweep_is_written_once_and_says_what_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let args = ["sweep.wav", "--seconds", "2", "--level", "-30,-18", "--repeats", "2", "--rate", "44100"];
    let made = run(folder.path(), &args);
    let (out, talk) = said(&made);
    assert_eq!(made.status.code(), Some(0), "{talk}");
    let expected = "exponential sine sweep, 15 Hz to 21168 Hz: 1.93 s a pass, peak -30, -18 dBFS, each 2 times, 1 s of silence after \
                    each\n44100 Hz, 16.0 s in all, code ";
    assert!(out.starts_with(expected), "{out}");
    assert!(talk.contains("Begin with the volume down") && talk.contains("hearing protection"), "{talk}");
    let bytes = std::fs::read(folder.path().join("sweep.wav")).expect("written");
    // Silence, marks, four passes; 3 bytes a frame and a head of 44 bytes or a little more.
    let seconds = (bytes.len() as f64 - 44.0) / (3.0 * 44_100.0);
    assert!((seconds - 16.0).abs() < 0.1, "{seconds}");

    let again = run(folder.path(), &args);
    assert_eq!(again.status.code(), Some(2));
    assert!(said(&again).1.starts_with("error: sweep.wav: "), "{}", said(&again).1);
    assert_eq!(std::fs::read(folder.path().join("sweep.wav")).expect("still there"), bytes);
}

#[test]
fn the_description_in_json_is_the_whole_of_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let made =
        run(folder.path(), &["tone.wav", "--kind", "tone", "--tone", "250", "--seconds", "1", "--json"]);
    let form: serde_json::Value = serde_json::from_slice(&made.stdout).expect("JSON");
    assert_eq!(form["kind"], "tone");
    assert_eq!((form["from_hz"].as_f64(), form["to_hz"].as_f64()), (Some(250.0), Some(250.0)));
    assert_eq!(form["levels_dbfs"], serde_json::json!([-12.0]));
}

#[test]
fn what_cannot_be_is_refused_with_a_remedy_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("box.txt"), "20 0\n31.5 loud\n").expect("written");
    for (args, expected) in [
        (
            vec!["--to", "30000"],
            "error: highest frequency of 30000 Hz is out of range\nhint: choose between 1 Hz and 23040 Hz",
        ),
        (vec!["--level", "-10,-20"], "error: levels do not rise: -20 dBFS after -10 dBFS\nhint: write the"),
        (vec!["--loudspeaker", "no.txt"], "error: no.txt: "),
        (
            vec!["--loudspeaker", "box.txt"],
            "error: box.txt: line 2: `loud` is not a number\n  31.5 loud\n       ^\nhint: write one point a line",
        ),
    ] {
        let all: Vec<&str> = ["out.wav"].into_iter().chain(args).collect();
        let refused = run(folder.path(), &all);
        assert_eq!(refused.status.code(), Some(2));
        assert!(said(&refused).1.starts_with(expected), "{}", said(&refused).1);
        assert!(!folder.path().join("out.wav").exists());
    }
}
