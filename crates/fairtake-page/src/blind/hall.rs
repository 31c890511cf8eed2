//! The hall: tests of one folder, and the sittings under way.

use super::limits::{Limits, Rates};
use crate::trouble::Trouble;
use axum::http::StatusCode;
use fairtake_files::{ListeningStore, NewSitting, Rendered, StoreError, StoredSitting, StoredTest, Write};
use fairtake_listen::{Answer, Key, Plan, Refused, Sitting, State};
use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::SeedableRng;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{SystemTime, UNIX_EPOCH};

/// Sittings held in memory at once; others are read again.
const MOST_LIVE: usize = 4000;
/// Excerpts held in memory at once.
const MOST_EXCERPTS: usize = 400;

/// The blind tests of one folder. Cheap to clone; all clones are the same hall.
#[derive(Clone)]
pub struct Hall {
    inner: Arc<Inner>,
}

struct Inner {
    folder: PathBuf,
    limits: Limits,
    store: OnceLock<ListeningStore>,
    opening: Mutex<()>,
    live: Mutex<HashMap<String, Arc<tokio::sync::Mutex<Live>>>>,
    tests: Mutex<HashMap<String, Arc<StoredTest>>>,
    excerpts: Mutex<HashMap<(String, usize), Arc<Rendered>>>,
    rates: Rates,
}

/// A sitting under way.
pub(crate) struct Live {
    pub id: String,
    pub test: Arc<StoredTest>,
    pub seal: String,
    pub sitting: Sitting,
}

impl Live {
    pub(crate) fn plan(&self) -> &Plan {
        &self.test.plan
    }
}

/// What became of an answer.
pub(crate) enum Answered {
    /// It is on disk.
    Kept,
    /// It was not taken.
    Refused(Refused),
}

impl Hall {
    /// The hall of a folder; nothing is opened or made before it is needed.
    pub fn new(folder: &Path, limits: Limits) -> Hall {
        let inner = Inner {
            folder: folder.into(),
            limits,
            store: OnceLock::new(),
            opening: Mutex::default(),
            live: Mutex::default(),
            tests: Mutex::default(),
            excerpts: Mutex::default(),
            rates: Rates::default(),
        };
        Hall { inner: Arc::new(inner) }
    }

    pub(crate) fn limits(&self) -> &Limits {
        &self.inner.limits
    }

    /// True where something was kept in this folder.
    pub(crate) fn is_used(&self) -> bool {
        self.inner.store.get().is_some() || fairtake_files::store_path(&self.inner.folder).exists()
    }

    /// The store, made where there is none.
    pub(crate) fn store(&self) -> Result<ListeningStore, Trouble> {
        if let Some(store) = self.inner.store.get() {
            return Ok(store.clone());
        }
        let _alone = locked(&self.inner.opening);
        if let Some(store) = self.inner.store.get() {
            return Ok(store.clone());
        }
        let store = ListeningStore::open(&self.inner.folder)?;
        Ok(self.inner.store.get_or_init(|| store).clone())
    }

    pub(crate) fn may_ask(&self, sitting: &str) -> Result<(), Trouble> {
        self.within(&format!("s/{sitting}"), self.inner.limits.of_sitting)
    }

    fn within(&self, name: &str, rate: (f64, f64)) -> Result<(), Trouble> {
        if self.inner.rates.allows(name, rate) {
            return Ok(());
        }
        let what = "too much was asked at once";
        Err(Trouble::new(StatusCode::TOO_MANY_REQUESTS, what, "wait a few seconds; nothing is lost"))
    }

    /// A test; what it asks never changes, whether it is open does.
    pub(crate) fn test(&self, id: &str) -> Result<Arc<StoredTest>, Trouble> {
        if !self.is_used() {
            return Err(StoreError::Missing.into());
        }
        let store = self.store()?;
        // Another program on the folder may have opened or closed it.
        let standing = store.standing(id)?;
        let known = locked(&self.inner.tests).get(id).cloned();
        if let Some(test) = known.filter(|t| (t.is_open, t.needs_code) == standing) {
            return Ok(test);
        }
        let test = Arc::new(store.test(id)?);
        locked(&self.inner.tests).insert(id.to_string(), test.clone());
        Ok(test)
    }

    /// Forgets what is remembered of a test, after the owner changed it.
    pub(crate) fn forget(&self, test: &str) {
        locked(&self.inner.tests).remove(test);
        // Sittings of others come back from the store.
        locked(&self.inner.live).clear();
        locked(&self.inner.excerpts).retain(|(of, _), _| of != test);
    }

    pub(crate) fn excerpt(&self, test: &str, number: usize) -> Result<Arc<Rendered>, Trouble> {
        let key = (test.to_string(), number);
        if let Some(excerpt) = locked(&self.inner.excerpts).get(&key) {
            return Ok(excerpt.clone());
        }
        let excerpt = Arc::new(self.store()?.excerpt(test, number)?);
        let mut held = locked(&self.inner.excerpts);
        if held.len() >= MOST_EXCERPTS {
            held.clear();
        }
        held.insert(key, excerpt.clone());
        Ok(excerpt)
    }

    /// Begins a sitting: its key is drawn and sealed now, before the first answer, from a cryptographic generator with a seed
    /// of the system.
    pub(crate) fn begin(
        &self,
        test: &str,
        listener: String,
        code: Option<String>,
    ) -> Result<(String, NewSitting), Trouble> {
        self.within(&format!("t/{test}"), self.inner.limits.begins)?;
        let test = self.test(test)?;
        if self.store()?.n_sittings(&test.id)? >= self.inner.limits.sittings {
            let what = "this test has as many sittings as it may";
            return Err(Trouble::new(StatusCode::GONE, what, "ask whoever invited you"));
        }
        let mut rng = ChaCha20Rng::from_seed(random()?);
        let key = Key::draw(&test.plan, &mut rng);
        let id = token()?;
        let seal = key.seal(&test.plan);
        let new =
            NewSitting { id: id.clone(), test: test.id.clone(), listener, begun_s: now_s(), key, seal, code };
        Ok((id, new))
    }

    /// Writes, and comes back when it is on disk.
    pub(crate) async fn write(&self, write: Write) -> Result<(), StoreError> {
        let hall = self.clone();
        let store = tokio::task::spawn_blocking(move || hall.store())
            .await
            .map_err(|e| StoreError::System(e.to_string()))?
            .map_err(|t| StoreError::System(t.what))?;
        let (sender, answer) = tokio::sync::oneshot::channel();
        store.write(write, move |outcome| {
            // Whoever waited may have gone; it is kept all the same.
            let _ = sender.send(outcome);
        });
        answer.await.unwrap_or_else(|_| Err(StoreError::System("the store has closed".into())))
    }

    /// A sitting, from memory or as it was kept.
    pub(crate) async fn live(&self, id: &str) -> Result<Arc<tokio::sync::Mutex<Live>>, Trouble> {
        if let Some(live) = locked(&self.inner.live).get(id) {
            return Ok(live.clone());
        }
        if !self.is_used() {
            return Err(StoreError::Missing.into());
        }
        let (hall, name) = (self.clone(), id.to_string());
        let read = crate::route::blocking(move || {
            let stored: StoredSitting = hall.store()?.sitting(&name)?;
            let test = hall.test(&stored.test)?;
            let sitting = stored.sitting(&test.plan)?;
            Ok(Live { id: name, test, seal: stored.seal, sitting })
        })
        .await?;
        let mut live = locked(&self.inner.live);
        if live.len() >= MOST_LIVE {
            // Those that nobody holds just now; they are kept and come back.
            live.retain(|_, l| Arc::strong_count(l) > 1);
        }
        // Two may have read it at once: one of them is the sitting.
        Ok(live.entry(id.to_string()).or_insert_with(|| Arc::new(tokio::sync::Mutex::new(read))).clone())
    }

    /// Takes an answer: checked, written, acknowledged.
    pub(crate) async fn answer(&self, id: &str, trial: usize, answer: Answer) -> Result<Answered, Trouble> {
        let held = self.live(id).await?;
        let mut live = held.lock().await;
        let live = &mut *live;
        if let Err(refused) = live.sitting.check(&live.test.plan, trial, &answer) {
            return Ok(Answered::Refused(refused));
        }
        let mut after = live.sitting.clone();
        after.take(&live.test.plan, answer.clone());
        let ends = after.state() == State::Done;
        let write = Write::Answer { sitting: id.to_string(), trial, at_s: now_s(), answer, ends };
        match self.write(write).await {
            Ok(()) => {
                live.sitting = after;
                Ok(Answered::Kept)
            }
            Err(StoreError::Taken) => {
                // Another window or program answered it: what is kept counts.
                locked(&self.inner.live).remove(id);
                Ok(Answered::Refused(Refused::Again { trial }))
            }
            Err(StoreError::Closed) => {
                // It ended in another window or program.
                locked(&self.inner.live).remove(id);
                Ok(Answered::Refused(Refused::Ended))
            }
            Err(e) => {
                locked(&self.inner.live).remove(id);
                Err(e.into())
            }
        }
    }

    /// The listener leaves before the end.
    pub(crate) async fn leave(&self, id: &str) -> Result<(), Trouble> {
        let held = self.live(id).await?;
        let mut live = held.lock().await;
        if live.sitting.state() != State::Open {
            return Ok(());
        }
        self.write(Write::Left { sitting: id.to_string(), at_s: now_s() }).await?;
        live.sitting.leave();
        Ok(())
    }
}

/// A program that panicked while it held one of these has left a map that is whole.
fn locked<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

/// 256 bits of the system's randomness.
pub(crate) fn random() -> Result<[u8; 32], Trouble> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).map_err(|e| {
        let what = format!("the system gives no random numbers: {e}");
        Trouble::new(StatusCode::INTERNAL_SERVER_ERROR, what, "nothing was begun; try again")
    })?;
    Ok(bytes)
}

/// 128 bits that nobody guesses, as a name.
pub(crate) fn token() -> Result<String, Trouble> {
    Ok(random()?[..16].iter().map(|b| format!("{b:02x}")).collect())
}

/// Seconds since 1970.
pub(crate) fn now_s() -> i64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs() as i64)
}

impl From<StoreError> for Trouble {
    fn from(e: StoreError) -> Trouble {
        let status = match e {
            StoreError::System(_) | StoreError::Lingers(_) => StatusCode::INSUFFICIENT_STORAGE,
            StoreError::Missing => StatusCode::NOT_FOUND,
            StoreError::Taken => StatusCode::CONFLICT,
            StoreError::Closed => StatusCode::GONE,
            StoreError::UnknownCode | StoreError::UsedCode => StatusCode::FORBIDDEN,
        };
        Trouble::new(status, &e, e.hint())
    }
}
