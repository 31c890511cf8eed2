//! Whole files of any kind, opened and read to the end of their first channel.
#![no_main]

use fairtake_compare::Samples;
use std::io::Write;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    file.write_all(bytes).expect("it is written");
    if let Ok(audio) = fairtake_files::AudioFile::open(file.path()) {
        let samples = audio.channel(1).expect("a first channel is always there");
        let mut out = vec![0.0; 4096];
        let _ = samples.read(samples.frames().saturating_sub(4096), &mut out);
    }
});
