//! What is written, by one thread, many at once, acknowledged after they are on disk.

use super::schema::PATIENCE;
use super::{Done, StoreError};
use fairtake_bridge::Corrected;
use fairtake_listen::{Answer, Key, Plan};
use rusqlite::{Connection, TransactionBehavior, params};
use sha2::{Digest, Sha256};
use std::sync::mpsc::Receiver;
use std::time::Duration;

/// So many writes at most go into one commit.
const MOST_AT_ONCE: usize = 512;

/// So long somebody who reads is waited for after something was deleted.
const SHORT_PATIENCE: Duration = Duration::from_secs(1);

/// One excerpt as it is presented, but for the dither.
#[derive(Debug, Clone, PartialEq)]
pub struct Rendered {
    /// Sampling rate in Hz.
    pub rate_hz: u32,
    /// Samples of one channel, full scale ±1.
    pub samples: Vec<f32>,
}

/// A test to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewTest {
    /// Under which it is asked for.
    pub id: String,
    /// When it was made, in seconds since 1970.
    pub made_s: i64,
    /// What listeners read.
    pub title: String,
    /// What is asked.
    pub plan: Plan,
    /// What is to be said of the excerpts: JSON.
    pub about: String,
    /// How the equalisers of its contestants are set.
    pub corrected: Vec<Corrected>,
    /// The excerpts of the plan's material, in its order.
    pub excerpts: Vec<Rendered>,
    /// Codes of which each begins one sitting; none: whoever has the link may begin.
    pub codes: Vec<String>,
}

/// A sitting to be kept, before its first answer.
#[derive(Debug, Clone, PartialEq)]
pub struct NewSitting {
    /// Under which it is asked for.
    pub id: String,
    /// Of which test.
    pub test: String,
    /// What the listener typed as a name, or nothing.
    pub listener: String,
    /// When, in seconds since 1970.
    pub begun_s: i64,
    /// What it presents.
    pub key: Key,
    /// Its seal.
    pub seal: String,
    /// The code that was given.
    pub code: Option<String>,
}

/// Something to be written.
#[derive(Debug, Clone, PartialEq)]
pub enum Write {
    /// A test with its excerpts.
    Test(Box<NewTest>),
    /// More codes for a test.
    Codes {
        /// Of which test.
        test: String,
        /// The codes.
        codes: Vec<String>,
    },
    /// A sitting; uses up its code.
    Sitting(Box<NewSitting>),
    /// An answer; whether it may be given now was checked by whoever holds the sitting.
    Answer {
        /// Of which sitting.
        sitting: String,
        /// To which trial, counted from 0.
        trial: usize,
        /// When, in seconds since 1970.
        at_s: i64,
        /// What was answered.
        answer: Answer,
        /// It was the last one.
        ends: bool,
    },
    /// The listener left before the end.
    Left {
        /// Which sitting.
        sitting: String,
        /// When, in seconds since 1970.
        at_s: i64,
    },
    /// Whether a test takes more sittings.
    Open {
        /// Which test.
        test: String,
        /// It does.
        is_open: bool,
    },
    /// A test with everything that belongs to it goes.
    DeleteTest {
        /// Which test.
        test: String,
    },
    /// One sitting goes.
    DeleteSitting {
        /// Which sitting.
        sitting: String,
    },
}

/// Writes until nobody is left who could ask for it.
pub(super) fn write_all(mut connection: Connection, waiting: &Receiver<(Write, Done)>) {
    while let Ok(first) = waiting.recv() {
        let mut batch = vec![first];
        batch.extend(waiting.try_iter().take(MOST_AT_ONCE - 1));
        let (writes, dones): (Vec<Write>, Vec<Done>) = batch.into_iter().unzip();
        let mut outcomes = commit(&mut connection, &writes);
        let deletes = |w: &Write| matches!(w, Write::DeleteTest { .. } | Write::DeleteSitting { .. });
        let is_gone = |(w, outcome): (&Write, &Result<(), StoreError>)| deletes(w) && outcome.is_ok();
        if writes.iter().zip(&outcomes).any(is_gone)
            && let Err(lingers) = overwrite(&connection)
        {
            let deleted =
                writes.iter().zip(&mut outcomes).filter(|(w, outcome)| deletes(w) && outcome.is_ok());
            deleted.for_each(|(_, outcome)| *outcome = Err(lingers.clone()));
        }
        for (done, outcome) in dones.into_iter().zip(outcomes) {
            done(outcome);
        }
    }
}

/// Until then the old pages lie in the database, and in the log beside it. Who reads just now is waited for, but not for long: answers
/// wait too.
fn overwrite(connection: &Connection) -> Result<(), StoreError> {
    let overwritten = || -> rusqlite::Result<bool> {
        connection.busy_timeout(SHORT_PATIENCE)?;
        let is_busy =
            connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get::<_, bool>(0));
        // Also where that failed: answers are waited for as long as before.
        connection.busy_timeout(PATIENCE)?;
        Ok(!is_busy?)
    };
    match overwritten() {
        Ok(true) => Ok(()),
        Ok(false) => Err(StoreError::Lingers("somebody reads it just now".into())),
        Err(e) => Err(StoreError::Lingers(e.to_string())),
    }
}

/// All in one transaction; one that fails is taken back alone. Where the commit itself fails, none is kept.
fn commit(connection: &mut Connection, writes: &[Write]) -> Vec<Result<(), StoreError>> {
    in_one_transaction(connection, writes).unwrap_or_else(|e| writes.iter().map(|_| Err(e.clone())).collect())
}

fn in_one_transaction(
    connection: &mut Connection,
    writes: &[Write],
) -> Result<Vec<Result<(), StoreError>>, StoreError> {
    let mut transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut outcomes = Vec::with_capacity(writes.len());
    for write in writes {
        let mut point = transaction.savepoint()?;
        let outcome = apply(&point, write);
        if outcome.is_err() {
            point.rollback()?;
        }
        point.commit()?;
        outcomes.push(outcome);
    }
    transaction.commit()?;
    Ok(outcomes)
}

fn apply(to: &Connection, write: &Write) -> Result<(), StoreError> {
    match write {
        Write::Test(test) => add_test(to, test),
        Write::Codes { test, codes } => add_codes(to, test, codes),
        Write::Sitting(sitting) => begin(to, sitting),
        Write::Answer { sitting, trial, at_s, answer, ends } => {
            let given = json(answer)?;
            // Not after the end, whoever ended it: another program may have, and shown the key.
            let n = to
                .prepare_cached(
                    "INSERT INTO answer (sitting, trial, at_s, answer) \
                     SELECT ?1, ?2, ?3, ?4 FROM sitting WHERE id = ?1 AND ended_s IS NULL",
                )?
                .execute(params![sitting, *trial as i64, at_s, given])?;
            if n == 0 {
                return Err(not_taken(to, sitting, *trial)?);
            }
            if *ends {
                to.execute("UPDATE sitting SET ended_s = ? WHERE id = ?", params![at_s, sitting])?;
            }
            Ok(())
        }
        Write::Left { sitting, at_s } => changed(to.execute(
            "UPDATE sitting SET ended_s = ?, has_left = 1 WHERE id = ? AND ended_s IS NULL",
            params![at_s, sitting],
        )?),
        Write::Open { test, is_open } => {
            changed(to.execute("UPDATE test SET is_open = ? WHERE id = ?", params![is_open, test])?)
        }
        Write::DeleteTest { test } => changed(to.execute("DELETE FROM test WHERE id = ?", [test])?),
        Write::DeleteSitting { sitting } => {
            // That there was one stays known: a result says how many are missing.
            to.execute(
                "UPDATE test SET n_deleted = n_deleted + 1 WHERE id = (SELECT test FROM sitting WHERE id = ?)",
                [sitting],
            )?;
            changed(to.execute("DELETE FROM sitting WHERE id = ?", [sitting])?)
        }
    }
}

/// Why an answer found no sitting that takes it: answered before, ended, or not there.
fn not_taken(to: &Connection, sitting: &str, trial: usize) -> Result<StoreError, StoreError> {
    let is_there = |asked: &str, of: &[&dyn rusqlite::ToSql]| -> Result<bool, StoreError> {
        Ok(to.query_row(asked, of, |row| row.get(0))?)
    };
    let trial = trial as i64;
    if is_there("SELECT EXISTS (SELECT 1 FROM answer WHERE sitting = ? AND trial = ?)", &[&sitting, &trial])?
    {
        return Ok(StoreError::Taken);
    }
    let sits = is_there("SELECT EXISTS (SELECT 1 FROM sitting WHERE id = ?)", &[&sitting])?;
    Ok(if sits { StoreError::Closed } else { StoreError::Missing })
}

fn changed(n: usize) -> Result<(), StoreError> {
    if n == 0 { Err(StoreError::Missing) } else { Ok(()) }
}

fn is_foreign(e: &rusqlite::Error) -> bool {
    let foreign = rusqlite::ffi::SQLITE_CONSTRAINT_FOREIGNKEY;
    e.sqlite_error().is_some_and(|e| e.extended_code == foreign)
}

fn add_test(to: &Connection, test: &NewTest) -> Result<(), StoreError> {
    to.execute(
        "INSERT INTO test (id, made_s, title, plan, about, needs_code, corrected, is_open) \
         VALUES (?, ?, ?, ?, ?, ?, ?, 1)",
        params![
            test.id,
            test.made_s,
            test.title,
            json(&test.plan)?,
            test.about,
            !test.codes.is_empty(),
            json(&test.corrected)?
        ],
    )?;
    for (number, excerpt) in test.excerpts.iter().enumerate() {
        let bytes: Vec<u8> = excerpt.samples.iter().flat_map(|x| x.to_le_bytes()).collect();
        to.execute(
            "INSERT INTO excerpt (test, number, rate_hz, samples) VALUES (?, ?, ?, ?)",
            params![test.id, number as i64, excerpt.rate_hz, bytes],
        )?;
    }
    add_codes(to, &test.id, &test.codes)
}

fn add_codes(to: &Connection, test: &str, codes: &[String]) -> Result<(), StoreError> {
    for code in codes {
        to.execute("INSERT INTO code (test, hash, is_used) VALUES (?, ?, 0)", params![test, hash(code)])
            .map_err(|e| if is_foreign(&e) { StoreError::Missing } else { e.into() })?;
    }
    if !codes.is_empty() {
        to.execute("UPDATE test SET needs_code = 1 WHERE id = ?", [test])?;
    }
    Ok(())
}

/// Letters may be typed large or small, with spaces and hyphens anywhere.
fn hash(code: &str) -> String {
    let plain: String = code.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    Sha256::digest(plain.as_bytes()).iter().map(|b| format!("{b:02x}")).collect()
}

fn begin(to: &Connection, sitting: &NewSitting) -> Result<(), StoreError> {
    let (needs_code, is_open): (bool, bool) =
        to.query_row("SELECT needs_code, is_open FROM test WHERE id = ?", [&sitting.test], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
    if !is_open {
        return Err(StoreError::Closed);
    }
    if needs_code {
        let of = params![sitting.test, hash(sitting.code.as_deref().unwrap_or_default())];
        let is_used: bool = to
            .query_row("SELECT is_used FROM code WHERE test = ? AND hash = ?", of, |row| row.get(0))
            .map_err(|e| match StoreError::from(e) {
                StoreError::Missing => StoreError::UnknownCode,
                e => e,
            })?;
        if is_used {
            return Err(StoreError::UsedCode);
        }
        to.execute("UPDATE code SET is_used = 1 WHERE test = ? AND hash = ?", of)?;
    }
    to.execute(
        "INSERT INTO sitting (id, test, listener, begun_s, has_left, key, seal) VALUES (?, ?, ?, ?, 0, ?, ?)",
        params![
            sitting.id,
            sitting.test,
            sitting.listener,
            sitting.begun_s,
            json(&sitting.key)?,
            sitting.seal
        ],
    )?;
    Ok(())
}

fn json<T: serde::Serialize>(value: &T) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|e| StoreError::System(e.to_string()))
}
