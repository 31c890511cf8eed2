//! The log: never a panic, and every error can be shown with its place.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    match fairtake_files::parse_log("shootout.toml", text) {
        Ok(log) => assert!(log.takes.iter().all(|t| t.channel > 0 && !t.file.is_empty())),
        Err(error) => assert!(error.line > 0 && error.column > 0 && !error.to_string().is_empty()),
    }
});
