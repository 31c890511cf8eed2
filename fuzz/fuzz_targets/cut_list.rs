//! The typed list of times: parts that follow each other, or an error with its line.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    for (rate_hz, n_frames) in [(8_000, 1), (48_000, 1 << 24), (384_000, u64::MAX)] {
        match fairtake_files::cut_at_list(text, rate_hz, n_frames) {
            Ok(parts) => {
                assert!(parts.iter().all(|p| p.start_frame < p.end_frame && !p.name.is_empty()));
                assert!(parts.windows(2).all(|w| w[0].end_frame == w[1].start_frame));
                assert!(parts.last().is_none_or(|p| p.end_frame == n_frames));
            }
            Err(error) => assert!(error.line >= 1 && error.line <= text.lines().count()),
        }
    }
});
