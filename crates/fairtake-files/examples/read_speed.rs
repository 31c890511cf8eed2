//! How fast is one channel decoded and a file hashed? Makes its own files; prints medians of five, warm.
//!
//!     cargo run --release -p fairtake-files --example read_speed

use fairtake_compare::Samples;
use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use fairtake_files::{AudioFile, sha256};
use std::time::Instant;

fn median_s(mut run: impl FnMut()) -> f64 {
    let mut times_s: Vec<f64> = (0..5)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times_s.sort_by(f64::total_cmp);
    times_s[2]
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = tempfile::tempdir()?;
    for (name, store_as, n_channels) in [
        ("24-bit mono", StoreAs::Int24, 1),
        ("24-bit stereo", StoreAs::Int24, 2),
        ("16-bit mono", StoreAs::Int16, 1),
        ("float mono", StoreAs::Float32, 1),
    ] {
        let path = folder.path().join(name);
        let spec = WavSpec { rate_hz: 96_000, n_channels, store_as, bext: None, cue_markers: vec![] };
        let mut writer = WavWriter::create(&path, spec, Replace::Never)?;
        let second: Vec<f32> =
            (0..96_000 * u32::from(n_channels)).map(|i| (i as f32 * 0.1).sin() * 0.5).collect();
        for _ in 0..300 {
            writer.write(&second)?;
        }
        writer.finish()?;
        let megabytes = std::fs::metadata(&path)?.len() as f64 / 1e6;
        let samples = AudioFile::open(&path)?.channel(1)?;
        let mut out = vec![0.0; 1 << 16];
        let mut n_read = 0;
        let decode_s = median_s(|| {
            let mut at = 0;
            while let Ok(n) = samples.read(at, &mut out)
                && n > 0
            {
                at += n as u64;
            }
            n_read = at;
        });
        assert_eq!(n_read, samples.frames());
        let hash_s = median_s(|| assert!(sha256(&path).is_ok()));
        println!(
            "{name}: {megabytes:.0} MB, decoded at {:.0} MB/s, hashed at {:.0} MB/s",
            megabytes / decode_s,
            megabytes / hash_s
        );
    }
    Ok(())
}
