//! Whole files of any kind, opened and read to the end of their first channel.
#![no_main]

use fairtake_compare::Samples;
use std::io::Write;
use std::sync::Once;

static QUIET: Once = Once::new();

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    // Decoders of others may panic, which the reader catches and calls damage; the fuzzer would stop at it. A panic
    // that nobody catches still ends the run.
    QUIET.call_once(|| std::panic::set_hook(Box::new(|_| {})));
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    file.write_all(bytes).expect("it is written");
    if let Ok(audio) = fairtake_files::AudioFile::open(file.path()) {
        assert!(audio.frames() > 0 && (8_000..=384_000).contains(&audio.rate_hz()));
        let samples = audio.channel(1).expect("a first channel is always there");
        let mut out = vec![0.0; 4096];
        if let Ok(n) = samples.read(samples.frames().saturating_sub(4096), &mut out) {
            assert!(n > 0 && out[..n].iter().all(|x| x.is_finite()));
        }
    }
});
