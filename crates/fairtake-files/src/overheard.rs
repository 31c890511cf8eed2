//! SHA-256 of a file that is read for another reason: what is read in order is hashed on the way, and not read twice.

use crate::hash::hex;
use fairtake_compare::FileHash;
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

const STRETCH_BYTES: usize = 1 << 18;

/// What was heard of a file so far.
#[derive(Debug, Default)]
pub(crate) struct Overheard {
    hash: FileHash,
    so_far: Mutex<SoFar>,
    /// As in `so_far`, as it was a moment ago: what lies elsewhere need not wait for who hashes. A value that is out of date is
    /// only ever too small; what is passed over for it is read by [`Overheard::finish`].
    to: AtomicU64,
}

#[derive(Debug, Default)]
struct SoFar {
    hasher: Sha256,
    /// All bytes before this one are hashed.
    to: u64,
}

impl Overheard {
    /// The hash, which becomes known by [`Overheard::finish`].
    pub(crate) fn hash(&self) -> FileHash {
        self.hash.clone()
    }

    /// Bytes that were read from `offset` on, of data that begins at `data_start`. Hashed where they go on from what was
    /// heard before; others are passed over. What comes before the data is read for it.
    pub(crate) fn hear(&self, file: &File, data_start: u64, offset: u64, bytes: &[u8]) -> io::Result<()> {
        let to = self.to.load(Ordering::Relaxed);
        let goes_on = (offset..=offset + bytes.len() as u64).contains(&to) || offset == data_start;
        if self.hash.is_known() || !goes_on {
            return Ok(());
        }
        let mut so_far = self.so_far.lock().unwrap_or_else(PoisonError::into_inner);
        if offset == data_start && so_far.to < data_start {
            so_far.read_on(file, data_start)?;
        }
        let new = so_far.to.checked_sub(offset).and_then(|known| bytes.get(usize::try_from(known).ok()?..));
        if let Some(new) = new {
            so_far.hasher.update(new);
            so_far.to += new.len() as u64;
            self.to.store(so_far.to, Ordering::Relaxed);
        }
        Ok(())
    }

    /// Reads what was not heard, to the end of the file.
    pub(crate) fn finish(&self, file: &File) -> io::Result<()> {
        if !self.hash.is_known() {
            let mut so_far = self.so_far.lock().unwrap_or_else(PoisonError::into_inner);
            so_far.read_on(file, u64::MAX)?;
            self.hash.set(hex(&so_far.hasher.finalize_reset()));
        }
        Ok(())
    }
}

impl SoFar {
    /// Reads on to an offset, or to the end of the file.
    fn read_on(&mut self, file: &File, end: u64) -> io::Result<()> {
        let mut stretch =
            vec![0u8; STRETCH_BYTES.min(usize::try_from(end - self.to).unwrap_or(STRETCH_BYTES))];
        while self.to < end {
            let most = stretch.len().min(usize::try_from(end - self.to).unwrap_or(usize::MAX));
            match file.read_at(&mut stretch[..most], self.to) {
                Ok(0) => break,
                Ok(n) => {
                    self.hasher.update(&stretch[..n]);
                    self.to += n as u64;
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sha256;

    /// Bytes, a file that holds them, and its hash.
    fn made() -> (Vec<u8>, File, FileHash) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("file");
        let bytes: Vec<u8> = (0..1_000_003u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        std::fs::write(&path, &bytes).expect("written");
        // The file stays open when its name goes.
        (bytes, File::open(&path).expect("opens"), sha256(&path).expect("reads").into())
    }

    #[test]
    fn what_is_heard_in_part_in_any_order_and_twice_is_hashed_once() {
        let (bytes, file, whole) = made();
        // Data from byte 44 on: none heard; the start, the start again and further, a part too late, up to the end.
        for heard in
            [&[][..], &[(44, 1000), (44, 5000), (700_000, 710_000), (5000, 600_000), (599_000, 999_000)]]
        {
            let overheard = Overheard::default();
            for (from, to) in heard {
                overheard.hear(&file, 44, *from as u64, &bytes[*from..*to]).expect("reads");
            }
            assert!(!overheard.hash().is_known());
            overheard.finish(&file).expect("reads");
            assert_eq!(*overheard.hash(), *whole, "{heard:?}");
        }
    }

    #[test]
    fn two_that_read_one_file_side_by_side_hash_it_once() {
        let (bytes, file, whole) = made();
        for _ in 0..20 {
            let overheard = Overheard::default();
            let read = |stretch: usize| {
                for from in (44..bytes.len()).step_by(stretch) {
                    let to = (from + stretch).min(bytes.len());
                    overheard.hear(&file, 44, from as u64, &bytes[from..to]).expect("reads");
                }
            };
            std::thread::scope(|scope| {
                scope.spawn(|| read(1000));
                scope.spawn(|| read(1700));
            });
            overheard.finish(&file).expect("reads");
            assert_eq!(*overheard.hash(), *whole);
        }
    }
}
