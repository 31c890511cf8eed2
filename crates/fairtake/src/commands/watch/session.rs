//! One file after the other: whose it is, whether it is good, the log, and what it settled.

use super::line::{Answer, AnsweredTake, KEEP, Line, Moved, PLAY_AGAIN, Stands};
use fairtake_compare::{
    CompareError, Comparison, Placements, Role, Settings, Shootout, Take, TakeAnswer, answer, compare,
    recognise_performances, replaced_by_takes, standing,
};
use fairtake_files::{
    AudioError, AudioFile, AudioProblem, Log, LogFile, Said, ShootoutFolder, TakeEntry, assign,
    started_together,
};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// How often the log is read anew when somebody else changed it between reading and writing.
const LOG_TRIES: usize = 3;

/// What a session remembers between files.
pub(crate) struct Session {
    folder: ShootoutFolder,
    path: PathBuf,
    said: Said,
    reference: Option<String>,
    /// Good files that could not be entered in the log yet.
    waiting: BTreeSet<String>,
    /// The log's text when they last could not.
    log_then: Option<String>,
}

/// What is known of whose a file is.
struct Owned {
    entries: Vec<TakeEntry>,
    /// Entries are made up, and nothing may be logged.
    question: Option<String>,
    listed: bool,
}

impl Session {
    pub(crate) fn new(folder: ShootoutFolder, path: &Path, said: Said, reference: Option<String>) -> Session {
        Session { folder, path: path.into(), said, reference, waiting: BTreeSet::new(), log_then: None }
    }

    /// Good files that were not known to the log: once again, when the log has changed.
    pub(crate) fn waiting_that_the_log_may_know_now(&mut self) -> Vec<String> {
        if self.waiting.is_empty() || self.log_text() == self.log_then {
            return Vec::new();
        }
        self.log_then = self.log_text();
        let log = self.folder.log();
        let known = |file: &String| {
            let audio = AudioFile::open(&self.path.join(file)).ok()?;
            assign(log.as_ref().ok()?, file, &audio, &self.said).ok()
        };
        self.waiting.iter().filter(|f| known(f).is_some()).cloned().collect()
    }

    fn log_text(&self) -> Option<String> {
        std::fs::read_to_string(self.folder.log_path()).ok()
    }

    /// Checks one file that is complete, enters it in the log where it is good, and says what follows from it.
    pub(crate) fn answer(&mut self, file: &str, say: &mut dyn FnMut(Line)) {
        let started = Instant::now();
        self.waiting.remove(file);
        let log = self.folder.log();
        if let Err(e) = &log {
            eprintln!("{e}\nhint: {}", e.hint());
        }
        let log = log.ok();
        let checked = self.check(file, log.as_ref());
        let (owned, mut line, keep) = match checked {
            Ok((owned, answers)) => {
                let keep = answers.iter().all(|a| a.keep);
                let line = spoken(file, &owned, &answers);
                (owned, line, keep)
            }
            Err(words) => {
                let listed = log.iter().any(|l| l.takes.iter().any(|t| t.file == file));
                let owned = Owned { entries: Vec::new(), question: None, listed };
                let line = Answer { words, ..spoken(file, &owned, &[]) };
                (owned, line, false)
            }
        };
        line.answer = if keep { KEEP } else { PLAY_AGAIN };
        line.logged = owned.listed;
        // A question matters only where the take is worth keeping.
        line.question = owned.question.clone().filter(|_| keep);
        if keep && owned.question.is_none() && !owned.listed {
            match self.enter(&owned.entries) {
                Ok(()) => line.logged = true,
                Err(what) => {
                    eprintln!("{what}");
                    line.question = Some("not logged: mend shootout.toml".into());
                }
            }
        }
        if keep && !line.logged {
            self.waiting.insert(file.to_string());
            self.log_then = self.log_text();
        }
        line.seconds = started.elapsed().as_secs_f64();
        let known = line.logged;
        say(Line::Answer(line));
        if keep && known {
            self.follow(&owned.entries, say);
        }
    }

    /// Whose the file is, and one answer per take.
    fn check(&self, file: &str, log: Option<&Log>) -> Result<(Owned, Vec<TakeAnswer>), String> {
        let audio = AudioFile::open(&self.path.join(file)).map_err(|e| unreadable(&e))?;
        let mut owned = self.owned(file, &audio, log);
        if owned.question.is_none() && !owned.listed {
            self.share_performance(&mut owned.entries, log);
        }
        let takes = self.folder.open_unhashed(owned.entries.clone()).map_err(|e| unreadable(&e))?;
        let shootout = log.map_or_else(Shootout::default, |l| l.shootout.clone());
        let answers = answer(&takes.iter().collect::<Vec<&Take>>(), &shootout, &settings(&shootout))
            .map_err(|e| format!("unreadable, {}", e.what))?;
        Ok((owned, answers))
    }

    /// By the log, by the name, by what was said; else a stand-in, so that the sound is checked all the same.
    fn owned(&self, file: &str, audio: &AudioFile, log: Option<&Log>) -> Owned {
        let stand_in = |question: String| Owned {
            entries: (1..=audio.n_channels()).map(|c| TakeEntry::new(file, c, "", "")).collect(),
            question: Some(question),
            listed: false,
        };
        let Some(log) = log else { return stand_in("not logged: mend shootout.toml".into()) };
        let listed = log.lists(file);
        match assign(log, file, audio, &self.said) {
            Ok(entries) => Owned { entries, question: None, listed },
            Err(not) => stand_in(format!("{} {}", not.words(), not.hint(&log.shootout))),
        }
    }

    /// Files of one recording, one per microphone, share their performance: where both say that they began together, or
    /// stopped together and hold the same sound.
    fn share_performance(&self, entries: &mut [TakeEntry], log: Option<&Log>) {
        let (Some(first), Some(log)) = (entries.first().cloned(), log) else { return };
        let others = log.takes.iter().filter(|t| {
            t.source == first.source && entries.iter().all(|e| e.mic != t.mic) && t.file != first.file
        });
        let partner = others.rev().find(|t| {
            started_together(&self.path, &t.file, &first.file).unwrap_or_else(|| self.same_sound(t, &first))
        });
        if let Some(partner) = partner {
            for entry in entries {
                entry.performance = partner.performance;
                entry.order = partner.order.or(entry.order);
            }
        }
    }

    fn same_sound(&self, one: &TakeEntry, other: &TakeEntry) -> bool {
        let Ok(mut takes) = self.folder.open_unhashed(vec![one.clone(), other.clone()]) else { return false };
        takes[1].performance = takes[0].performance + 1;
        recognise_performances(&mut takes, None).is_ok() && takes[0].performance == takes[1].performance
    }

    /// Enters takes in the log as `add` does. Where somebody else changed it just now, it is read anew.
    fn enter(&self, entries: &[TakeEntry]) -> Result<(), String> {
        let mut failed = String::new();
        for _ in 0..LOG_TRIES {
            let entered = LogFile::read(&self.folder.log_path()).and_then(|mut log| {
                entries.iter().try_for_each(|e| log.add_take(e))?;
                log.write()
            });
            match entered {
                Ok(()) => return Ok(()),
                Err(e) => failed = format!("{e}\nhint: {}", e.hint),
            }
        }
        Err(failed)
    }

    /// What a good take changed: how the microphone stands, and what is settled of its source.
    fn follow(&self, entries: &[TakeEntry], say: &mut dyn FnMut(Line)) {
        let Ok(log) = self.folder.log() else { return };
        let Some(source) = entries.first().map(|e| e.source.clone()) else { return };
        for entry in entries.iter().filter(|e| e.role == Role::Compared) {
            if let Some(moved) = self.moved(entry, &log) {
                say(Line::Replaced(moved));
            }
        }
        if entries.iter().any(|e| matches!(e.role, Role::Compared | Role::Witness)) {
            say(Line::Standing(self.stands(&source, entries, &log)));
        }
    }

    /// The takes that the log lists and that are there and can be read; what is missing yet may come.
    fn there(&self, log: &Log, holds: impl Fn(&TakeEntry) -> bool) -> Vec<Take> {
        let entries = log.takes.iter().filter(|t| holds(t)).cloned();
        entries.filter_map(|e| self.folder.open_entries(vec![e]).ok()).flatten().collect()
    }

    fn moved(&self, entry: &TakeEntry, log: &Log) -> Option<Moved> {
        let here = |t: &TakeEntry| t.source == entry.source;
        let last = log
            .takes
            .iter()
            // Another spot is meant to differ, so it does not count as the last placement.
            .filter(|t| here(t) && t.mic == entry.mic && t.role == Role::Compared)
            .filter(|t| t.position == entry.position && t.placement < entry.placement)
            .map(|t| t.placement)
            .max()?;
        let which =
            Placements { mic: entry.mic.clone(), source: entry.source.clone(), last, now: entry.placement };
        let told = replaced_by_takes(self.there(log, here), &which, &log.shootout, &settings(&log.shootout));
        let told = told.map_err(|e| eprintln!("{e}")).ok()?;
        let text = match &told {
            Ok(r) => {
                format!("{} than its last placement", r.words()).replace("distance (", "distance as before (")
            }
            Err(cannot) => format!("how far off the last placement cannot be told: {}", cannot.words()),
        };
        Some(Moved {
            mic: which.mic,
            source: which.source,
            last_placement: last,
            placement: which.now,
            estimate: told.ok(),
            cannot_tell: told.err(),
            text,
        })
    }

    fn stands(&self, source: &str, entries: &[TakeEntry], log: &Log) -> Stands {
        let takes = self.there(log, |t| t.source == source);
        let compared = |t: &&Take| t.role == Role::Compared;
        let mics: BTreeSet<&str> = takes.iter().filter(compared).map(|t| t.mic.as_str()).collect();
        let made =
            |text: String, pairs: Vec<_>, settled| Stands { source: source.into(), settled, pairs, text };
        let asked = Comparison {
            reference: self.reference.clone().filter(|r| mics.contains(r.as_str())),
            pair: None,
            source: None,
            recognised: None,
            version: env!("CARGO_PKG_VERSION").to_string(),
        };
        let findings = match compare(&takes, &log.shootout, &settings(&log.shootout), &asked) {
            Ok(measurement) => measurement.findings,
            Err(CompareError::NothingToCompare { .. }) => {
                let only = mics.into_iter().collect::<Vec<_>>().join(", ");
                let text =
                    if only.is_empty() { "no microphone yet".into() } else { format!("only {only} so far") };
                return made(text, Vec::new(), false);
            }
            Err(e) => return made(format!("cannot be compared yet: {e}"), Vec::new(), false),
        };
        let witness = entries.iter().all(|e| e.role == Role::Witness);
        let concerned = |mic: &String| witness || entries.iter().any(|e| e.mic == *mic);
        let pairs: Vec<_> = standing(&findings, source)
            .into_iter()
            .filter(|s| concerned(&s.reference) || concerned(&s.against))
            .collect();
        let settled = !pairs.is_empty() && pairs.iter().all(|s| s.settled);
        let text = match pairs.as_slice() {
            [one] => one.text.clone(),
            several => several
                .iter()
                .map(|s| format!("{} and {}: {}", s.reference, s.against, s.text))
                .collect::<Vec<_>>()
                .join(" | "),
        };
        made(text, pairs, settled)
    }
}

fn settings(shootout: &Shootout) -> Settings {
    let standard = Settings::standard();
    Settings { margin_db: shootout.margin_db.unwrap_or(standard.margin_db), ..standard }
}

/// The line of one file, from the answers to its takes: the first that is refused, else the first with a word to say.
fn spoken(file: &str, owned: &Owned, answers: &[TakeAnswer]) -> Answer {
    let heard = |a: &&(usize, &TakeAnswer)| !a.1.words.is_empty();
    let numbered: Vec<(usize, &TakeAnswer)> = answers.iter().enumerate().collect();
    let refused = numbered.iter().find(|a| !a.1.keep);
    let (words, events) = match refused.or_else(|| numbered.iter().find(heard)) {
        Some((i, a)) if answers.len() > 1 => {
            (format!("{} {}", whose(&owned.entries[*i]), a.words), a.events.clone())
        }
        Some((_, a)) => (a.words.clone(), a.events.clone()),
        None => (String::new(), Vec::new()),
    };
    let takes = owned.entries.iter().zip(answers).map(|(e, a)| {
        let known = owned.question.is_none();
        AnsweredTake {
            channel: e.channel,
            mic: known.then(|| e.mic.clone()),
            source: known.then(|| e.source.clone()),
            placement: known.then_some(e.placement),
            performance: known.then_some(e.performance),
            events_used: a.n_used,
        }
    });
    Answer {
        file: file.into(),
        answer: PLAY_AGAIN,
        words,
        events,
        logged: false,
        question: None,
        takes: takes.collect(),
        checks: answers.iter().flat_map(|a| a.checks.clone()).collect(),
        seconds: 0.0,
    }
}

fn whose(entry: &TakeEntry) -> String {
    if entry.mic.is_empty() { format!("channel {}", entry.channel) } else { entry.mic.clone() }
}

/// Why a file cannot be read, in few words.
fn unreadable(e: &AudioError) -> String {
    match &e.problem {
        AudioProblem::CutOff { .. } => "unreadable, cut off".into(),
        AudioProblem::Empty => "unreadable, empty".into(),
        problem => format!("unreadable, {problem}"),
    }
}
