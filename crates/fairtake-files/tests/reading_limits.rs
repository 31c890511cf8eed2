//! The list of bad input at the door: what lies, what is extreme, what grew by accident. Each is a clear error
//! or a correct result. `wav_door.rs` has the damaged headers, `formats.rs` the kinds of other programs.

use fairtake_compare::Samples;
use fairtake_files::{AudioError, AudioFile, AudioProblem, sha256};
use std::io::Write;
use std::os::unix::fs::FileExt;
use std::path::Path;

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    out.resize(out.len() + body.len() % 2, 0);
    out
}

fn fmt(n_channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = n_channels * (bits / 8);
    let mut body = 1u16.to_le_bytes().to_vec();
    body.extend(n_channels.to_le_bytes());
    body.extend(rate_hz.to_le_bytes());
    body.extend((rate_hz * u32::from(frame)).to_le_bytes());
    body.extend(frame.to_le_bytes());
    body.extend(bits.to_le_bytes());
    chunk(b"fmt ", &body)
}

fn wav(chunks: &[Vec<u8>]) -> Vec<u8> {
    let mut out = b"RIFF\0\0\0\0WAVE".to_vec();
    out.extend(chunks.concat());
    out
}

fn opened(bytes: &[u8]) -> Result<AudioFile, AudioError> {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let path = folder.path().join("take.wav");
    std::fs::write(&path, bytes).expect("writes");
    AudioFile::open(&path)
}

fn all(file: &AudioFile, channel: u16) -> Vec<f32> {
    let samples = file.channel(channel).expect("is there");
    let mut out = vec![9.0; samples.frames() as usize];
    assert_eq!(samples.read(0, &mut out).expect("reads"), out.len());
    out
}

#[test]
fn samples_behind_the_announced_length_are_not_left_out_in_silence() {
    // A recorder that lost power: the length was written after 4 of 6 frames, or at the beginning.
    let data: Vec<u8> =
        [900i16, -900, 1200, -1200, 700, -5000].iter().flat_map(|x| x.to_le_bytes()).collect();
    let mut bytes = wav(&[fmt(1, 48_000, 16), chunk(b"data", &data)]);
    bytes.extend([7; 30]);
    bytes[40..44].copy_from_slice(&8u32.to_le_bytes());
    let error = opened(&bytes).expect_err("four frames of six");
    assert!(matches!(error.problem, AudioProblem::Header(_)), "{error}");
    assert!(error.to_string().contains("34 bytes that are no chunk follow the announced samples"), "{error}");
    bytes[40..44].copy_from_slice(&0u32.to_le_bytes());
    assert!(opened(&bytes).is_err());
}

#[test]
fn harmless_tails_are_passed_over() {
    let sound = || wav(&[fmt(1, 48_000, 16), chunk(b"data", &[1, 0, 2, 0])]);
    let mut tag = b"TAG".to_vec();
    tag.resize(128, b'x');
    let mut cut_list = chunk(b"LIST", &[b'x'; 40]);
    cut_list.truncate(20);
    for (what, tail) in [
        ("filled up with zeros", vec![0; 5000]),
        ("a tag of 128 bytes", tag),
        ("metadata cut off behind whole samples", cut_list),
        ("a few bytes", vec![9; 7]),
        ("a chunk that nobody knows", chunk(b"zz 9", &[4; 9])),
    ] {
        let mut bytes = sound();
        bytes.extend(tail);
        let file = opened(&bytes).unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_eq!(all(&file, 1), [1.0 / 32_768.0, 2.0 / 32_768.0], "{what}");
    }
    // Some writers forget the byte behind an odd chunk.
    let mut bytes = wav(&[fmt(1, 48_000, 8)]);
    bytes.extend(b"data\x03\0\0\0\x80\xc0\x40");
    bytes.extend(chunk(b"LIST", b"INFOx"));
    assert_eq!(all(&opened(&bytes).expect("opens"), 1), [0.0, 0.5, -0.5]);
}

#[test]
fn an_extensible_header_with_a_foreign_sub_format_is_not_taken_for_plain_samples() {
    let good: &[u8] = include_bytes!("data/short-extensible.wav");
    assert!(opened(good).is_ok());
    for at in 46..60 {
        let mut bytes = good.to_vec();
        bytes[at] ^= 0x55;
        assert!(
            matches!(opened(&bytes).expect_err("unknown").problem, AudioProblem::Unsupported(_)),
            "byte {at}"
        );
    }
}

#[test]
fn one_sample_two_rates_at_the_ends_of_the_range_and_64_channels_are_read_as_they_are() {
    for rate_hz in [8_000, 384_000] {
        let file = opened(&wav(&[fmt(1, rate_hz, 16), chunk(b"data", &[0, 0x40])])).expect("opens");
        assert_eq!((file.rate_hz(), file.frames(), all(&file, 1)), (rate_hz, 1, vec![0.5]));
    }
    for rate_hz in [7_999, 384_001] {
        let error = opened(&wav(&[fmt(1, rate_hz, 16), chunk(b"data", &[0, 0x40])])).expect_err("outside");
        assert_eq!(error.problem, AudioProblem::Rate(rate_hz));
        assert!(error.to_string().contains(&rate_hz.to_string()) && error.hint().contains("8000 to 384000"));
    }
    let frames: Vec<u8> =
        (0..10i16).flat_map(|i| (0..64i16).flat_map(move |c| (i * 64 + c).to_le_bytes())).collect();
    let file = opened(&wav(&[fmt(64, 48_000, 16), chunk(b"data", &frames)])).expect("opens");
    assert_eq!(file.n_channels(), 64);
    for c in [1u16, 33, 64] {
        let truth: Vec<f32> = (0..10i16).map(|i| f32::from(i * 64 + c as i16 - 1) / 32_768.0).collect();
        assert_eq!(all(&file, c), truth);
    }
    assert_eq!(
        file.channel(65).expect_err("64 only").problem,
        AudioProblem::NoSuchChannel { asked: 65, n_channels: 64 }
    );
}

/// High-water mark of resident memory in bytes, from the system.
fn most_resident_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("the system tells");
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).expect("with the high-water mark");
    let kib: u64 = line.split_whitespace().nth(1).and_then(|n| n.parse().ok()).expect("in KiB");
    kib * 1024
}

fn sparse(path: &Path, head: &[u8], n_bytes: u64, last: &[u8]) {
    let mut file = std::fs::File::create(path).expect("creates");
    file.write_all(head).expect("writes");
    file.set_len(n_bytes).expect("grows");
    file.write_all_at(last, n_bytes - last.len() as u64).expect("writes");
}

#[test]
fn three_sparse_gigabytes_are_read_in_stretches_whether_they_are_audio_or_not() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let path = folder.path().join("huge.wav");
    let before = most_resident_bytes();

    // Zeros are no audio of any kind, and that is known after a look at their beginning.
    sparse(&path, b"", 3 << 30, &[1]);
    assert_eq!(AudioFile::open(&path).expect_err("zeros").problem, AudioProblem::NotAudio);

    // An honest header in front of 3 GiB, mostly silence.
    let data_bytes = 3u32 << 30;
    let mut head = wav(&[fmt(2, 96_000, 24)]);
    head.extend(b"data");
    head.extend(data_bytes.to_le_bytes());
    sparse(&path, &head, head.len() as u64 + u64::from(data_bytes), &[0, 0, 0x40, 0, 0, 0xC0]);
    let file = AudioFile::open(&path).expect("opens");
    assert_eq!(file.frames(), 1 << 29);
    let samples = file.channel(2).expect("is there");
    let mut stretch = vec![9.0; 1 << 16];
    // A stretch in every 50 MB and the last one.
    for start in (0..1 << 29).step_by(1 << 23) {
        assert_eq!(samples.read(start, &mut stretch).expect("reads"), 1 << 16);
        assert!(stretch.iter().all(|x| *x == 0.0));
    }
    assert_eq!(samples.read((1 << 29) - 1, &mut stretch).expect("reads"), 1);
    assert_eq!(stretch[0], -0.5);

    // The header says more than is there: by one frame.
    head[40..44].copy_from_slice(&(data_bytes + 6).to_le_bytes());
    sparse(&path, &head, head.len() as u64 + u64::from(data_bytes), &[0]);
    let cut_off = AudioProblem::CutOff { header_bytes: (3 << 30) + 6, found_bytes: 3 << 30 };
    assert_eq!(AudioFile::open(&path).expect_err("one frame is missing").problem, cut_off);

    // Stretches are 64 KiB; other tests of this file hold less than a MiB. 16 MiB leave room for the allocator.
    let grown = most_resident_bytes() - before;
    assert!(grown < 16 << 20, "{grown} bytes");
}

#[test]
fn what_the_system_refuses_is_said_in_its_words() {
    // Reading the memory of a process at 0 fails for everybody, root too, as a file on a broken medium does.
    let error = sha256(Path::new("/proc/self/mem")).expect_err("cannot be read");
    assert!(matches!(error.problem, AudioProblem::System(_)), "{error}");
    assert!(error.to_string().starts_with("/proc/self/mem: cannot be used: "), "{error}");
    assert!(error.hint().contains("permissions"));
}
