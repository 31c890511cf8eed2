//! Which files of a folder are complete: a recorder writes into it, and nothing tells when it is done.
//!
//! The folder is looked at again and again. That is slower than asking the system for news by a fraction of a second,
//! and it works wherever a folder can be listed: on network drives and memory cards the system often has no news to
//! give. Locks are not relied on either: few recorders hold one, and networks lose them.

use crate::wav::read_layout;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// A file whose size and time of change have stood still for so long, and whose header fits its length, is complete.
/// Reason: recorders write several times a second, and the answer is due within 2 s.
const STEADY: Duration = Duration::from_millis(1000);
/// A file whose header does not fit its length is given so long: some recorders write the header last. Then it is
/// reported all the same, since nobody seems to go on writing.
const PATIENCE: Duration = Duration::from_secs(6);
/// Endings of audio files, in small letters. What a file is, is told by its content; this only keeps notes and pictures
/// out.
pub(crate) const ENDINGS: [&str; 15] = [
    "wav", "wave", "bwf", "rf64", "bw64", "aif", "aiff", "aifc", "flac", "ogg", "oga", "mp3", "m4a", "aac",
    "mp4",
];

/// Looks at the audio files in a folder and in its `takes`.
#[derive(Debug, Clone)]
pub struct Watcher {
    folder: PathBuf,
    files: BTreeMap<String, Watched>,
}

/// What shows that a file changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stamp {
    n_bytes: u64,
    changed: Option<SystemTime>,
}

#[derive(Debug, Clone, Copy)]
struct Watched {
    stamp: Stamp,
    /// When it was first seen like this.
    since: Duration,
    reported: bool,
}

impl Watcher {
    /// Watches a folder. Files that are there already are reported too, unless [`Watcher::pass_over`] names them.
    pub fn new(folder: &Path) -> Watcher {
        Watcher { folder: folder.into(), files: BTreeMap::new() }
    }

    /// Takes files as known as they are now: they are reported when they change.
    pub fn pass_over<'f>(&mut self, files: impl Iterator<Item = &'f str>) {
        for file in files {
            if let Some(stamp) = stamp(&self.folder.join(file)) {
                self.files.insert(file.into(), Watched { stamp, since: Duration::ZERO, reported: true });
            }
        }
    }

    /// Looks once: the files that are complete now, or that nobody goes on writing, and were not reported as they are.
    /// Paths count from the folder, with `/`, as the log has them. `now` is the time since any fixed moment, and never
    /// runs backwards.
    ///
    /// # Errors
    /// When the folder itself cannot be listed.
    pub fn look(&mut self, now: Duration) -> std::io::Result<Vec<String>> {
        let there = all_audio(&self.folder)?;
        let mut dropped = Vec::new();
        for (file, stamp) in &there {
            let known = self.files.get(file).copied();
            let watched = match known {
                Some(w) if w.stamp == *stamp => w,
                Some(_) | None => Watched { stamp: *stamp, since: now, reported: false },
            };
            let still = now.saturating_sub(watched.since);
            let done = !watched.reported
                && still >= STEADY
                && (still >= PATIENCE || fits(&self.folder.join(file), stamp.n_bytes));
            self.files.insert(file.clone(), Watched { reported: watched.reported || done, ..watched });
            if done {
                dropped.push(file.clone());
            }
        }
        self.files.retain(|file, _| there.iter().any(|(f, _)| f == file));
        Ok(dropped)
    }

    /// Files that are there and not reported yet.
    pub fn unfinished(&self) -> Vec<&str> {
        self.files.iter().filter(|(_, w)| !w.reported).map(|(file, _)| file.as_str()).collect()
    }
}

/// Audio files in a folder and in its `takes`, by name, as the log would name them.
///
/// # Errors
/// When the folder itself cannot be listed.
pub fn audio_in(folder: &Path) -> std::io::Result<Vec<String>> {
    Ok(all_audio(folder)?.into_iter().map(|(file, _)| file).collect())
}

fn all_audio(folder: &Path) -> std::io::Result<Vec<(String, Stamp)>> {
    let mut there = audio_files(folder, "")?;
    // The folder for takes may be missing, or come later.
    there.extend(audio_files(&folder.join("takes"), "takes/").unwrap_or_default());
    Ok(there)
}

fn stamp(path: &Path) -> Option<Stamp> {
    let about = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    Some(Stamp { n_bytes: about.len(), changed: about.modified().ok() })
}

/// Audio files right in a folder, by name; hidden ones are somebody's work in progress.
fn audio_files(folder: &Path, prefix: &str) -> std::io::Result<Vec<(String, Stamp)>> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        // A file that vanishes while the folder is listed is no error.
        let Ok(entry) = entry else { continue };
        let path = entry.path();
        let Some(name) = path.file_name().and_then(|n| n.to_str()).filter(|n| !n.starts_with('.')) else {
            continue;
        };
        let ending = path.extension().and_then(|e| e.to_str()).unwrap_or_default().to_ascii_lowercase();
        if ENDINGS.contains(&ending.as_str())
            && let Some(stamp) = stamp(&path)
        {
            out.push((format!("{prefix}{name}"), stamp));
        }
    }
    out.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(out)
}

/// True when nothing in the header shows that more is to come. Files without a length in their header always fit.
fn fits(path: &Path, n_bytes: u64) -> bool {
    let Ok(mut file) = File::open(path) else { return false };
    let mut head = [0u8; 12];
    if file.read_exact(&mut head).is_err() {
        return false;
    }
    let four = [head[4], head[5], head[6], head[7]];
    // A container says how much follows its first eight bytes; a last odd byte may be uncounted.
    let announced_fits = |announced: u32| {
        let end = u64::from(announced) + 8;
        end == n_bytes || end + 1 == n_bytes
    };
    match &head[..4] {
        b"RIFF" => announced_fits(u32::from_le_bytes(four)) && read_layout(&file).is_ok(),
        // The long forms keep the true length in a chunk of their own, which is checked against the file there.
        b"RF64" | b"BW64" => read_layout(&file).is_ok(),
        b"FORM" => announced_fits(u32::from_be_bytes(four)),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wav::{Replace, StoreAs, WavSpec, WavWriter};

    fn written(path: &Path, n_frames: usize) -> Vec<u8> {
        let spec = WavSpec {
            rate_hz: 8000,
            n_channels: 1,
            store_as: StoreAs::Int16,
            bext: None,
            cue_markers: Vec::new(),
        };
        let mut w = WavWriter::create(path, spec, Replace::Allowed).expect("made");
        w.write(&vec![0.25; n_frames]).expect("written");
        w.finish().expect("finished");
        std::fs::read(path).expect("there")
    }

    /// Looks every quarter of a second from one moment to another; what was reported, and when.
    fn looked(watcher: &mut Watcher, from_ms: u64, to_ms: u64) -> Vec<(u64, String)> {
        (from_ms..to_ms)
            .step_by(250)
            .flat_map(|ms| {
                let dropped = watcher.look(Duration::from_millis(ms)).expect("the folder is there");
                dropped.into_iter().map(move |file| (ms, file)).collect::<Vec<_>>()
            })
            .collect()
    }

    #[test]
    fn a_complete_file_is_reported_once_and_again_only_when_it_changed() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::create_dir(folder.path().join("takes")).expect("made");
        written(&folder.path().join("takes/a.wav"), 800);
        std::fs::write(folder.path().join("notes.txt"), "no audio").expect("written");
        std::fs::write(folder.path().join(".hidden.wav"), "no audio").expect("written");
        let mut watcher = Watcher::new(folder.path());
        assert_eq!(looked(&mut watcher, 0, 20_000), [(1000, "takes/a.wav".into())]);
        written(&folder.path().join("takes/a.wav"), 900);
        assert_eq!(looked(&mut watcher, 20_000, 40_000), [(21_000, "takes/a.wav".into())]);
        // Removed and recorded again under the same name.
        std::fs::remove_file(folder.path().join("takes/a.wav")).expect("removed");
        assert_eq!(looked(&mut watcher, 40_000, 41_000), []);
        written(&folder.path().join("takes/a.wav"), 700);
        assert_eq!(looked(&mut watcher, 41_000, 43_000).len(), 1);
        // What is passed over is not reported until it changes.
        let mut known = Watcher::new(folder.path());
        known.pass_over(["takes/a.wav", "takes/missing.wav"].into_iter());
        assert_eq!(looked(&mut known, 0, 10_000), []);
    }

    #[test]
    fn a_file_that_grows_is_not_reported_and_neither_is_one_whose_header_promises_more() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("growing.wav");
        let whole = written(&path, 8000);
        let mut watcher = Watcher::new(folder.path());
        for i in 0..40 {
            // Every half second a bit more, under the header of the whole.
            std::fs::write(&path, &whole[..100 + i * 100]).expect("written");
            assert_eq!(looked(&mut watcher, i as u64 * 500, (i as u64 + 1) * 500), []);
        }
        assert_eq!(watcher.unfinished(), ["growing.wav"]);
        // Standing still for three seconds is not enough while the header says that more is to come.
        assert_eq!(looked(&mut watcher, 20_000, 23_000), []);
        std::fs::write(&path, &whole).expect("written");
        assert_eq!(looked(&mut watcher, 23_000, 30_000), [(24_000, "growing.wav".into())]);
    }

    #[test]
    fn a_header_that_is_never_mended_is_reported_in_the_end() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("cut-off.wav");
        let whole = written(&path, 8000);
        std::fs::write(&path, &whole[..5000]).expect("written");
        std::fs::write(folder.path().join("text.wav"), "this is no audio at all").expect("written");
        let mut watcher = Watcher::new(folder.path());
        let reported = looked(&mut watcher, 0, 20_000);
        assert_eq!(reported, [(1000, "text.wav".into()), (6000, "cut-off.wav".into())]);
    }
}
