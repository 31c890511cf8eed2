//! SHA-256 of a file, read in stretches. The caller may run it beside the analysis.

use crate::error::{AudioError, AudioProblem};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::Read;
use std::path::Path;

const STRETCH_BYTES: usize = 1 << 18;

/// SHA-256 of the whole file as lower-case hexadecimal. Memory: one stretch of 256 KiB.
///
/// # Errors
/// When the file cannot be opened or read.
pub fn sha256(path: &Path) -> Result<String, AudioError> {
    let failed = |e: std::io::Error| AudioError {
        file: path.display().to_string(),
        problem: AudioProblem::System(e.to_string()),
    };
    let mut file = File::open(path).map_err(failed)?;
    let mut hasher = Sha256::new();
    let mut stretch = vec![0u8; STRETCH_BYTES];
    loop {
        let n_bytes = file.read(&mut stretch).map_err(failed)?;
        if n_bytes == 0 {
            return Ok(hex(&hasher.finalize()));
        }
        hasher.update(&stretch[..n_bytes]);
    }
}

/// Lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
