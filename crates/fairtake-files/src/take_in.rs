//! Taking recordings into a shootout folder: copied whole, or a stretch cut out. Nothing is ever overwritten, and
//! nothing is in sight before all of it is complete: a run that is killed leaves log and takes as they were.

use crate::audio::AudioFile;
use crate::error::{AudioError, AudioProblem};
use crate::hash::sha256;
use crate::staging::staged;
use crate::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_compare::Samples;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Frames copied at once.
const STRETCH: usize = 1 << 16;

/// Recordings on their way into a folder, still out of sight.
#[derive(Debug)]
pub struct Intake {
    folder: PathBuf,
    waiting: Vec<(NamedTempFile, PathBuf)>,
}

/// Recordings that were put in place and are not logged yet.
#[derive(Debug)]
pub struct Placed {
    paths: Vec<PathBuf>,
}

impl Intake {
    /// Nothing taken in yet.
    pub fn new(folder: &Path) -> Intake {
        Intake { folder: folder.into(), waiting: Vec::new() }
    }

    /// Copies a file, byte for byte, to become `takes/NAME`; gives that path for the log.
    ///
    /// # Errors
    /// When there is another such file already, or reading or writing fails.
    pub fn copy(&mut self, from: &Path, name: &str) -> Result<String, AudioError> {
        let (logged, target) = self.target(name)?;
        let at = |path: &Path, e: std::io::Error| AudioError {
            file: path.display().to_string(),
            problem: AudioProblem::System(e.to_string()),
        };
        let mut source = std::fs::File::open(from).map_err(|e| at(from, e))?;
        let about = source.metadata().map_err(|e| at(from, e))?;
        // Before gigabytes are copied for nothing.
        if std::fs::metadata(&target).is_ok_and(|there| there.len() != about.len()) {
            return Err(exists(&target));
        }
        let mut made = staged(&self.folder).map_err(|e| at(&target, e))?;
        std::io::copy(&mut source, made.as_file_mut()).map_err(|e| at(&target, e))?;
        made.as_file().set_permissions(about.permissions()).map_err(|e| at(&target, e))?;
        made.as_file().sync_all().map_err(|e| at(&target, e))?;
        self.waiting.push((made, target));
        Ok(logged)
    }

    /// Writes frames `from..to` of a channel, to become `takes/NAME`, as WAV; gives that path for the log. Integers
    /// of up to 24 bits stay what they are; anything finer is written as 32-bit float.
    ///
    /// # Errors
    /// When reading or writing fails.
    pub fn cut(
        &mut self,
        audio: &AudioFile,
        channel: u16,
        (from, to): (u64, u64),
        name: &str,
    ) -> Result<String, AudioError> {
        let (logged, target) = self.target(name)?;
        let fail = |what: String| AudioError {
            file: target.display().to_string(),
            problem: AudioProblem::System(what),
        };
        let samples = audio.channel(channel)?;
        let store_as = match audio.bits() {
            Some(bits) if bits <= 16 => StoreAs::Int16,
            Some(24) => StoreAs::Int24,
            _ => StoreAs::Float32,
        };
        let (bext, cue_markers) = (None, Vec::new());
        let spec = WavSpec { rate_hz: audio.rate_hz(), n_channels: 1, store_as, bext, cue_markers };
        let made = staged(&self.folder).map_err(|e| fail(e.to_string()))?;
        let mut writer = WavWriter::into_file(made, &target, spec, Replace::Never)?;
        let mut stretch = vec![0f32; STRETCH];
        let mut at = from;
        while at < to {
            let wanted = STRETCH.min(usize::try_from(to - at).unwrap_or(STRETCH));
            let n = samples.read(at, &mut stretch[..wanted]).map_err(|e| fail(e.to_string()))?;
            if n == 0 {
                break;
            }
            writer.write(&stretch[..n])?;
            at += n as u64;
        }
        let made = writer.complete()?;
        self.waiting.push((made, target));
        Ok(logged)
    }

    /// Puts everything in place. A file that is there already with the same bytes was left by a run that was killed
    /// before it could log it; it is taken as it is.
    ///
    /// # Errors
    /// When another file of that name is there; nothing is then in place.
    pub fn place(self) -> Result<Placed, AudioError> {
        let mut placed = Placed { paths: Vec::new() };
        for (made, target) in self.waiting {
            match made.persist_noclobber(&target) {
                Ok(_) => placed.paths.push(target),
                Err(e) if e.error.kind() == std::io::ErrorKind::AlreadyExists => {
                    if sha256(e.file.path())? != sha256(&target)? {
                        placed.take_back();
                        return Err(exists(&target));
                    }
                }
                Err(e) => {
                    placed.take_back();
                    let problem = AudioProblem::System(e.error.to_string());
                    return Err(AudioError { file: target.display().to_string(), problem });
                }
            }
        }
        Ok(placed)
    }

    fn target(&self, name: &str) -> Result<(String, PathBuf), AudioError> {
        let logged = format!("takes/{name}");
        let target = self.folder.join(&logged);
        let takes = self.folder.join("takes");
        std::fs::create_dir_all(&takes).map_err(|e| AudioError {
            file: takes.display().to_string(),
            problem: AudioProblem::System(e.to_string()),
        })?;
        Ok((logged, target))
    }
}

impl Placed {
    /// Removes them again, where they could not be logged.
    pub fn take_back(self) {
        self.paths.iter().for_each(|path| drop(std::fs::remove_file(path)));
    }
}

fn exists(target: &Path) -> AudioError {
    AudioError { file: target.display().to_string(), problem: AudioProblem::Exists }
}

/// A key of the log from a name: small letters, digits and hyphens.
pub fn key_of(name: &str) -> String {
    let plain: String =
        name.trim().chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let mut out = String::new();
    for part in plain.split('-').filter(|p| !p.is_empty()) {
        if !out.is_empty() {
            out.push('-');
        }
        out.push_str(part);
    }
    if out.is_empty() { "mic".to_string() } else { out }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_stretch_is_exact_and_nothing_is_overwritten() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let source = folder.path().join("long.wav");
        let spec = WavSpec {
            rate_hz: 48_000,
            n_channels: 1,
            store_as: StoreAs::Int24,
            bext: None,
            cue_markers: Vec::new(),
        };
        // Exact in 24 bits.
        let x: Vec<f32> = (0..200_000).map(|i| (i * 37 % 8_388_607) as f32 / 8_388_608.0).collect();
        let mut w = WavWriter::create(&source, spec, Replace::Never).expect("made");
        w.write(&x).expect("written");
        w.finish().expect("finished");
        let audio = AudioFile::open(&source).expect("opens");
        let mut intake = Intake::new(folder.path());
        let logged = intake.cut(&audio, 1, (1000, 150_000), "part.wav").expect("cut");
        assert!(!folder.path().join(&logged).exists(), "not in sight before it is placed");
        intake.place().expect("placed");
        let part = AudioFile::open(&folder.path().join(&logged)).expect("opens");
        assert_eq!((part.frames(), part.bits()), (149_000, Some(24)));
        let mut y = vec![0f32; 149_000];
        part.channel(1).expect("there is one").read(0, &mut y).expect("reads");
        assert!(y == x[1000..150_000]);
        // Another part under that name, behind one that is new: neither is there afterwards.
        let mut again = Intake::new(folder.path());
        again.cut(&audio, 1, (0, 10), "new.wav").expect("cut");
        again.cut(&audio, 1, (0, 10), "part.wav").expect("cut");
        assert_eq!(again.place().expect_err("is there already").problem, AudioProblem::Exists);
        assert!(!folder.path().join("takes/new.wav").exists());
        assert_eq!(AudioFile::open(&folder.path().join(&logged)).expect("opens").frames(), 149_000);

        let mut copies = Intake::new(folder.path());
        let copied = copies.copy(&source, "whole.wav").expect("copied");
        let placed = copies.place().expect("placed");
        let (a, b) = (std::fs::read(&source), std::fs::read(folder.path().join(&copied)));
        assert_eq!(a.expect("there"), b.expect("there"));
        // Left by a run that was killed: taken as it is, and not removed by the run that found it.
        let mut resumed = Intake::new(folder.path());
        resumed.copy(&source, "whole.wav").expect("copied");
        resumed.place().expect("the same bytes").take_back();
        assert!(folder.path().join(&copied).exists());
        placed.take_back();
        assert!(!folder.path().join(&copied).exists());
        std::fs::write(folder.path().join(&copied), "else").expect("written");
        let refused = Intake::new(folder.path()).copy(&source, "whole.wav").expect_err("another file");
        assert_eq!(refused.problem, AudioProblem::Exists);
    }

    #[test]
    fn names_become_keys() {
        assert_eq!(
            (key_of("Moorhen 12"), key_of("  ../x/Y "), key_of("??")),
            ("moorhen-12".into(), "x-y".into(), "mic".into())
        );
    }
}
