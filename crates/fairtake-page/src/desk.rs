//! The desk: one folder under work, what is open and measured of it, and the news that something changed.

mod beside;

use crate::blind::{Hall, Limits};
use crate::guard::Access;
use crate::trouble::Trouble;
use fairtake_audition::LeftOver;
use fairtake_bridge::Bridge;
use fairtake_calibrated::Measurements;
use fairtake_compare::{
    CheckResult, Comparison, Distance, Findings, PairDistance, Remembered, Settings, TakeMeasure,
    all_distances, compare_remembering, distances_remembering, measure_and_check,
};
use fairtake_files::{Change, Loaded, LogFile, Shelf, ShootoutFolder, TakeEntry, contents_of};
use fairtake_write_up::findings_key;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError, TryLockError};
use std::time::{SystemTime, UNIX_EPOCH};
use tokio::sync::watch;

/// Results kept at once: every pair of twenty microphones, a fraction of a megabyte each. All are forgotten when there are
/// more; they are judged again from what is measured.
const MOST_RESULTS: usize = 256;

/// So often a change is tried where others write the same log: each of them has then made theirs.
const MOST_ATTEMPTS: usize = 20;

/// Said when nothing is written any more.
const DONE: &str = "done";

/// How far measuring has come: takes measured, and of how many.
type Progress = Option<(usize, usize)>;

/// One folder under work. Cheap to clone; all clones are the same desk.
#[derive(Clone)]
pub struct Desk {
    inner: Arc<Inner>,
}

struct Inner {
    path: PathBuf,
    folder: ShootoutFolder,
    access: Access,
    hall: Hall,
    work: Mutex<Work>,
    /// One at a time reads the log, changes and writes it.
    log: Mutex<()>,
    news: watch::Sender<u64>,
    /// Takes measured, and of how many; `None`: nothing is measured now.
    progress: watch::Sender<Progress>,
    /// How far a write-up has come, in words.
    writing: watch::Sender<String>,
    /// Held by the one write-up that is being made.
    writes: Mutex<()>,
}

#[derive(Default)]
struct Work {
    shelf: Shelf,
    remembered: Remembered,
    results: HashMap<String, Arc<Findings>>,
    bridges: HashMap<String, Arc<Bridged>>,
    /// By what they depend on but the pair; of the last table only.
    distances: (String, HashMap<(String, String), Distance>),
    checked: Option<(String, Arc<Checked>)>,
    measured: Option<(String, Arc<Measurements>)>,
}

/// Takes with what was measured and checked on each by itself.
pub(crate) struct Checked {
    pub measures: Vec<TakeMeasure>,
    pub checks: Vec<CheckResult>,
}

/// A bridge between two microphones of a source.
pub(crate) struct Bridged {
    pub findings: Arc<Findings>,
    pub bridge: Bridge,
    measures: Vec<TakeMeasure>,
    /// For takes recorded together; found when it is asked for, which takes a while.
    left: OnceLock<Option<LeftOver>>,
}

/// The folder as it is now.
pub(crate) struct Now {
    pub loaded: Loaded,
    /// Changes whenever a result could.
    pub contents: String,
}

impl Desk {
    /// Opens a folder for the page.
    ///
    /// # Errors
    /// When the folder has no log.
    pub fn open(path: &Path, access: Access) -> Result<Desk, fairtake_files::FolderError> {
        let folder = ShootoutFolder::open(path)?;
        let progress = watch::Sender::new(None);
        let mut work = Work::default();
        let tells = progress.clone();
        work.remembered.tell(Box::new(move |n, of| {
            set(&tells, (n < of).then_some((n, of)));
        }));
        let inner = Inner {
            path: path.into(),
            folder,
            access,
            hall: Hall::new(path, Limits::STANDARD),
            work: Mutex::new(work),
            log: Mutex::default(),
            news: watch::Sender::new(begun()),
            progress,
            writing: watch::Sender::new(DONE.into()),
            writes: Mutex::default(),
        };
        Ok(Desk { inner: Arc::new(inner) })
    }

    /// Who may look.
    pub fn access(&self) -> &Access {
        &self.inner.access
    }

    /// The blind tests of the folder.
    pub fn hall(&self) -> &Hall {
        &self.inner.hall
    }

    pub(crate) fn path(&self) -> &Path {
        &self.inner.path
    }

    pub(crate) fn folder(&self) -> &ShootoutFolder {
        &self.inner.folder
    }

    /// Counts up whenever the folder changed, from another number in every run of the program.
    pub(crate) fn news(&self) -> watch::Receiver<u64> {
        self.inner.news.subscribe()
    }

    /// The number of the news that everything up to now was told by.
    pub(crate) fn latest(&self) -> u64 {
        *self.inner.news.borrow()
    }

    /// Tells every open page that something changed.
    pub(crate) fn tell(&self) {
        self.inner.news.send_modify(|n| *n += 1);
    }

    /// How far measuring has come, as news.
    pub(crate) fn progress(&self) -> watch::Receiver<Progress> {
        self.inner.progress.subscribe()
    }

    /// How far a write-up has come, as news.
    pub(crate) fn writing(&self) -> watch::Receiver<String> {
        self.inner.writing.subscribe()
    }

    /// Tells how far a write-up has come.
    pub(crate) fn tell_writing(&self, words: String) {
        // An event is one line.
        self.inner.writing.send_replace(words.replace(['\n', '\r'], " "));
    }

    /// The right to make a write-up; `None` while one is being made.
    pub(crate) fn writes(&self) -> Option<Writes<'_>> {
        match self.inner.writes.try_lock() {
            Ok(alone) => Some(Writes { desk: self, _alone: alone }),
            Err(TryLockError::Poisoned(alone)) => Some(Writes { desk: self, _alone: alone.into_inner() }),
            Err(TryLockError::WouldBlock) => None,
        }
    }

    /// Keeps what was found in the folder, for when takes are gone; where it is kept already that is all.
    pub(crate) fn keep(&self, now: &Now, found: &Findings) -> Result<(), Trouble> {
        let key = findings_key(&now.contents, &self.settings(now), None, None);
        if self.inner.folder.cache_get(&key).is_some() {
            return Ok(());
        }
        let mut found = found.clone();
        found.comparisons.iter_mut().for_each(|c| c.own_words = None);
        let json = serde_json::to_string_pretty(&found).map_err(|e| Trouble::disk(e.to_string()))?;
        Ok(self.inner.folder.cache_put(&key, json.as_bytes())?)
    }

    /// The log and the takes as they are now.
    pub(crate) fn now(&self) -> Result<Now, Trouble> {
        let mut work = self.work();
        let loaded = self.inner.folder.load_onto(&mut work.shelf)?;
        work.remembered.keep_only(&loaded.takes);
        let contents = contents_of(&loaded.log.shootout, &loaded.takes);
        Ok(Now { loaded, contents })
    }

    /// Measures and checks every take, as far as that is not known already.
    pub(crate) fn checked(&self, now: &Now) -> Result<Arc<Checked>, Trouble> {
        let mut work = self.work();
        if let Some((contents, checked)) = &work.checked
            && *contents == now.contents
        {
            return Ok(checked.clone());
        }
        let (takes, log) = (&now.loaded.takes, &now.loaded.log.shootout);
        let settings = self.settings(now);
        let checked = measure_and_check(takes, log, &settings, &mut work.remembered);
        set(&self.inner.progress, None);
        let (measures, checks) = checked?;
        let checked = Arc::new(Checked { measures, checks });
        work.checked = Some((now.contents.clone(), checked.clone()));
        Ok(checked)
    }

    /// The standard settings with the log's margin.
    pub(crate) fn settings(&self, now: &Now) -> Settings {
        let standard = Settings::standard();
        let margin_db = now.loaded.log.shootout.margin_db.unwrap_or(standard.margin_db);
        Settings { margin_db, ..standard }
    }

    /// Compares; what was measured or found before is not computed again.
    pub(crate) fn compare(
        &self,
        now: &Now,
        settings: &Settings,
        asked: &Comparison,
    ) -> Result<Arc<Findings>, Trouble> {
        let key = format!("{}\n{settings:?}\n{asked:?}", now.contents);
        let mut work = self.work();
        if let Some(found) = work.results.get(&key) {
            return Ok(found.clone());
        }
        let (takes, log) = (&now.loaded.takes, &now.loaded.log.shootout);
        let found = compare_remembering(takes, log, settings, asked, &mut work.remembered);
        set(&self.inner.progress, None);
        let found = Arc::new(found?.findings);
        work.results.retain(|key, _| key.starts_with(&now.contents));
        if work.results.len() >= MOST_RESULTS {
            work.results.clear();
        }
        work.results.insert(key, found.clone());
        Ok(found)
    }

    /// How far some pairs of microphones are apart on a source, in their order.
    pub(crate) fn distances(
        &self,
        now: &Now,
        settings: &Settings,
        source: &str,
        pairs: &[(String, String)],
    ) -> Result<Vec<Distance>, Trouble> {
        let key = format!("{}\n{settings:?}\n{source}", now.contents);
        let mut work = self.work();
        let Work { remembered, distances: (of, known), .. } = &mut *work;
        if *of != key {
            (*of, *known) = (key, HashMap::new());
        }
        let unknown: Vec<(String, String)> =
            pairs.iter().filter(|p| !known.contains_key(p)).cloned().collect();
        if !unknown.is_empty() {
            let (takes, log) = (&now.loaded.takes, &now.loaded.log.shootout);
            let found = distances_remembering(takes, log, settings, source, &unknown, remembered);
            set(&self.inner.progress, None);
            known.extend(unknown.into_iter().zip(found?));
        }
        Ok(pairs.iter().filter_map(|pair| known.get(pair).copied()).collect())
    }

    /// How far each two microphones are apart, on sources with more than two.
    pub(crate) fn all_distances(&self, now: &Now, findings: &Findings) -> Result<Vec<PairDistance>, Trouble> {
        let mut work = self.work();
        let (takes, log) = (&now.loaded.takes, &now.loaded.log.shootout);
        let found = all_distances(takes, log, findings, &mut work.remembered);
        set(&self.inner.progress, None);
        Ok(found?)
    }

    /// Everything compared at the standard settings: what the report and the command line show.
    pub(crate) fn findings(&self, now: &Now) -> Result<Findings, Trouble> {
        let asked = Desk::asked(None, None);
        let found = self.compare(now, &self.settings(now), &asked)?;
        let mut findings = (*found).clone();
        findings.keep_own_words(&now.loaded.log.shootout);
        Ok(findings)
    }

    /// What is asked of a run.
    pub(crate) fn asked(source: Option<String>, pair: Option<(String, String)>) -> Comparison {
        let version = env!("CARGO_PKG_VERSION").to_string();
        Comparison { reference: None, pair, source, recognised: None, version }
    }

    /// Changes values of the log, all or none.
    pub(crate) fn change(&self, changes: &[Change]) -> Result<(), Trouble> {
        self.with_log(|log| Ok(log.change(changes)?))
    }

    /// Enters takes in the log, all or none.
    pub(crate) fn add(&self, takes: &[TakeEntry]) -> Result<(), Trouble> {
        self.with_log(|log| takes.iter().try_for_each(|take| log.add_take(take)).map_err(Trouble::from))
    }

    /// Changes the log as `work` does, which may have written it itself. Where somebody else writes it at the same time, as
    /// another window, the command line or an editor, theirs is read again and the work done on that.
    pub(crate) fn with_log(&self, work: impl Fn(&mut LogFile) -> Result<(), Trouble>) -> Result<(), Trouble> {
        let _alone = self.inner.log.lock().unwrap_or_else(PoisonError::into_inner);
        for attempt in 1.. {
            let mut log = LogFile::read(&self.inner.folder.log_path())?;
            match work(&mut log).and_then(|()| log.write().map_err(|e| Trouble::not_written(&e))) {
                Ok(()) => break,
                Err(_) if attempt < MOST_ATTEMPTS && log.is_outdated()? => {}
                Err(e) => return Err(e),
            }
        }
        self.tell();
        Ok(())
    }

    /// A run that panicked has left maps that are whole: each value is put in complete.
    fn work(&self) -> MutexGuard<'_, Work> {
        self.inner.work.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The right to make a write-up; given back, it is told that nothing is written any more.
pub(crate) struct Writes<'d> {
    desk: &'d Desk,
    _alone: MutexGuard<'d, ()>,
}

impl Drop for Writes<'_> {
    fn drop(&mut self) {
        self.desk.tell_writing(DONE.into());
    }
}

/// Microseconds since 1970: two runs of the program count from different numbers.
fn begun() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(1, |since| since.as_micros() as u64)
}

/// Tells how far measuring has come; nothing where that is known.
fn set(progress: &watch::Sender<Progress>, to: Progress) {
    progress.send_if_modified(|now| std::mem::replace(now, to) != to);
}
