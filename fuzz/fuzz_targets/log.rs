//! The log: never a panic, and every error can be shown.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Err(error) = fairtake_files::parse_log("shootout.toml", text) {
        assert!(!error.to_string().is_empty());
    }
});
