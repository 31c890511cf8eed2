//! Files by other programs' encoders in every kind that is read: exact where the coding is lossless, within what the
//! coder may take away where it is lossy, flagged there, and noticed when cut off. `data/README.md`: how they were made.

use fairtake_compare::Samples;
use fairtake_files::{AudioError, AudioFile, AudioProblem};

fn opened(bytes: &[u8]) -> Result<AudioFile, AudioError> {
    let folder = tempfile::tempdir().expect("a folder for the test");
    // No ending at all: kinds are told by content.
    let path = folder.path().join("take");
    std::fs::write(&path, bytes).expect("writes");
    AudioFile::open(&path)
}

fn all(file: &AudioFile, channel: u16) -> Vec<f32> {
    let samples = file.channel(channel).expect("is there");
    let mut out = vec![9.0; samples.frames() as usize];
    assert_eq!(samples.read(0, &mut out).expect("reads"), out.len());
    out
}

/// Name, bytes, beginning of the format's name, bits.
const RAMPS: [(&str, &[u8], &str, u16); 6] = [
    ("ALAC", include_bytes!("data/short-alac.m4a"), "ALAC", 24),
    ("FLAC in Ogg", include_bytes!("data/short-flac.oga"), "FLAC", 24),
    ("AIFC, float", include_bytes!("data/short-float.aifc"), "AIFF", 32),
    ("extensible WAV", include_bytes!("data/short-extensible.wav"), "WAV 24-bit", 24),
    ("RF64", include_bytes!("data/short-rf64.wav"), "RF64 24-bit", 24),
    ("AIFC, little-endian", include_bytes!("data/coarse-sowt.aifc"), "AIFF", 16),
];

#[test]
fn lossless_files_are_exact_to_the_last_bit() {
    for (name, bytes, format, bits) in RAMPS {
        let file = opened(bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!((file.rate_hz(), file.n_channels(), file.frames()), (48_000, 2, 1500), "{name}");
        let stored = file.stored_as_with(String::new());
        assert!(stored.format.starts_with(format) && !stored.lossy, "{name}: {stored:?}");
        assert_eq!(stored.bits, Some(bits), "{name}");
        for c in 0..2i64 {
            let truth = |i: i64| match bits {
                16 => ((i * 401 + c * 9001) % 60_001 - 30_001) as f32 / 32_768.0,
                _ => ((i * 4001 + c * 90_001) % 2_000_003 - 1_000_001) as f32 / 8_388_608.0,
            };
            assert_eq!(all(&file, c as u16 + 1), (0..1500).map(truth).collect::<Vec<_>>(), "{name}");
        }
    }
}

#[test]
fn bw64_is_rf64_under_another_name() {
    let (_, bytes, ..) = RAMPS[4];
    let mut bw64 = bytes.to_vec();
    bw64[..4].copy_from_slice(b"BW64");
    let (a, b) = (opened(bytes).expect("opens"), opened(&bw64).expect("opens"));
    assert_eq!(all(&a, 2), all(&b, 2));
    assert!(b.stored_as_with(String::new()).format.starts_with("BW64"));
}

fn struck() -> Vec<f64> {
    let tones = [(220.0, 0.3, 0.12), (563.0, 0.2, 0.08), (1190.0, 0.1, 0.05)];
    let at = |t: f64| {
        let sound = |(hz, a, tau): &(f64, f64, f64)| {
            a * (-t / tau).exp() * (2.0 * std::f64::consts::PI * hz * t).sin()
        };
        tones.iter().map(sound).sum::<f64>()
    };
    (0..14_400).map(|i| at(f64::from(i) / 48_000.0)).collect()
}

/// Energy of the truth over the energy of what was read minus the truth, in dB, where what was read begins
/// `lag` frames late.
fn likeness_db(read: &[f32], truth: &[f64], lag: usize) -> f64 {
    let pairs = || read.iter().skip(lag).map(|x| f64::from(*x)).zip(truth);
    let signal: f64 = pairs().map(|(_, t)| t * t).sum();
    let error: f64 = pairs().map(|(x, t)| (x - t).powi(2)).sum();
    10.0 * (signal / error).log10()
}

#[test]
fn lossy_files_are_flagged_and_hold_what_was_coded() {
    let truth = struck();
    // Name, bytes, format, frames that the coder puts in front and that stay there, likeness.
    // Reference: the same likeness of what FFmpeg 5.1 decodes, in dB. Decoders may differ in rounding, which lies 50 dB
    // further down; 0.5 dB also hold the few frames at the end that FFmpeg leaves out of the Vorbis file.
    let files: [(&str, &[u8], &str, usize, f64); 7] = [
        ("MP3", include_bytes!("data/struck.mp3"), "MP3", 0, 30.4),
        ("MP3 with a tag in front", include_bytes!("data/struck-tagged.mp3"), "MP3", 0, 30.4),
        ("AAC in MP4", include_bytes!("data/struck.m4a"), "AAC", 1024, 41.7),
        ("AAC, bare", include_bytes!("data/struck.aac"), "AAC", 1024, 41.7),
        ("Vorbis", include_bytes!("data/struck.ogg"), "Ogg Vorbis", 0, 37.6),
        ("AIFC, mu-law", include_bytes!("data/struck-mulaw.aifc"), "AIFF mu-law", 0, 37.5),
        ("AIFC, A-law", include_bytes!("data/struck-alaw.aifc"), "AIFF A-law", 0, 37.8),
    ];
    for (name, bytes, format, lag, reference_db) in files {
        let file = opened(bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        let stored = file.stored_as_with(String::new());
        assert!(stored.lossy && stored.bits.is_none() && stored.format == format, "{name}: {stored:?}");
        assert_eq!((file.rate_hz(), file.n_channels()), (48_000, 1), "{name}");
        assert!(file.frames() >= 14_400, "{name}: {}", file.frames());
        let read = all(&file, 1);
        let found_db = likeness_db(&read, &truth, lag);
        assert!((found_db - reference_db).abs() < 0.5, "{name}: {found_db:.1} dB at {lag} frames");
    }
}

#[test]
fn codings_that_are_not_read_are_named_and_the_hint_says_what_to_do() {
    for (bytes, word) in [
        (&include_bytes!("data/struck.opus")[..], "Opus"),
        (&include_bytes!("data/struck-mulaw.wav")[..], "WAVE coding 7 with 8 bits"),
    ] {
        let error = opened(bytes).expect_err("is not read");
        assert!(matches!(error.problem, AudioProblem::Unsupported(_)), "{error}");
        assert!(error.to_string().contains(word), "{error}");
        assert!(error.hint().contains("WAV"));
    }
}

#[test]
fn a_file_that_is_cut_off_is_refused_in_every_kind_that_can_know() {
    let kinds: [(&str, &[u8]); 9] = [
        ("ALAC", RAMPS[0].1),
        ("FLAC in Ogg", RAMPS[1].1),
        ("AIFC", RAMPS[2].1),
        ("WAV", RAMPS[3].1),
        ("RF64", RAMPS[4].1),
        ("FLAC", include_bytes!("data/ramp.flac")),
        ("MP3", include_bytes!("data/struck.mp3")),
        ("AAC in MP4", include_bytes!("data/struck.m4a")),
        ("Vorbis", include_bytes!("data/struck.ogg")),
    ];
    for (name, bytes) in kinds {
        for tenths in [1, 3, 5, 7, 9] {
            let part = &bytes[..bytes.len() * tenths / 10];
            let error =
                opened(part).err().unwrap_or_else(|| panic!("{name}: {tenths}0 % were taken as whole"));
            assert!(!error.hint().is_empty());
            assert_ne!(error.problem, AudioProblem::NotAudio, "{name}: {tenths}0 % are audio, but damaged");
        }
    }
}
