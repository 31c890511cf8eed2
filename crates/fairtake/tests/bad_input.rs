//! The list of bad and extreme input, as a user types it: a clear error with a hint and exit 2, or a correct
//! result. The reader's own tests are in `fairtake-files`.

use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use serde_json::Value;
use std::io::Write;
use std::os::unix::fs::{FileExt, PermissionsExt};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output};

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// `compare` in a folder, of files named without their folder.
fn compare(folder: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fairtake"));
    command.current_dir(folder).arg("compare").args(args).output().expect("the program runs")
}

fn findings(folder: &Path, args: &[&str]) -> Value {
    let out = compare(folder, &[args, &["--json"]].concat());
    assert!(out.status.success(), "{args:?}: {}", text(&out.stderr));
    serde_json::from_slice(&out.stdout).expect("JSON")
}

/// Refused: exit 2, nothing on stdout, the file and what was found on the first line, a hint on the second.
fn refused(folder: &Path, args: &[&str], said: &str) {
    let out = compare(folder, args);
    let stderr = text(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{args:?}: {stderr}");
    assert!(out.stdout.is_empty(), "{args:?}");
    assert!(stderr.starts_with("error: ") && stderr.contains("\nhint: "), "{args:?}: {stderr}");
    assert!(stderr.contains(said), "{args:?}: {stderr}");
    assert!(!stderr.contains("panicked"), "{stderr}");
}

/// Noise bursts that die away, one a second after a second of near silence.
fn hits(rate_hz: u32, n_hits: usize, seed: u64) -> Vec<f32> {
    let mut state = seed;
    // Knuth's MMIX generator; any would do.
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let second = rate_hz as usize;
    let mut out: Vec<f32> = (0..second * (n_hits + 1)).map(|_| noise() * 1e-4).collect();
    for hit in 0..n_hits {
        let strength = 0.2 + 0.02 * (hit % 4) as f32;
        for i in 0..second / 2 {
            out[(hit + 1) * second + i] += strength * noise() * (-(i as f32) * 20.0 / rate_hz as f32).exp();
        }
    }
    out
}

fn write(path: &Path, rate_hz: u32, n_channels: u16, store_as: StoreAs, samples: &[f32]) {
    let spec = WavSpec { rate_hz, n_channels, store_as, bext: None, cue_markers: Vec::new() };
    let mut writer = WavWriter::create(path, spec, Replace::Allowed).expect("creates");
    writer.write(samples).expect("writes");
    writer.finish().expect("finishes");
}

fn half(samples: &[f32]) -> Vec<f32> {
    samples.iter().map(|x| x * 0.5).collect()
}

#[test]
fn files_that_cannot_be_compared_are_refused_with_what_and_where_and_a_hint() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    let good = hits(8000, 4, 1);
    write(&folder.join("good.wav"), 8000, 1, StoreAs::Float32, &good);
    let bytes = std::fs::read(folder.join("good.wav")).expect("there");
    let put = |name: &str, bytes: &[u8]| std::fs::write(folder.join(name), bytes).expect("writes");
    let changed = |at: usize, new: &[u8]| {
        let mut bytes = bytes.clone();
        bytes[at..at + new.len()].copy_from_slice(new);
        bytes
    };
    put("empty.wav", b"");
    put("cut.wav", &bytes[..bytes.len() / 2]);
    put("longer.wav", &changed(40, &(bytes.len() as u32).to_le_bytes()));
    put("shorter.wav", &changed(40, &8000u32.to_le_bytes()));
    put("none.wav", &changed(22, &[0, 0]));
    put("slow.wav", &changed(24, &4000u32.to_le_bytes()));
    put("nan.wav", &changed(44 + 4 * 12_345, &f32::NAN.to_le_bytes()));
    put("infinite.wav", &changed(44 + 4 * 7, &f32::INFINITY.to_le_bytes()));
    put("photo.wav", &[&[0xFF, 0xD8, 0xFF, 0xE0][..], &bytes[100..2000]].concat());
    std::fs::create_dir(folder.join("folder.wav")).expect("made");
    for (name, said) in [
        ("empty.wav", "empty.wav: is empty (0 bytes)"),
        (
            "cut.wav",
            "cut.wav: is cut off: the header announces 160000 bytes of samples, the file holds 79978",
        ),
        ("longer.wav", "longer.wav: is cut off: the header announces 160044"),
        ("shorter.wav", "shorter.wav: has a faulty header: 152000 bytes that are no chunk follow"),
        ("none.wav", "none.wav: has 0 channels"),
        ("slow.wav", "slow.wav: has a sampling rate of 4000 Hz"),
        ("nan.wav", "nan.wav: frame 12345 of channel 1 is not a finite number"),
        ("infinite.wav", "infinite.wav: frame 7 of channel 1 is not a finite number"),
        ("photo.wav", "photo.wav: "),
        ("folder.wav", "folder.wav: is not a file"),
        ("missing.wav", "missing.wav: there is no such file"),
    ] {
        refused(folder, &["good.wav", name], said);
        refused(folder, &[name, "good.wav", "--json"], said);
    }
    refused(
        folder,
        &["good.wav", "good.wav", "--channel", "2"],
        "good.wav: channel 2 was asked for, the file has 1",
    );
}

#[test]
fn a_file_that_may_not_be_read_is_said_to_be_so() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let open = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("set")
    };
    let file = place.path().join("secret.wav");
    write(&file, 8000, 1, StoreAs::Int16, &hits(8000, 2, 1));
    open(place.path(), 0o755);
    open(&file, 0o000);
    // For root nothing is unreadable, so the program is then run as somebody who owns nothing (65534, by convention),
    // from a place where that somebody may run it.
    let as_root = std::fs::File::open(&file).is_ok();
    let program = place.path().join("program");
    std::fs::copy(env!("CARGO_BIN_EXE_fairtake"), &program).expect("copied");
    open(&program, 0o755);
    let mut command = Command::new(&program);
    if as_root {
        command.uid(65_534).gid(65_534);
    }
    let out =
        command.current_dir("/").args(["compare", "--json"]).args([&file, &file]).output().expect("runs");
    let stderr = text(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{stderr}");
    assert!(stderr.contains("secret.wav: cannot be used: Permission denied"), "{stderr}");
    assert!(stderr.contains("\nhint: check the medium and the permissions"), "{stderr}");
}

#[test]
fn silence_and_a_single_sample_are_named_and_compared_with_nothing() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    write(&folder.join("good.wav"), 8000, 1, StoreAs::Int16, &hits(8000, 8, 1));
    write(&folder.join("silent.wav"), 8000, 1, StoreAs::Int16, &vec![0.0; 80_000]);
    write(&folder.join("one.wav"), 8000, 1, StoreAs::Int16, &[0.25]);
    for (against, stem) in [("silent.wav", "silent"), ("one.wav", "one")] {
        for args in [["good.wav", against], [against, "good.wav"]] {
            let out = compare(folder, &args);
            let said = text(&out.stderr);
            assert_eq!(out.status.code(), Some(2), "{args:?}: {said}");
            assert!(out.stdout.is_empty(), "{args:?}: no number is made up");
            assert!(
                said.contains("nothing to compare") && said.contains(&format!("{stem} is left out")),
                "{said}"
            );
            assert!(!said.contains("good is left out"), "{said}");
        }
    }
}

/// The second file is the first at half its amplitude: 6.0206 dB less everywhere, and alike once levels are matched.
/// Powers of two change no digit of a float, so what remains is the rounding of the logarithms.
fn is_half(found: &Value, what: &str) {
    let comparison = &found["comparisons"][0];
    let truth_db = 20.0 * 2f64.log10();
    assert_eq!(comparison["design"], "together", "{what}");
    let gain_db = comparison["match"]["gain_db"].as_f64().expect("is known");
    assert!((gain_db - truth_db).abs() < 1e-9, "{what}: {gain_db}");
    for level in ["sample_peak_dbfs", "true_peak_dbtp", "rms_dbfs", "loudness_lufs"] {
        let difference = comparison["levels"][level]["difference_db"]["estimate"].as_f64().expect("is known");
        assert!((difference + truth_db).abs() < 1e-9, "{what}: {level} {difference}");
    }
    let bands = comparison["bands"].as_array().expect("bands");
    let known: Vec<f64> = bands.iter().filter_map(|b| b["difference_db"].as_f64()).collect();
    assert!(known.len() >= bands.len() / 2 && known.len() > 50, "{what}: {} of {}", known.len(), bands.len());
    assert!(known.iter().all(|d| d.abs() < 1e-9), "{what}: {known:?}");
    assert!(bands.iter().all(|b| b["verdict"] != "different"), "{what}");
}

#[test]
fn the_lowest_and_the_highest_rate_are_compared_correctly() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    for (rate_hz, top_hz) in [(8_000, 4_000.0), (384_000, 20_400.0)] {
        let samples = hits(rate_hz, 4, 3);
        write(&folder.join("a.wav"), rate_hz, 1, StoreAs::Float32, &samples);
        write(&folder.join("b.wav"), rate_hz, 1, StoreAs::Float32, &half(&samples));
        let found = findings(folder, &["a.wav", "b.wav"]);
        is_half(&found, &rate_hz.to_string());
        assert_eq!(found["takes"][0]["sample_rate_hz"], rate_hz);
        assert_eq!(found["takes"][0]["events"], 4);
        // Nothing is said about what the rate cannot hold or ears cannot hear, and the bands reach up to there.
        let bands = found["comparisons"][0]["bands"].as_array().expect("bands");
        let last_hz = bands.last().and_then(|b| b["to_hz"].as_f64()).expect("there are bands");
        // A twelfth of an octave is 6 %.
        assert!(last_hz <= top_hz && last_hz > top_hz * 0.94, "{rate_hz}: {last_hz}");
    }
}

#[test]
fn any_of_64_channels_is_compared_with_any_file() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    let samples = hits(8000, 8, 4);
    let wide = |gain: f32| -> Vec<f32> {
        // Every channel holds its own number as a constant, but for the last.
        samples.iter().flat_map(|x| (0..63).map(|c| c as f32 / 64.0).chain([x * gain])).collect()
    };
    write(&folder.join("a.wav"), 8000, 64, StoreAs::Float32, &wide(1.0));
    write(&folder.join("b.wav"), 8000, 64, StoreAs::Float32, &wide(0.5));
    let found = findings(folder, &["a.wav", "b.wav", "--channel", "64"]);
    is_half(&found, "channel 64");
    assert_eq!(found["takes"][1]["channel"], 64);
    let other = findings(folder, &["a.wav", "b.wav", "--channel", "33"]);
    assert_eq!(other["takes"][0]["dc"], 0.5);
    refused(
        folder,
        &["a.wav", "b.wav", "--channel", "65"],
        "a.wav: channel 65 was asked for, the file has 64",
    );
}

#[test]
fn rf64_and_a_wrong_ending_are_compared_like_plain_wav() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    let samples = hits(8000, 8, 5);
    write(&folder.join("a.wav"), 8000, 1, StoreAs::Float32, &samples);
    write(&folder.join("b.mp3"), 8000, 1, StoreAs::Float32, &half(&samples));
    let plain = std::fs::read(folder.join("b.mp3")).expect("there");
    let mut rf64 = b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0".to_vec();
    rf64.extend((plain.len() as u64 + 28).to_le_bytes());
    rf64.extend((plain.len() as u64 - 44).to_le_bytes());
    rf64.extend((samples.len() as u64).to_le_bytes());
    rf64.extend([0; 4]);
    rf64.extend(&plain[12..40]);
    rf64.extend([0xFF; 4]);
    rf64.extend(&plain[44..]);
    std::fs::write(folder.join("b64.wav"), rf64).expect("writes");
    for name in ["b.mp3", "b64.wav"] {
        let found = findings(folder, &["a.wav", name]);
        is_half(&found, name);
    }
    let found = findings(folder, &["a.wav", "b64.wav"]);
    assert_eq!(found["takes"][1]["format"], "RF64 32-bit float");
}

#[test]
fn three_sparse_gigabytes_are_read_in_bounded_memory() {
    let place = tempfile::tempdir().expect("a folder for the test");
    let folder = place.path();
    write(&folder.join("a.wav"), 96_000, 1, StoreAs::Int24, &hits(96_000, 8, 6));
    write(&folder.join("b.wav"), 96_000, 1, StoreAs::Int24, &hits(96_000, 8, 7));
    let mut file = std::fs::File::create(folder.join("huge.wav")).expect("creates");
    // 64 channels of 24 bits at 96 kHz: 175 s.
    let data_bytes: u32 = 192 * 16_777_216;
    let head = std::fs::read(folder.join("a.wav")).expect("there");
    let mut head = head[..44].to_vec();
    head[22..24].copy_from_slice(&64u16.to_le_bytes());
    head[28..32].copy_from_slice(&(96_000u32 * 192).to_le_bytes());
    head[32..34].copy_from_slice(&192u16.to_le_bytes());
    head[40..44].copy_from_slice(&data_bytes.to_le_bytes());
    file.write_all(&head).expect("writes");
    file.set_len(44 + u64::from(data_bytes)).expect("grows");
    file.write_all_at(&[0, 0, 0x40], 44 + u64::from(data_bytes) - 192).expect("writes");

    let out = Command::new("/bin/sh")
        // 400 MB of addresses: less than a seventh of the file, and stacks of threads count here too.
        .args(["-c", "ulimit -v 400000 && exec \"$0\" compare a.wav b.wav huge.wav --json"])
        .arg(env!("CARGO_BIN_EXE_fairtake"))
        .current_dir(folder)
        .output()
        .expect("runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let found: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(found["takes"][2]["frames"], 16_777_216);
    assert_eq!(found["takes"][2]["left_out"], true, "one sample is no event");
    let peak_db = found["takes"][2]["sample_peak_dbfs"].as_f64().expect("one sample is not silent");
    // Exact: the last sample is half of full scale.
    assert!((peak_db + 20.0 * 2f64.log10()).abs() < 1e-9, "{peak_db}");
}
