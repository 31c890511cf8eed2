//! What was measured on the audio, kept between runs of one session: a setting that needs no audio, a take more or a name
//! changed then reads nothing again. Keys hold everything that the result depends on, so that a stale one is never met.

use crate::{Alignment, Feature, MatchBy, PairTables, Settings, Take, TakeMeasure};
use fairtake_stats::curve::Curve;
use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

/// What was drawn for so many pairs is kept, the newest. Reason: a third of a megabyte each, and one pair is looked at.
const MOST_DRAWN: usize = 32;

/// Told how many takes are measured, and of how many.
pub type Progress = dyn Fn(usize, usize) + Send;

/// Measures and alignments of earlier runs. Grows with the takes of the last run only: see [`Remembered::keep_only`].
#[derive(Default)]
pub struct Remembered {
    progress: Option<Box<Progress>>,
    measures: HashMap<String, Vec<TakeMeasure>>,
    alignments: HashMap<String, Option<Alignment>>,
    curves: VecDeque<Kept<Option<Curve>>>,
    features: VecDeque<Kept<Vec<Feature>>>,
}

/// What is found of a pair by drawing thousands of curves at random; `None`: not known yet.
#[derive(Default)]
pub(crate) struct Drawn {
    pub curve: Option<Option<Curve>>,
    pub features: Option<Vec<Feature>>,
}

/// Found on these tables with these settings, those that it does not depend on set aside.
struct Kept<T> {
    tables: Arc<PairTables>,
    settings: Settings,
    found: T,
}

impl<T: Clone> Kept<T> {
    fn of(all: &VecDeque<Kept<T>>, tables: &PairTables, settings: &Settings) -> Option<T> {
        let same = |k: &&Kept<T>| k.settings == *settings && *k.tables == *tables;
        all.iter().rev().find(same).map(|k| k.found.clone())
    }
}

/// A curve knows of no margin; features neither, and they are looked for before the levels are matched.
fn settings_of_curve(settings: &Settings) -> Settings {
    Settings { margin_db: 0.0, ..settings.clone() }
}

fn settings_of_features(settings: &Settings) -> Settings {
    Settings { match_by: MatchBy::None, ..settings_of_curve(settings) }
}

impl Remembered {
    /// Forgets what speaks of files that are not among these takes.
    pub fn keep_only(&mut self, takes: &[Take]) {
        let here = |key: &String| {
            key.lines().filter_map(|line| line.split_once(' ')).all(|(hash, rest)| {
                hash.len() != 64
                    || takes.iter().any(|t| *t.stored_as.sha256 == *hash && rest.starts_with(&t.id))
            })
        };
        self.measures.retain(|key, _| here(key));
        self.alignments.retain(|key, _| here(key));
    }

    /// From now on tells how far measuring has come, beginning with 0.
    pub fn tell(&mut self, progress: Box<Progress>) {
        self.progress = Some(progress);
    }

    pub(crate) fn has_come(&self, n_measured: usize, n_takes: usize) {
        if let Some(progress) = &self.progress {
            progress(n_measured, n_takes);
        }
    }

    /// Number of groups of takes whose measures are known.
    pub fn n_groups(&self) -> usize {
        self.measures.len()
    }

    pub(crate) fn measures(&self, key: &str) -> Option<Vec<TakeMeasure>> {
        self.measures.get(key).cloned()
    }

    pub(crate) fn put_measures(&mut self, key: String, measures: &[TakeMeasure]) {
        self.measures.insert(key, measures.to_vec());
    }

    pub(crate) fn alignment(&self, key: &str) -> Option<Option<Alignment>> {
        self.alignments.get(key).cloned()
    }

    /// What is known of a pair without drawing anew.
    pub(crate) fn drawn(&self, tables: &PairTables, settings: &Settings) -> Drawn {
        Drawn {
            curve: Kept::of(&self.curves, tables, &settings_of_curve(settings)),
            features: Kept::of(&self.features, tables, &settings_of_features(settings)),
        }
    }

    /// Keeps what was not known before.
    pub(crate) fn put_drawn(&mut self, tables: &PairTables, settings: &Settings, drawn: Drawn) {
        let known = self.drawn(tables, settings);
        let tables = Arc::new(tables.clone());
        if let (Some(found), None) = (drawn.curve, known.curve) {
            let settings = settings_of_curve(settings);
            put(&mut self.curves, Kept { tables: tables.clone(), settings, found });
        }
        if let (Some(found), None) = (drawn.features, known.features) {
            put(&mut self.features, Kept { tables, settings: settings_of_features(settings), found });
        }
    }

    pub(crate) fn put_alignment(&mut self, key: String, alignment: Option<Alignment>) {
        self.alignments.insert(key, alignment);
    }
}

fn put<T>(all: &mut VecDeque<Kept<T>>, kept: Kept<T>) {
    if all.len() == MOST_DRAWN {
        all.pop_front();
    }
    all.push_back(kept);
}

/// What the measures of a group of takes depend on.
pub(crate) fn group_key(takes: &[&Take], settings: &Settings, replays: bool) -> String {
    format!("{}\n{} {:?} {replays}", lines(takes), settings.bands_per_octave, settings.playing)
}

/// What the alignment of two sides depends on: the samples, where the events lie and which are used, and the noise, whatever
/// these came from.
pub(crate) fn pair_key(
    a: &[(&Take, &TakeMeasure)],
    b: &[(&Take, &TakeMeasure)],
    speed_of_sound_m_s: f64,
) -> String {
    let line = |(t, m): &(&Take, &TakeMeasure)| {
        let events: Vec<_> = m.events.iter().map(|e| (e.start_s, e.end_s, e.left_out)).collect();
        let noise = m.noise.as_ref().map(|n| (n.mean_square, n.from));
        format!("{} {} {} {events:?} {noise:?}", &*t.stored_as.sha256, t.id, t.performance)
    };
    let lines = |side: &[(&Take, &TakeMeasure)]| side.iter().map(line).collect::<Vec<_>>().join("\n");
    format!("{}\nagainst\n{}\n{speed_of_sound_m_s}", lines(a), lines(b))
}

/// One line per take: its file's hash and what the log says that changes how it is measured.
fn lines(takes: &[&Take]) -> String {
    let line = |t: &&Take| {
        format!(
            "{} {} {:?} {} {:?} {}",
            &*t.stored_as.sha256, t.id, t.role, t.performance, t.hand_set_events_s, t.keep_although_unfair
        )
    };
    takes.iter().map(line).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::MatchBy;
    use crate::testing::{hits, take};
    use crate::{Comparison, ReadError, Samples, Settings, Shootout, Take, compare, compare_remembering};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU64, Ordering};

    /// Counts the frames that are read.
    struct Counted {
        inner: Box<dyn Samples>,
        n_frames: Arc<AtomicU64>,
    }

    impl Samples for Counted {
        fn rate_hz(&self) -> u32 {
            self.inner.rate_hz()
        }
        fn frames(&self) -> u64 {
            self.inner.frames()
        }
        fn read(&self, start: u64, out: &mut [f32]) -> Result<usize, ReadError> {
            self.n_frames.fetch_add(out.len() as u64, Ordering::Relaxed);
            self.inner.read(start, out)
        }
    }

    fn counted(mut take: Take, hash: char, n_frames: &Arc<AtomicU64>) -> Take {
        take.stored_as.sha256 = hash.to_string().repeat(64).into();
        let inner = std::mem::replace(&mut take.samples, crate::testing::take("x", 1, vec![]).samples);
        take.samples = Box::new(Counted { inner, n_frames: n_frames.clone() });
        take
    }

    #[test]
    fn a_setting_without_audio_reads_nothing_and_finds_what_a_fresh_run_finds() {
        let n_frames = Arc::new(AtomicU64::new(0));
        let (a, b) = (hits(1, 0.5), hits(1, 0.4));
        // One performance, so that there is an alignment too.
        let takes = vec![
            counted(take("heron", 1, a), 'a', &n_frames),
            counted(take("moorhen", 1, b), 'b', &n_frames),
        ];
        let log = Shootout::default();
        let asked = Comparison {
            reference: None,
            pair: None,
            source: None,
            recognised: None,
            version: "test".into(),
        };
        let mut remembered = crate::Remembered::default();
        let told = Arc::new(std::sync::Mutex::new(Vec::new()));
        let tells = told.clone();
        remembered.tell(Box::new(move |n, of| tells.lock().expect("whole").push((n, of))));
        let first = compare_remembering(&takes, &log, &Settings::standard(), &asked, &mut remembered);
        assert!(first.expect("compares").findings.comparisons[0].alignment.is_some());
        let read = n_frames.swap(0, Ordering::Relaxed);
        assert!(read > 0);
        let wider = Settings { margin_db: 3.0, ..Settings::standard() };
        let again = compare_remembering(&takes, &log, &wider, &asked, &mut remembered).expect("compares");
        assert_eq!(n_frames.swap(0, Ordering::Relaxed), 0, "no audio work");
        assert_eq!(*told.lock().expect("whole"), [(0, 2), (2, 2)], "nothing is told where nothing is read");
        let fresh = compare(&takes, &log, &wider, &asked).expect("compares");
        assert_eq!(again.findings, fresh.findings);
        // The margin draws nothing anew, the match only the curve: each way what a fresh run finds.
        assert_eq!((remembered.curves.len(), remembered.features.len()), (1, 1));
        for match_by in [MatchBy::Peak, MatchBy::None, MatchBy::Loudness] {
            let matched = Settings { match_by, ..wider.clone() };
            let again = compare_remembering(&takes, &log, &matched, &asked, &mut remembered);
            let fresh = compare(&takes, &log, &matched, &asked).expect("compares");
            assert_eq!(again.expect("compares").findings, fresh.findings);
        }
        assert_eq!((remembered.curves.len(), remembered.features.len()), (3, 1));
        assert!(n_frames.swap(0, Ordering::Relaxed) > 0);
        // Another file under the same name is measured, and what is no longer there is forgotten.
        let changed = vec![
            counted(take("heron", 1, hits(1, 0.5)), 'c', &n_frames),
            counted(take("moorhen", 1, hits(1, 0.1)), 'b', &n_frames),
        ];
        let other = compare_remembering(&changed, &log, &wider, &asked, &mut remembered).expect("compares");
        assert!(n_frames.load(Ordering::Relaxed) > 0);
        assert_ne!(other.findings.comparisons[0].levels, fresh.findings.comparisons[0].levels);
        assert_eq!(remembered.n_groups(), 2);
        remembered.keep_only(&changed);
        assert_eq!(remembered.n_groups(), 1);
    }

    #[test]
    fn an_alignment_is_made_anew_when_another_take_of_the_performance_changes_which_events_are_used() {
        let n_frames = Arc::new(AtomicU64::new(0));
        let mut b: Vec<f32> = std::iter::repeat_n(0.0, 40).chain(hits(1, 0.4)).collect();
        // One hit arrives upside down, so that it matters whether it is used.
        let second = crate::testing::RATE_HZ as usize;
        b[6 * second..7 * second].iter_mut().for_each(|x| *x = -*x);
        let both = || {
            vec![
                counted(take("heron", 1, hits(1, 0.5)), 'a', &n_frames),
                counted(take("moorhen", 1, b.clone()), 'b', &n_frames),
            ]
        };
        let asked = Comparison {
            reference: None,
            pair: Some(("heron".into(), "moorhen".into())),
            source: None,
            recognised: None,
            version: "test".into(),
        };
        let (log, settings) = (Shootout::default(), Settings::standard());
        let mut remembered = crate::Remembered::default();
        let of = |m: crate::Measurement| m.findings.comparisons[0].alignment.clone();
        let two = compare_remembering(&both(), &log, &settings, &asked, &mut remembered).expect("compares");
        // A third microphone was overloaded by that hit: it is left out of all.
        let mut c = hits(1, 0.3);
        c[6 * second..7 * second].iter_mut().for_each(|x| *x = (*x * 50.0).clamp(-1.0, 1.0));
        let three: Vec<Take> =
            both().into_iter().chain([counted(take("coot", 1, c), 'c', &n_frames)]).collect();
        let again = compare_remembering(&three, &log, &settings, &asked, &mut remembered).expect("compares");
        let fresh = compare(&three, &log, &settings, &asked).expect("compares");
        let (two, again, fresh) = (of(two), of(again), of(fresh));
        assert_eq!(again, fresh);
        assert_ne!(two, fresh, "the hit that is left out changes the alignment");
    }
}
