//! A run that is killed at any moment leaves the log and the takes as they were, and the next run works.
//!
//! Every command is first timed to its end, then begun again on the same state and killed (SIGKILL, which no program
//! can answer; Ctrl-C does no more) at moments spread over that time.

use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{AudioFile, ShootoutFolder, sha256};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// How many moments of each command are tried.
const N_MOMENTS: u32 = 12;

fn begin(folder: &Path, args: &[&str]) -> std::process::Child {
    Command::new(env!("CARGO_BIN_EXE_fairtake"))
        .current_dir(folder)
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program runs")
}

/// Hashes of everything that a user made or logged: what is derived or on its way is in `.fairtake` and left out.
fn state(folder: &Path) -> BTreeMap<PathBuf, String> {
    let mut out = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(here) = folders.pop() {
        for entry in std::fs::read_dir(here).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.extend((!path.ends_with(".fairtake")).then_some(path));
            } else {
                let hash = sha256(&path).expect("reads");
                out.insert(path, hash);
            }
        }
    }
    out
}

fn write(path: &Path, samples: &[f32]) {
    let (bext, cue_markers) = (None, Vec::new());
    let spec = WavSpec { rate_hz: 48_000, n_channels: 1, store_as: StoreAs::Int24, bext, cue_markers };
    let mut writer = WavWriter::create(path, spec, Replace::Never).expect("creates");
    writer.write(samples).expect("writes");
    writer.finish().expect("finishes");
}

/// Three stretches of decaying knocks of 5 s with 6 s between them, at 48 kHz.
fn long_evening() -> Vec<f32> {
    let second = 48_000;
    (0..33 * second)
        .map(|i| {
            let at = i % second;
            let noise =
                ((i as u64).wrapping_mul(6_364_136_223_846_793_005) >> 40) as f32 / (1u64 << 23) as f32 - 1.0;
            let sounds = i / second % 11 < 5;
            if sounds { 0.5 * noise * (-(at as f32) / 3000.0).exp() } else { noise * 1e-5 }
        })
        .collect()
}

fn run(folder: &Path, args: &[&str]) -> Duration {
    let start = Instant::now();
    let status = begin(folder, args).wait().expect("ends");
    assert!(status.success(), "{args:?}");
    start.elapsed()
}

/// Kills the command after a part of the time it takes; gives whether it was still running.
fn kill_after(folder: &Path, args: &[&str], wait: Duration) -> bool {
    let mut child = begin(folder, args);
    sleep(wait);
    let running = child.try_wait().expect("can be asked").is_none();
    child.kill().expect("can be killed");
    child.wait().expect("ends");
    running
}

fn copy_tree(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("made");
    for entry in std::fs::read_dir(from).expect("a folder") {
        let path = entry.expect("an entry").path();
        let target = to.join(path.file_name().expect("has a name"));
        if path.is_dir() {
            copy_tree(&path, &target);
        } else {
            std::fs::copy(&path, &target).expect("copied");
        }
    }
}

/// The log is whole, every take that it names opens, and each is as it was.
fn is_sound(shootout: &Path) {
    let log = ShootoutFolder::open(shootout).and_then(|f| f.log()).expect("the log is whole");
    for take in log.takes {
        let audio = AudioFile::open(&shootout.join(&take.file)).expect("a take that is logged is complete");
        assert!(audio.frames() > 0);
    }
}

#[test]
fn add_that_is_killed_leaves_log_and_takes_and_can_be_run_again() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    let fresh = folder.join("fresh");
    write(&folder.join("evening.wav"), &long_evening());
    run(folder, &["new", "fresh"]);
    write(&fresh.join("takes/early.wav"), &long_evening()[..48_000]);
    let log = "title = \"fresh\"\n\n[mics.heron]\n[sources.drum]\n\n[[takes]]\nfile = \"takes/early.wav\"\n\
               mic = \"heron\"\nsource = \"drum\"\n";
    std::fs::write(fresh.join("shootout.toml"), log).expect("written");
    let add = |name: &'static str| {
        let mics = "moorhen,heron,moorhen";
        ["add", name, "evening.wav", "--source", "drum", "--cut", "gaps", "--mics", mics, "--yes"]
    };
    copy_tree(&fresh, &folder.join("whole"));
    let before = state(&fresh);
    let takes_s = run(folder, &add("whole"));
    let after = state(&folder.join("whole"));
    assert_eq!(after.len(), before.len() + 3);
    let after: Vec<&String> = after.values().collect();

    let mut n_killed = 0;
    for moment in 0..N_MOMENTS {
        let again = folder.join("again");
        copy_tree(&fresh, &again);
        n_killed += u32::from(kill_after(folder, &add("again"), takes_s * moment / N_MOMENTS));
        let here: BTreeMap<PathBuf, String> = state(&again)
            .into_iter()
            .map(|(p, h)| (fresh.join(p.strip_prefix(&again).expect("inside")), h))
            .collect();
        let logged = here[&fresh.join("shootout.toml")] != before[&fresh.join("shootout.toml")];
        for (path, hash) in &before {
            assert!(logged && path.ends_with("shootout.toml") || here[path] == *hash, "{path:?} at {moment}");
        }
        is_sound(&again);
        if !logged {
            // Nothing has to be cleared away by hand, and the result is that of a run that was never killed.
            run(folder, &add("again"));
        }
        let end = state(&again);
        assert_eq!(end.values().collect::<Vec<_>>(), after, "moment {moment}");
        let left = std::fs::read_dir(again.join(".fairtake")).expect("is there").count();
        assert_eq!(left, 0, "what the killed run left is cleared away");
        std::fs::remove_dir_all(&again).expect("removed");
    }
    assert!(n_killed >= N_MOMENTS / 2, "{n_killed} were killed in time");
}

#[test]
fn compare_that_is_killed_changes_nothing_and_the_next_result_is_the_same() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    write(&folder.join("evening.wav"), &long_evening());
    run(folder, &["new", "s"]);
    let mics = "moorhen,heron,moorhen";
    run(folder, &["add", "s", "evening.wav", "--source", "drum", "--cut", "gaps", "--mics", mics, "--yes"]);
    let before = state(folder);
    let takes_s = run(folder, &["compare", "s", "--json", "--anew"]);
    assert_eq!(state(folder), before);
    let truth = Command::new(env!("CARGO_BIN_EXE_fairtake"))
        .current_dir(folder)
        .args(["compare", "s", "--json", "--anew"])
        .output()
        .expect("runs");
    let mut n_killed = 0;
    for moment in 0..N_MOMENTS {
        n_killed += u32::from(kill_after(folder, &["compare", "s", "--json"], takes_s * moment / N_MOMENTS));
        assert_eq!(state(folder), before, "moment {moment}");
    }
    assert!(n_killed >= N_MOMENTS / 3, "{n_killed} were killed in time");
    let kept = Command::new(env!("CARGO_BIN_EXE_fairtake"))
        .current_dir(folder)
        .args(["compare", "s", "--json"])
        .output()
        .expect("runs");
    assert_eq!(kept.stdout, truth.stdout);
    assert_eq!(state(folder), before);
}

#[test]
fn new_and_demo_that_are_killed_leave_no_half_log() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    std::fs::write(folder.join("neighbour.txt"), "not ours").expect("written");
    let neighbour = sha256(&folder.join("neighbour.txt")).expect("reads");
    let new_s = run(folder, &["new", "whole"]);
    // The demo is killed while it plays, writes and begins to compare; it is never waited for.
    let demo_s = Duration::from_secs(6);
    for (command, whole_s) in [("new", new_s), ("demo", demo_s)] {
        for moment in 0..N_MOMENTS {
            let made = folder.join("made");
            let typed: &[&str] =
                if command == "new" { &["new", "made"] } else { &["demo", "made", "--no-page"] };
            kill_after(folder, typed, whole_s * moment / N_MOMENTS);
            if made.join("shootout.toml").exists() {
                is_sound(&made);
            }
            assert_eq!(sha256(&folder.join("neighbour.txt")).expect("reads"), neighbour);
            let mut there: Vec<_> =
                std::fs::read_dir(folder).expect("lists").map(|e| e.expect("an entry").file_name()).collect();
            there.retain(|n| n != "made");
            there.sort();
            assert_eq!(there, ["neighbour.txt", "whole"]);
            if command == "new" && !made.join("shootout.toml").exists() {
                run(folder, &["new", "made"]);
            }
            if made.exists() {
                std::fs::remove_dir_all(&made).expect("removed");
            }
        }
    }
}
