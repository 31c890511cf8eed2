//! Files by other programs' encoders: lossless ones sample for sample, damage noticed, lossy ones flagged.
//!
//! `tests/data/ramp.*`: frame i of channel c (from 0) is (4001 i + 90001 c) mod 2000003 − 1000001, 24 bits, 6000 frames
//! at 48 kHz, by the reference FLAC encoder and by SoX. `tone.*`: 1 kHz at half of full scale, 4800 frames.

use fairtake_compare::Samples;
use fairtake_files::{AudioError, AudioFile};

fn opened(name: &str, bytes: &[u8]) -> Result<AudioFile, AudioError> {
    let folder = tempfile::tempdir().expect("a folder for the test");
    // The ending says something else on purpose: kinds are told by content.
    let path = folder.path().join(format!("{name}.wav"));
    std::fs::write(&path, bytes).expect("writes");
    AudioFile::open(&path)
}

fn all(file: &AudioFile, channel: u16) -> Vec<f32> {
    let samples = file.channel(channel).expect("is there");
    let mut out = vec![9.0; samples.frames() as usize];
    assert_eq!(samples.read(0, &mut out).expect("reads"), out.len());
    out
}

const FLAC: &[u8] = include_bytes!("data/ramp.flac");
const AIFF: &[u8] = include_bytes!("data/ramp.aiff");

#[test]
fn lossless_files_are_read_sample_for_sample() {
    for (name, bytes) in [("FLAC", FLAC), ("AIFF", AIFF)] {
        let file = opened(name, bytes).expect("opens");
        assert_eq!((file.rate_hz(), file.n_channels(), file.frames()), (48_000, 2, 6000));
        let stored = file.stored_as_with(String::new());
        assert!(stored.format.starts_with(name) && !stored.lossy && stored.bits == Some(24), "{stored:?}");
        for c in 0..2i64 {
            let value = |i: i64| ((i * 4001 + c * 90_001) % 2_000_003 - 1_000_001) as f32 / 8_388_608.0;
            assert_eq!(all(&file, c as u16 + 1), (0..6000).map(value).collect::<Vec<_>>(), "{name}");
        }
    }
}

#[test]
fn lossy_files_are_flagged_and_hold_the_tone() {
    let ogg: &[u8] = include_bytes!("data/tone.ogg");
    let file = opened("ogg", ogg).expect("opens");
    let stored = file.stored_as_with(String::new());
    assert!(stored.lossy && stored.bits.is_none() && stored.format == "Ogg Vorbis");
    assert_eq!(file.frames(), 4800);
    // Whole periods away from the ends; 1 % covers the coding, the exact value is 0.5 / sqrt(2).
    let power: f64 = all(&file, 1)[960..3840].iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / 2880.0;
    assert!((power.sqrt() - 0.5 / 2f64.sqrt()).abs() < 0.0036, "{power}");
}

#[test]
fn one_changed_byte_in_a_lossless_stream_never_gives_other_samples() {
    let truth: Vec<Vec<f32>> =
        [1, 2].map(|c| all(&opened("FLAC", FLAC).expect("opens"), c)).into_iter().collect();
    let mut n_refused = 0;
    // The first 42 bytes are the marker and the stream information, where a changed rate is not damage to samples.
    for at in (42..FLAC.len()).step_by(11) {
        let mut bytes = FLAC.to_vec();
        bytes[at] ^= 0x10;
        match opened("FLAC", &bytes) {
            Ok(file) => {
                for c in [1, 2] {
                    assert_eq!(all(&file, c), truth[usize::from(c) - 1], "byte {at}");
                }
            }
            Err(_) => n_refused += 1,
        }
    }
    assert!(n_refused > 100, "{n_refused}");
}

#[test]
fn cut_and_mutated_files_never_panic() {
    for (seed, bytes) in [FLAC, AIFF, include_bytes!("data/tone.ogg")].into_iter().enumerate() {
        assert!(opened("cut", &bytes[..bytes.len() / 2]).is_err(), "half of file {seed}");
        let mut state = seed as u64 + 1;
        for _ in 0..300 {
            let mut mutated = bytes.to_vec();
            for _ in 0..3 {
                // Knuth's MMIX generator; any would do.
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let at = (state >> 33) as usize % mutated.len().min(200);
                mutated[at] = (state >> 20) as u8;
            }
            if let Ok(file) = opened("mutated", &mutated) {
                assert!(file.frames() > 0 && (8_000..=384_000).contains(&file.rate_hz()));
            }
        }
    }
}
