//! The only crate that opens files: audio, the shootout folder, the derived cache.
