//! Tables of the store.

use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::time::Duration;

/// So long another program may hold the file before a write fails.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

/// Number of the form below, kept in the file.
const FORM: i64 = 3;

const TABLES: &str = "
    CREATE TABLE test (
        id TEXT PRIMARY KEY,
        made_s INTEGER NOT NULL,      -- seconds since 1970
        title TEXT NOT NULL,          -- what listeners read
        plan TEXT NOT NULL,           -- JSON
        about TEXT NOT NULL,          -- JSON: what is to be said of the excerpts
        needs_code INTEGER NOT NULL,
        is_open INTEGER NOT NULL,
        n_deleted INTEGER NOT NULL DEFAULT 0,  -- sittings that were deleted
        corrected TEXT NOT NULL DEFAULT '[]'  -- JSON: equalisers of its contestants, as they were set
    ) STRICT;
    CREATE TABLE excerpt (
        test TEXT NOT NULL REFERENCES test(id) ON DELETE CASCADE,
        number INTEGER NOT NULL,
        rate_hz INTEGER NOT NULL,
        samples BLOB NOT NULL,        -- 32-bit float, little-endian, one channel
        PRIMARY KEY (test, number)
    ) STRICT;
    CREATE TABLE code (
        test TEXT NOT NULL REFERENCES test(id) ON DELETE CASCADE,
        hash TEXT NOT NULL,           -- SHA-256 of the code; the code itself is not kept
        is_used INTEGER NOT NULL,
        PRIMARY KEY (test, hash)
    ) STRICT;
    CREATE TABLE sitting (
        id TEXT PRIMARY KEY,
        test TEXT NOT NULL REFERENCES test(id) ON DELETE CASCADE,
        listener TEXT NOT NULL,       -- what the listener typed, or nothing
        begun_s INTEGER NOT NULL,
        ended_s INTEGER,
        has_left INTEGER NOT NULL,
        key TEXT NOT NULL,            -- JSON
        seal TEXT NOT NULL
    ) STRICT;
    CREATE INDEX sitting_of_test ON sitting(test);
    CREATE TABLE answer (
        sitting TEXT NOT NULL REFERENCES sitting(id) ON DELETE CASCADE,
        trial INTEGER NOT NULL,
        at_s INTEGER NOT NULL,
        answer TEXT NOT NULL,         -- JSON
        PRIMARY KEY (sitting, trial)
    ) STRICT, WITHOUT ROWID;
";

/// Since form 2 it is counted how many sittings were deleted; before that it is not known.
const DELETED: &str = "ALTER TABLE test ADD COLUMN n_deleted INTEGER NOT NULL DEFAULT 0;";
/// Since form 3 the equalisers of contestants are kept; before that it is not known how they were set.
const CORRECTED: &str = "ALTER TABLE test ADD COLUMN corrected TEXT NOT NULL DEFAULT '[]';";

/// Settings of the connection, and the tables where there are none.
pub(super) fn prepare(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    // What is deleted is gone from the file too.
    connection.pragma_update(None, "secure_delete", true)?;
    if form_of(connection)? == FORM {
        return Ok(());
    }
    // Asked again inside: another program may have brought the file to this form meanwhile.
    let all = Transaction::new_unchecked(connection, TransactionBehavior::Immediate)?;
    match form_of(&all)? {
        FORM => return Ok(()),
        0 => all.execute_batch(TABLES)?,
        1 => {
            all.execute_batch(DELETED)?;
            all.execute_batch(CORRECTED)?;
        }
        2 => all.execute_batch(CORRECTED)?,
        form => {
            return Err(rusqlite::Error::InvalidParameterName(format!(
                "form {form} of the tests is newer than this program, which knows {FORM}"
            )));
        }
    }
    all.pragma_update(None, "user_version", FORM)?;
    all.commit()
}

fn form_of(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}
