//! Taking recordings into a shootout folder: copied whole, or a stretch cut out. Nothing is ever overwritten.

use crate::audio::AudioFile;
use crate::error::{AudioError, AudioProblem};
use crate::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_compare::Samples;
use std::path::Path;

/// Frames copied at once.
const STRETCH: usize = 1 << 16;

/// Copies a file to `takes/NAME` in the folder, byte for byte, whole or not at all; gives the path for the log.
///
/// # Errors
/// When there is such a file already, or reading or writing fails.
pub fn copy_in(folder: &Path, from: &Path, name: &str) -> Result<String, AudioError> {
    let logged = format!("takes/{name}");
    let target = folder.join(&logged);
    let fail = |problem| AudioError { file: target.display().to_string(), problem };
    let system = |e: std::io::Error| fail(AudioProblem::System(e.to_string()));
    if target.exists() {
        return Err(fail(AudioProblem::Exists));
    }
    let takes = folder.join("takes");
    std::fs::create_dir_all(&takes).map_err(system)?;
    let mut source = std::fs::File::open(from).map_err(system)?;
    let mut made = tempfile::NamedTempFile::new_in(&takes).map_err(system)?;
    std::io::copy(&mut source, made.as_file_mut()).map_err(system)?;
    if let Ok(about) = source.metadata() {
        made.as_file().set_permissions(about.permissions()).map_err(system)?;
    }
    made.as_file().sync_all().map_err(system)?;
    made.persist_noclobber(&target).map_err(|e| match e.error.kind() {
        std::io::ErrorKind::AlreadyExists => fail(AudioProblem::Exists),
        _ => system(e.error),
    })?;
    Ok(logged)
}

/// Writes frames `from..to` of a channel to `takes/NAME` in the folder as WAV; gives the path for the log. Integers of up
/// to 24 bits stay what they are; anything finer is written as 32-bit float.
///
/// # Errors
/// When there is such a file already, or reading or writing fails.
pub fn cut_in(
    folder: &Path,
    audio: &AudioFile,
    channel: u16,
    (from, to): (u64, u64),
    name: &str,
) -> Result<String, AudioError> {
    let logged = format!("takes/{name}");
    let target = folder.join(&logged);
    let fail =
        |what: String| AudioError { file: target.display().to_string(), problem: AudioProblem::System(what) };
    std::fs::create_dir_all(folder.join("takes")).map_err(|e| fail(e.to_string()))?;
    let samples = audio.channel(channel)?;
    let store_as = match audio.bits() {
        Some(bits) if bits <= 16 => StoreAs::Int16,
        Some(24) => StoreAs::Int24,
        _ => StoreAs::Float32,
    };
    let spec =
        WavSpec { rate_hz: audio.rate_hz(), n_channels: 1, store_as, bext: None, cue_markers: Vec::new() };
    let mut writer = WavWriter::create(&target, spec, Replace::Never)?;
    let mut stretch = vec![0f32; STRETCH];
    let mut at = from;
    while at < to {
        let wanted = STRETCH.min((to - at) as usize);
        let n = samples.read(at, &mut stretch[..wanted]).map_err(|e| fail(e.to_string()))?;
        if n == 0 {
            break;
        }
        writer.write(&stretch[..n])?;
        at += n as u64;
    }
    writer.finish()?;
    Ok(logged)
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
        let logged = cut_in(folder.path(), &audio, 1, (1000, 150_000), "part.wav").expect("cut");
        let part = AudioFile::open(&folder.path().join(&logged)).expect("opens");
        assert_eq!((part.frames(), part.bits()), (149_000, Some(24)));
        let mut y = vec![0f32; 149_000];
        part.channel(1).expect("there is one").read(0, &mut y).expect("reads");
        assert!(y == x[1000..150_000]);
        let again = cut_in(folder.path(), &audio, 1, (0, 10), "part.wav").expect_err("is there already");
        assert_eq!(again.problem, AudioProblem::Exists);
        let copied = copy_in(folder.path(), &source, "whole.wav").expect("copied");
        let (a, b) = (std::fs::read(&source), std::fs::read(folder.path().join(copied)));
        assert_eq!(a.expect("there"), b.expect("there"));
        assert!(copy_in(folder.path(), &source, "whole.wav").is_err());
    }

    #[test]
    fn names_become_keys() {
        assert_eq!(
            (key_of("Moorhen 12"), key_of("  ../x/Y "), key_of("??")),
            ("moorhen-12".into(), "x-y".into(), "mic".into())
        );
    }
}
