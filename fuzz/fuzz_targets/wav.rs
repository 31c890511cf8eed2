//! The WAVE header: never a panic, never more promised than the file holds.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(layout) = fairtake_files::wav::read_layout(bytes) {
        let end = layout.data_start + layout.frames * layout.frame_bytes() as u64;
        assert!(layout.frames > 0 && end <= bytes.len() as u64);
    }
});
