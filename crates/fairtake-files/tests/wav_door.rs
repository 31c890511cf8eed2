//! The WAVE reader and writer against an independent writer and reader, hand-made chunks and mutated files.

use fairtake_compare::Samples;
use fairtake_files::wav::{Bext, CueMarker, Replace, StoreAs, WavSpec, WavWriter, read_layout};
use fairtake_files::{AudioFile, AudioProblem, sha256};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for the test")
}

fn put(folder: &tempfile::TempDir, bytes: &[u8]) -> PathBuf {
    let path = folder.path().join("take.wav");
    std::fs::write(&path, bytes).expect("the file is written");
    path
}

fn all(path: &Path, channel: u16) -> Vec<f32> {
    let samples = AudioFile::open(path).expect("opens").channel(channel).expect("is there");
    let mut out = vec![9.0; samples.frames() as usize + 5];
    let n = samples.read(0, &mut out).expect("reads");
    out.truncate(n);
    out
}

fn problem(bytes: &[u8]) -> AudioProblem {
    let folder = folder();
    let error = AudioFile::open(&put(&folder, bytes)).expect_err("must not open");
    assert!(!error.hint().is_empty());
    assert!(error.to_string().contains("take.wav"));
    error.problem
}

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
    out
}

fn fmt(tag: u16, n_channels: u16, rate_hz: u32, bits: u16) -> Vec<u8> {
    let frame = n_channels * (bits / 8);
    let mut body = tag.to_le_bytes().to_vec();
    body.extend(n_channels.to_le_bytes());
    body.extend(rate_hz.to_le_bytes());
    body.extend((rate_hz * u32::from(frame)).to_le_bytes());
    body.extend(frame.to_le_bytes());
    body.extend(bits.to_le_bytes());
    chunk(b"fmt ", &body)
}

fn file(container: &[u8; 4], chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut out = container.to_vec();
    out.extend((body.len() as u32 + 4).to_le_bytes());
    out.extend(b"WAVE");
    out.extend(body);
    out
}

#[test]
fn integers_of_another_writer_are_read_exactly_in_every_channel() {
    for (bits, n_channels) in [(8, 1), (16, 1), (16, 3), (24, 1), (24, 2), (24, 64), (32, 2)] {
        let folder = folder();
        let path = folder.path().join("t.wav");
        let spec = hound::WavSpec {
            channels: n_channels,
            sample_rate: 384_000,
            bits_per_sample: bits,
            sample_format: hound::SampleFormat::Int,
        };
        let half = 1i64 << (bits - 1);
        let value = |frame: i64, c: i64| (frame * 7919 + c * 104_729).rem_euclid(2 * half) - half;
        let mut writer = hound::WavWriter::create(&path, spec).expect("creates");
        for frame in 0..3000 {
            for c in 0..i64::from(n_channels) {
                writer.write_sample(value(frame, c) as i32).expect("writes");
            }
        }
        writer.finalize().expect("finishes");
        for c in 0..n_channels {
            // A power of two divides exactly; beyond 24 bits both sides round once to the nearest.
            let truth: Vec<f32> =
                (0..3000).map(|f| (value(f, i64::from(c)) as f64 / half as f64) as f32).collect();
            assert_eq!(all(&path, c + 1), truth, "{bits} bits, channel {c} of {n_channels}");
        }
    }
}

#[test]
fn chunks_in_any_order_with_pad_bytes_and_metadata_after_the_samples() {
    let folder = folder();
    let mut bext = vec![0u8; 602];
    bext[..5].copy_from_slice(b"Heron");
    bext[338..346].copy_from_slice(&5_000_000_000u64.to_le_bytes());
    let ixml = b"<BWFXML><TRACK_LIST><TRACK><CHANNEL_INDEX>4</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>a &amp; b</NAME></TRACK></TRACK_LIST></BWFXML>";
    let mut cue = 1u32.to_le_bytes().to_vec();
    cue.extend(7u32.to_le_bytes());
    cue.extend([0; 4]);
    cue.extend(b"data");
    cue.extend([0; 8]);
    cue.extend(2u32.to_le_bytes());
    let mut list = b"adtl".to_vec();
    list.extend(chunk(b"labl", b"\x07\0\0\0second\0"));
    let data: Vec<u8> = [1i16, -2, 3, -4, 5, -6].iter().flat_map(|x| x.to_le_bytes()).collect();
    let bytes = file(
        b"RIFF",
        &[
            chunk(b"JUNK", &[1; 3]),
            chunk(b"LIST", &list),
            chunk(b"bext", &bext),
            chunk(b"data", &data),
            chunk(b"iXML", ixml),
            fmt(1, 2, 48_000, 16),
            chunk(b"cue ", &cue),
        ],
    );
    let path = put(&folder, &bytes);
    assert_eq!(all(&path, 2), [-2.0 / 32_768.0, -4.0 / 32_768.0, -6.0 / 32_768.0]);
    let opened = AudioFile::open(&path).expect("opens");
    let told = opened.metadata();
    let bext = told.bext.as_ref().expect("bext is there");
    assert_eq!((bext.description.as_str(), bext.time_reference_frames), ("Heron", 5_000_000_000));
    assert_eq!(told.track_names, [(2, "a & b".to_string())]);
    assert_eq!(told.cue_markers, [CueMarker { id: 7, frame: 2, label: "second".into() }]);
    assert_eq!(
        opened.channel(3).expect_err("two only").problem,
        AudioProblem::NoSuchChannel { asked: 3, n_channels: 2 }
    );
    assert!(opened.channel(0).is_err());
}

#[test]
fn rf64_and_bw64_take_the_length_from_ds64_and_sparse_gigabytes_are_read_at_their_end() {
    for container in [b"RF64", b"BW64"] {
        let folder = folder();
        let data_bytes = 3u64 << 30;
        let mut ds64 = vec![0u8; 28];
        ds64[8..16].copy_from_slice(&data_bytes.to_le_bytes());
        let mut bytes = file(container, &[chunk(b"ds64", &ds64), fmt(1, 1, 96_000, 24)]);
        bytes.extend(b"data\xff\xff\xff\xff");
        let end = bytes.len() as u64 + data_bytes;
        let path = put(&folder, &bytes);
        let opened = std::fs::OpenOptions::new().write(true).open(&path).expect("opens");
        opened.set_len(end).expect("grows");
        std::os::unix::fs::FileExt::write_all_at(&opened, &[0, 0, 0x40], end - 3).expect("writes");
        let samples = AudioFile::open(&path).expect("opens").channel(1).expect("is there");
        assert_eq!(samples.frames(), 1 << 30);
        let mut last = [9.0; 4];
        assert_eq!(samples.read((1 << 30) - 2, &mut last).expect("reads"), 2);
        assert_eq!(last[..2], [0.0, 0.5]);
        assert_eq!(samples.read(u64::MAX, &mut last).expect("nothing there"), 0);
    }
}

#[test]
fn what_lies_or_lacks_is_a_clear_error() {
    let data = chunk(b"data", &[0; 12]);
    let good = file(b"RIFF", &[fmt(1, 2, 48_000, 16), data.clone()]);
    assert_eq!(problem(b""), AudioProblem::Empty);
    assert_eq!(problem(b"hello, I am a text"), AudioProblem::NotAudio);
    assert_eq!(problem(&good[..good.len() - 5]), AudioProblem::CutOff { header_bytes: 12, found_bytes: 7 });
    assert_eq!(problem(&file(b"RIFF", &[fmt(1, 2, 0, 16), data.clone()])), AudioProblem::Rate(0));
    assert_eq!(problem(&file(b"RIFF", &[fmt(1, 2, 7_999, 16), data.clone()])), AudioProblem::Rate(7_999));
    assert_eq!(problem(&file(b"RIFF", &[fmt(1, 0, 48_000, 16), data.clone()])), AudioProblem::NoChannels);
    assert!(matches!(
        problem(&file(b"RIFF", &[fmt(2, 1, 48_000, 16), data.clone()])),
        AudioProblem::Unsupported(_)
    ));
    let mut headers = vec![
        file(b"RIFF", std::slice::from_ref(&data)),
        file(b"RIFF", &[fmt(1, 2, 48_000, 16)]),
        file(b"RIFF", &[fmt(1, 2, 48_000, 16), chunk(b"data", &[])]),
        file(b"RIFF", &[fmt(1, 2, 48_000, 16), chunk(b"data", &[0; 6])]),
        file(b"RIFF", &[fmt(1, 2, 48_000, 16), data.clone(), data.clone()]),
    ];
    let mut no_ds64 = file(b"RF64", &[fmt(1, 1, 48_000, 16)]);
    no_ds64.extend(b"data\xff\xff\xff\xff");
    headers.push(no_ds64);
    let mut wrong_frame = good.clone();
    wrong_frame[32] = 6;
    headers.push(wrong_frame);
    for bytes in headers {
        assert!(matches!(problem(&bytes), AudioProblem::Header(_)));
    }
    let folder = folder();
    assert_eq!(AudioFile::open(folder.path()).expect_err("folder").problem, AudioProblem::NotAFile);
    assert_eq!(AudioFile::open(&folder.path().join("no")).expect_err("none").problem, AudioProblem::NotFound);
}

#[test]
fn a_sample_that_is_no_number_is_named_by_frame_and_channel() {
    let folder = folder();
    for bad in [f64::NAN, f64::INFINITY, f64::MAX] {
        let mut values = vec![0.25f64; 40_000];
        values[2 * 17_001 + 1] = bad;
        let data: Vec<u8> = values.iter().flat_map(|x| x.to_le_bytes()).collect();
        let path = put(&folder, &file(b"RIFF", &[fmt(3, 2, 8_000, 64), chunk(b"data", &data)]));
        let opened = AudioFile::open(&path).expect("opens");
        assert_eq!(all(&path, 1), vec![0.25; 20_000]);
        let error = opened.channel(2).expect("is there").read(0, &mut vec![0.0; 20_000]).expect_err("is bad");
        assert!(error.what.contains("frame 17001 of channel 2"), "{error}");
    }
}

#[test]
fn what_is_written_another_reader_reads_and_nothing_is_replaced_unasked() {
    for (store_as, full_scale) in
        [(StoreAs::Int16, 32_768.0), (StoreAs::Int24, 8_388_608.0), (StoreAs::Float32, 1.0)]
    {
        let folder = folder();
        let path = folder.path().join("w.wav");
        let bext = Bext { description: "drum".into(), time_reference_frames: 1 << 33, ..Bext::default() };
        let cue_markers = vec![CueMarker { id: 1, frame: 2, label: "heron".into() }];
        let spec = WavSpec {
            rate_hz: 96_000,
            n_channels: 1,
            store_as,
            bext: Some(bext.clone()),
            cue_markers: cue_markers.clone(),
        };
        let values = [0.5f32, -1.0, 1.0, 0.25, 0.0];
        let mut writer = WavWriter::create(&path, spec.clone(), Replace::Never).expect("creates");
        writer.write(&values).expect("writes");
        assert!(writer.write(&[f32::NAN]).is_err());
        assert!(!path.exists(), "nothing stands there before the end");
        writer.finish().expect("finishes");
        let mut reader = hound::WavReader::open(&path).expect("another reader opens it");
        if store_as == StoreAs::Float32 {
            let read: Vec<f32> = reader.samples::<f32>().map(|x| x.expect("reads")).collect();
            assert_eq!(read, values);
        } else {
            let read: Vec<f64> = reader.samples::<i32>().map(|x| f64::from(x.expect("reads"))).collect();
            // Plus full scale does not exist in two's complement: one step less.
            let truth = values.map(|x| (f64::from(x) * full_scale).min(full_scale - 1.0));
            assert_eq!(read, truth);
        }
        let opened = AudioFile::open(&path).expect("opens");
        assert_eq!(opened.metadata().bext, Some(bext));
        assert_eq!(opened.metadata().cue_markers, cue_markers);
        let again = WavWriter::create(&path, spec.clone(), Replace::Never).err().expect("must refuse");
        assert_eq!(again.problem, AudioProblem::Exists);
        drop(WavWriter::create(&path, spec, Replace::Allowed).expect("allowed"));
        assert_eq!(
            std::fs::read_dir(folder.path()).expect("lists").count(),
            1,
            "a dropped writer leaves nothing"
        );
    }
}

#[test]
fn the_hash_is_that_of_the_standard() {
    // Reference: FIPS 180-2, example of the one-block message "abc".
    let folder = folder();
    let hash = sha256(&put(&folder, b"abc")).expect("reads");
    assert_eq!(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 20_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn mutated_headers_never_panic_and_never_promise_more_than_the_file_holds(
        changes in prop::collection::vec((0usize..180, any::<u8>()), 1..6),
        cut in 0usize..400,
        rf64 in any::<bool>(),
    ) {
        let mut list = b"adtl".to_vec();
        list.extend(chunk(b"labl", b"\x01\0\0\0x\0"));
        let mut ds64 = vec![0u8; 28];
        ds64[8] = 24;
        let mut cue = 1u32.to_le_bytes().to_vec();
        cue.extend([1; 24]);
        let chunks =
            [chunk(b"ds64", &ds64), fmt(1, 2, 48_000, 24), chunk(b"cue ", &cue), chunk(b"LIST", &list), chunk(b"data", &[3; 24])];
        let mut bytes = file(if rf64 { b"RF64" } else { b"RIFF" }, &chunks);
        for (at, byte) in changes {
            if let Some(b) = bytes.get_mut(at) {
                *b = byte;
            }
        }
        bytes.truncate(cut.max(1));
        if let Ok(layout) = read_layout(bytes.as_slice()) {
            let end = layout.data_start + layout.frames * layout.frame_bytes() as u64;
            prop_assert!(layout.frames > 0 && end <= bytes.len() as u64);
        }
    }
}
