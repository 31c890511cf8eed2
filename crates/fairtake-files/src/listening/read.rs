//! What is read back.

use super::{ListeningStore, Rendered, StoreError};
use fairtake_bridge::Corrected;
use fairtake_listen::{Answer, Key, Plan, Sitting};
use rusqlite::{Connection, Row, params};

/// A test as it is kept, without its excerpts.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredTest {
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
    /// A code is needed to begin.
    pub needs_code: bool,
    /// It takes more sittings.
    pub is_open: bool,
    /// Codes that were not used yet.
    pub n_codes_left: u64,
    /// Sittings that were deleted.
    pub n_deleted: u64,
    /// How the equalisers of its contestants are set; of tests made before that was kept nothing.
    pub corrected: Vec<Corrected>,
}

/// A sitting as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredSitting {
    /// Under which it is asked for.
    pub id: String,
    /// Of which test.
    pub test: String,
    /// What the listener typed as a name.
    pub listener: String,
    /// When it began, in seconds since 1970.
    pub begun_s: i64,
    /// When it ended.
    pub ended_s: Option<i64>,
    /// The listener left before the end.
    pub has_left: bool,
    /// What it presents.
    pub key: Key,
    /// Its seal.
    pub seal: String,
    /// Answers with the time of each, in seconds since 1970.
    pub answers: Vec<(i64, Answer)>,
}

impl StoredSitting {
    /// The sitting as far as it has come.
    ///
    /// # Errors
    /// When what is kept are no answers to its key.
    pub fn sitting(&self, plan: &Plan) -> Result<Sitting, StoreError> {
        let answers = self.answers.iter().map(|(_, a)| a.clone()).collect();
        Sitting::resume(plan, self.key.clone(), answers, self.has_left)
            .map_err(|e| StoreError::System(format!("sitting {}: {e}", self.id)))
    }
}

/// A column that holds JSON.
fn parsed<T: serde::de::DeserializeOwned>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let text: String = row.get(column)?;
    serde_json::from_str(&text).map_err(|e| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, Box::new(e))
    })
}

fn test_of(row: &Row<'_>) -> rusqlite::Result<StoredTest> {
    Ok(StoredTest {
        id: row.get(0)?,
        made_s: row.get(1)?,
        title: row.get(2)?,
        plan: parsed(row, 3)?,
        about: row.get(4)?,
        needs_code: row.get(5)?,
        is_open: row.get(6)?,
        n_codes_left: row.get::<_, i64>(7)?.max(0) as u64,
        n_deleted: row.get::<_, i64>(8)?.max(0) as u64,
        corrected: parsed(row, 9)?,
    })
}

const TEST: &str = "SELECT id, made_s, title, plan, about, needs_code, is_open,
                    (SELECT count(*) FROM code WHERE code.test = test.id AND is_used = 0), n_deleted,
                    corrected FROM test";
const SITTING: &str = "SELECT id, test, listener, begun_s, ended_s, has_left, key, seal FROM sitting";

fn sitting_of(row: &Row<'_>) -> rusqlite::Result<StoredSitting> {
    Ok(StoredSitting {
        id: row.get(0)?,
        test: row.get(1)?,
        listener: row.get(2)?,
        begun_s: row.get(3)?,
        ended_s: row.get(4)?,
        has_left: row.get(5)?,
        key: parsed(row, 6)?,
        seal: row.get(7)?,
        answers: Vec::new(),
    })
}

fn answers(of: &Connection, sitting: &str) -> rusqlite::Result<Vec<(i64, Answer)>> {
    let mut asked = of.prepare_cached("SELECT at_s, answer FROM answer WHERE sitting = ? ORDER BY trial")?;
    asked.query_map([sitting], |row| Ok((row.get(0)?, parsed(row, 1)?)))?.collect()
}

impl ListeningStore {
    /// All tests, the newest first.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn tests(&self) -> Result<Vec<StoredTest>, StoreError> {
        let reading = self.reading();
        let mut asked = reading.prepare_cached(&format!("{TEST} ORDER BY made_s DESC, id"))?;
        Ok(asked.query_map([], test_of)?.collect::<Result<_, _>>()?)
    }

    /// One test.
    ///
    /// # Errors
    /// When there is none of that name, or the file cannot be read.
    pub fn test(&self, id: &str) -> Result<StoredTest, StoreError> {
        Ok(self.reading().query_row(&format!("{TEST} WHERE id = ?"), [id], test_of)?)
    }

    /// Whether a test takes listeners, and whether they need a code.
    ///
    /// # Errors
    /// When there is no such test, or the file cannot be read.
    pub fn standing(&self, test: &str) -> Result<(bool, bool), StoreError> {
        let reading = self.reading();
        let mut asked = reading.prepare_cached("SELECT is_open, needs_code FROM test WHERE id = ?")?;
        Ok(asked.query_row([test], |row| Ok((row.get(0)?, row.get(1)?)))?)
    }

    /// One excerpt of a test.
    ///
    /// # Errors
    /// When there is none of that number, or the file cannot be read.
    pub fn excerpt(&self, test: &str, number: usize) -> Result<Rendered, StoreError> {
        let reading = self.reading();
        let mut asked =
            reading.prepare_cached("SELECT rate_hz, samples FROM excerpt WHERE test = ? AND number = ?")?;
        let (rate_hz, bytes): (u32, Vec<u8>) =
            asked.query_row(params![test, number as i64], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let samples = bytes.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect();
        Ok(Rendered { rate_hz, samples })
    }

    /// How many sittings a test has.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn n_sittings(&self, test: &str) -> Result<usize, StoreError> {
        let reading = self.reading();
        let mut asked = reading.prepare_cached("SELECT count(*) FROM sitting WHERE test = ?")?;
        Ok(asked.query_row([test], |row| row.get::<_, i64>(0))?.max(0) as usize)
    }

    /// One sitting with its answers.
    ///
    /// # Errors
    /// When there is none of that name, or the file cannot be read.
    pub fn sitting(&self, id: &str) -> Result<StoredSitting, StoreError> {
        let reading = self.reading();
        let found = reading.query_row(&format!("{SITTING} WHERE id = ?"), [id], sitting_of)?;
        Ok(StoredSitting { answers: answers(&reading, id)?, ..found })
    }

    /// All sittings of a test with their answers, in the order in which they began.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn sittings(&self, test: &str) -> Result<Vec<StoredSitting>, StoreError> {
        let reading = self.reading();
        let mut asked = reading.prepare_cached(&format!("{SITTING} WHERE test = ? ORDER BY begun_s, id"))?;
        let found: Vec<StoredSitting> = asked.query_map([test], sitting_of)?.collect::<Result<_, _>>()?;
        found.into_iter().map(|s| Ok(StoredSitting { answers: answers(&reading, &s.id)?, ..s })).collect()
    }
}
