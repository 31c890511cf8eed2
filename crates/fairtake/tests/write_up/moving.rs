//! The moving picture: said before, as frames, as a video, and where `ffmpeg` is missing or fails.

use crate::made::{Made, files, text};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

const SMALL: [&str; 9] =
    ["--moving-size", "700x700", "--frame-rate", "5", "--pieces", "event", "--gap", "0", "--moving"];

/// A program that stands in for ffmpeg, in a folder that is the search path.
fn stand_in(made: &Made, script: &str) -> String {
    let folder = made.around().join("bin");
    std::fs::create_dir_all(&folder).expect("made");
    let path = folder.join("ffmpeg");
    std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).expect("written");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).expect("may run");
    folder.to_string_lossy().into_owned()
}

fn frames(target: &Path) -> Vec<String> {
    files(target).into_iter().filter(|n| n.ends_with(".png") && n.starts_with("moving/")).collect()
}

#[test]
fn length_count_and_size_are_said_before_and_frames_are_so_many() {
    let made = Made::new("boathouse", 2, 6);
    let said = made.write_up(&[&SMALL[..], &["frames", "--only-say"]].concat());
    let said = text(&said.stderr);
    assert!(!made.target().exists(), "only said");
    let n: usize = said
        .split_once(" s, ")
        .and_then(|(_, rest)| rest.split_once(" frames of 700 × 700 px"))
        .and_then(|(n, _)| n.parse().ok())
        .unwrap_or_else(|| panic!("{said}"));
    assert!(said.contains("as frames about ") && n > 5, "{said}");
    made.written(&[&SMALL[..], &["frames"]].concat());
    let frames = frames(&made.target());
    assert_eq!(frames.len(), n);
    assert_eq!(frames[0], "moving/drum-bird-2-against-bird-1/frame-00001.png");
    let sound = made.target().join("moving/drum-bird-2-against-bird-1/sound.wav");
    let sound = fairtake_files::AudioFile::open(&sound).expect("sound");
    // Frames last as long as the sound, to within one of them.
    let frames_s = n as f64 / 5.0;
    let sound_s = sound.frames() as f64 / f64::from(sound.rate_hz());
    assert!((0.0..0.2).contains(&(frames_s - sound_s)), "{frames_s} {sound_s}");
    // The picture moves: frames differ from each other.
    let bytes = |name: &str| std::fs::read(made.target().join(name)).expect("there");
    assert!(frames.windows(2).any(|pair| bytes(&pair[0]) != bytes(&pair[1])));
}

#[test]
fn without_ffmpeg_there_are_frames_and_it_is_said() {
    let made = Made::new("boathouse", 2, 6);
    let out =
        made.command(&[&SMALL[..], &["video"]].concat()).env("PATH", "/nowhere").output().expect("runs");
    let said = text(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(
        said.contains("there is no ffmpeg on this machine; numbered frames are written in its place"),
        "{said}"
    );
    assert!(!frames(&made.target()).is_empty());
}

#[test]
fn ffmpeg_that_fails_leaves_frames_and_its_own_words() {
    let made = Made::new("boathouse", 2, 6);
    let script = "case \"$*\" in *-encoders*) echo ' V.. libx264'; echo ' A.. aac'; exit 0;; esac\n\
                  for last; do :; done\necho half > \"${last#file:}\"\necho 'disk on fire' >&2\nexit 3";
    let path = stand_in(&made, script);
    let out = made.command(&[&SMALL[..], &["video"]].concat()).env("PATH", path).output().expect("runs");
    let said = text(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    assert!(said.contains("no video of ") && said.contains("disk on fire"), "{said}");
    assert!(said.contains("numbered frames are written in its place"), "{said}");
    let there = files(&made.target());
    assert!(!frames(&made.target()).is_empty() && !there.iter().any(|n| n.ends_with(".mp4")), "{there:?}");
}

#[test]
fn ffmpeg_gets_every_frame_and_the_sound() {
    let made = Made::new("boathouse", 2, 6);
    // What comes in is counted; the video is that number.
    let script = "case \"$*\" in *-encoders*) echo ' V.. libvpx-vp9'; echo ' A.. libopus'; exit 0;; esac\n\
                  for last; do :; done\n/usr/bin/wc -c > \"${last#file:}\"";
    let path = stand_in(&made, script);
    let out = made.command(&[&SMALL[..], &["video"]].concat()).env("PATH", path).output().expect("runs");
    let said = text(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    let n_bytes: usize =
        made.read("moving/drum-bird-2-against-bird-1/moving.webm").trim().parse().expect("a number");
    let n = n_bytes / (700 * 700 * 3);
    assert_eq!(n_bytes, n * 700 * 700 * 3);
    assert!(said.contains(&format!("700 × 700 px, {n} frames")), "{said}");
    assert!(frames(&made.target()).is_empty(), "frames are kept only where they are asked for");
}

#[test]
fn what_is_too_long_or_too_large_is_refused_with_what_is_the_most() {
    let made = Made::new("boathouse", 2, 6);
    let said = |more: &[&str]| text(&made.write_up(&[more, &["--only-say"]].concat()).stderr);
    assert!(said(&["--moving", "frames", "--frame-rate", "100"]).contains("take 1 to 60"));
    assert!(said(&["--moving", "frames", "--moving-size", "5000x3000"]).contains("3840 by 2160 px"));
}
