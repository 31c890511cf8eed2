//! Blind tests as they are kept: an SQLite file in the shootout, `listening/tests.sqlite`.
//!
//! Whatever was acknowledged has been committed to disk (write-ahead log, synchronous FULL). One thread writes; all writes
//! that wait are committed together, each in a savepoint of its own, and acknowledged afterwards.

mod error;
mod export;
mod read;
mod schema;
mod write;

pub use error::StoreError;
pub use export::{answers_csv, answers_json};
pub use read::{StoredSitting, StoredTest};
pub use write::{NewSitting, NewTest, Rendered, Write};

use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Where the tests lie below the folder of a shootout.
const FOLDER: &str = "listening";
const FILE: &str = "tests.sqlite";

/// Called with the outcome of a write once it is on disk, or has failed.
type Done = Box<dyn FnOnce(Result<(), StoreError>) + Send>;

/// The blind tests of one shootout. Cheap to clone; all clones are the same store.
#[derive(Clone)]
pub struct ListeningStore {
    reading: Arc<Mutex<Connection>>,
    writes: Sender<(Write, Done)>,
}

/// Where the store of a shootout lies.
pub fn store_path(folder: &Path) -> PathBuf {
    folder.join(FOLDER).join(FILE)
}

impl ListeningStore {
    /// Opens the store of a shootout, and makes it where there is none.
    ///
    /// # Errors
    /// When the folder cannot be written, or the file is none of ours.
    pub fn open(folder: &Path) -> Result<ListeningStore, StoreError> {
        let path = store_path(folder);
        let system = |e: std::io::Error| StoreError::System(format!("{}: {e}", path.display()));
        std::fs::create_dir_all(folder.join(FOLDER)).map_err(system)?;
        let of = |e: rusqlite::Error| StoreError::of(&path, &e);
        let writing = Connection::open(&path).map_err(of)?;
        schema::prepare(&writing).map_err(of)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let reading = Connection::open_with_flags(&path, flags).map_err(of)?;
        reading.busy_timeout(schema::PATIENCE).map_err(of)?;
        let (writes, waiting) = channel();
        // Ends when the last clone of the sender is gone.
        let spawned = std::thread::Builder::new()
            .name("listening-store".into())
            .spawn(move || write::write_all(writing, &waiting));
        spawned.map_err(system)?;
        Ok(ListeningStore { reading: Arc::new(Mutex::new(reading)), writes })
    }

    /// Hands a write over; `done` is called once it is on disk or has failed, from the thread that writes.
    pub fn write(&self, write: Write, done: impl FnOnce(Result<(), StoreError>) + Send + 'static) {
        if let Err(unsent) = self.writes.send((write, Box::new(done))) {
            let (_, done) = unsent.0;
            done(Err(StoreError::System("the store has closed".into())));
        }
    }

    /// Writes and waits until it is on disk.
    ///
    /// # Errors
    /// When it could not be written; nothing was changed.
    pub fn write_and_wait(&self, write: Write) -> Result<(), StoreError> {
        let (sender, answer) = channel();
        self.write(write, move |outcome| {
            // Whoever waited may have gone.
            let _ = sender.send(outcome);
        });
        answer.recv().unwrap_or_else(|_| Err(StoreError::System("the store has closed".into())))
    }

    fn reading(&self) -> MutexGuard<'_, Connection> {
        self.reading.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
