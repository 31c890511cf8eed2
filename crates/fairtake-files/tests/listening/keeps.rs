//! What is written comes back; what may not be is refused and changes nothing.

use super::{a_sitting, a_test, chose};
use fairtake_bridge::{Corrected, Equaliser, EqualiserBand, Shape};
use fairtake_files::{ListeningStore, NewTest, StoreError, Write, answers_csv, answers_json, store_path};
use fairtake_listen::{Answer, Given, Kind, State, opens};

fn answer(sitting: &str, trial: usize, answer: Answer, ends: bool) -> Write {
    Write::Answer { sitting: sitting.into(), trial, at_s: 1_700_000_200 + trial as i64, answer, ends }
}

#[test]
fn everything_comes_back_as_it_was_after_opening_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let test = a_test("t1", Kind::Which, 4, &[]);
    let sitting = a_sitting("s1", &test, None);
    {
        let store = ListeningStore::open(folder.path()).expect("made");
        store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
        store.write_and_wait(Write::Sitting(Box::new(sitting.clone()))).expect("kept");
        store.write_and_wait(answer("s1", 0, chose(1, "softer, \"woolly\""), false)).expect("kept");
        store.write_and_wait(answer("s1", 1, chose(0, ""), false)).expect("kept");
    }
    let store = ListeningStore::open(folder.path()).expect("opened");
    let back = store.test("t1").expect("there");
    assert_eq!(
        (back.plan, back.title, back.is_open, back.needs_code),
        (test.plan.clone(), test.title, true, false)
    );
    for (i, excerpt) in test.excerpts.iter().enumerate() {
        assert_eq!(store.excerpt("t1", i).as_ref(), Ok(excerpt));
    }
    assert_eq!(store.excerpt("t1", 99), Err(StoreError::Missing));
    let found = store.sitting("s1").expect("there");
    assert_eq!((found.key.clone(), &found.seal), (sitting.key.clone(), &sitting.seal));
    assert!(opens(&found.seal, &found.key.text(&test.plan)));
    let resumed = found.sitting(&test.plan).expect("whole");
    assert_eq!((resumed.awaited(), resumed.state()), (Some(2), State::Open));
    assert_eq!(resumed.answers()[0].comment, "softer, \"woolly\"");
    assert_eq!(store.sittings("t1").expect("read").len(), 1);
    assert_eq!(store.tests().expect("read").len(), 1);
}

#[test]
fn an_answer_stands_and_a_stranger_has_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = ListeningStore::open(folder.path()).expect("made");
    let test = a_test("t1", Kind::Which, 4, &[]);
    store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    store.write_and_wait(Write::Sitting(Box::new(a_sitting("s1", &test, None)))).expect("kept");
    store.write_and_wait(answer("s1", 0, chose(1, ""), false)).expect("kept");
    assert_eq!(store.write_and_wait(answer("s1", 0, chose(0, ""), false)), Err(StoreError::Taken));
    assert_eq!(store.sitting("s1").expect("there").answers[0].1, chose(1, ""));
    assert_eq!(store.write_and_wait(answer("nobody", 0, chose(0, ""), false)), Err(StoreError::Missing));
    assert_eq!(
        store.write_and_wait(Write::Left { sitting: "nobody".into(), at_s: 1 }),
        Err(StoreError::Missing)
    );
    assert_eq!(store.write_and_wait(Write::Test(Box::new(test))), Err(StoreError::Taken));
    assert_eq!(store.sitting("nobody"), Err(StoreError::Missing));
}

#[test]
fn nothing_is_answered_after_the_end_whoever_ended_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let test = a_test("t1", Kind::Which, 4, &[]);
    // Two programs on one folder.
    let here = ListeningStore::open(folder.path()).expect("made");
    let there = ListeningStore::open(folder.path()).expect("opened");
    here.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    for id in ["s1", "s2"] {
        here.write_and_wait(Write::Sitting(Box::new(a_sitting(id, &test, None)))).expect("kept");
        here.write_and_wait(answer(id, 0, chose(1, ""), false)).expect("kept");
    }
    there.write_and_wait(Write::Left { sitting: "s1".into(), at_s: 5 }).expect("left");
    assert_eq!(here.write_and_wait(answer("s1", 1, chose(1, ""), false)), Err(StoreError::Closed));
    there.write_and_wait(answer("s2", 1, chose(0, ""), true)).expect("the last one");
    assert_eq!(here.write_and_wait(answer("s2", 2, chose(1, ""), false)), Err(StoreError::Closed));
    assert_eq!(here.write_and_wait(answer("s2", 1, chose(1, ""), false)), Err(StoreError::Taken));
    let kept = |id: &str| here.sitting(id).expect("there").answers.len();
    assert_eq!((kept("s1"), kept("s2")), (1, 2));
}

#[test]
fn a_code_begins_one_sitting_and_a_closed_test_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = ListeningStore::open(folder.path()).expect("made");
    let test = a_test("t1", Kind::Prefer, 4, &["ALDER-4417", "BIRCH-2208"]);
    store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    let begin = |id: &str, code: Option<&str>| {
        store.write_and_wait(Write::Sitting(Box::new(a_sitting(id, &test, code))))
    };
    assert_eq!(begin("s1", None), Err(StoreError::UnknownCode));
    assert_eq!(begin("s1", Some("alder-9999")), Err(StoreError::UnknownCode));
    assert_eq!(begin("s1", Some("alder 4417")), Ok(()));
    assert_eq!(begin("s2", Some("ALDER-4417")), Err(StoreError::UsedCode));
    assert_eq!(store.test("t1").expect("there").n_codes_left, 1);
    store.write_and_wait(Write::Open { test: "t1".into(), is_open: false }).expect("closed");
    assert_eq!(begin("s3", Some("BIRCH-2208")), Err(StoreError::Closed));
    // The code is not used up by that.
    store.write_and_wait(Write::Open { test: "t1".into(), is_open: true }).expect("open");
    assert_eq!(begin("s3", Some("BIRCH-2208")), Ok(()));
    // No code lies in the file as it was given out.
    let bytes = std::fs::read(store_path(folder.path())).expect("a file");
    let wal = std::fs::read(store_path(folder.path()).with_extension("sqlite-wal")).unwrap_or_default();
    let has = |haystack: &[u8], needle: &[u8]| haystack.windows(needle.len()).any(|w| w == needle);
    assert!(!has(&bytes, b"BIRCH-2208") && !has(&wal, b"BIRCH-2208"));
}

#[test]
fn what_the_owner_deletes_is_gone_with_all_that_belongs_to_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = ListeningStore::open(folder.path()).expect("made");
    let test = a_test("t1", Kind::Which, 4, &[]);
    store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    for id in ["s1", "s2"] {
        store.write_and_wait(Write::Sitting(Box::new(a_sitting(id, &test, None)))).expect("kept");
        store.write_and_wait(answer(id, 0, chose(1, "a remark of mine"), false)).expect("kept");
    }
    store.write_and_wait(answer("s1", 1, chose(1, "to be forgotten"), false)).expect("kept");
    let lies = |words: &str| {
        let bytes = std::fs::read(store_path(folder.path())).expect("a file");
        let log = std::fs::read(store_path(folder.path()).with_extension("sqlite-wal")).unwrap_or_default();
        [bytes, log].iter().any(|b| b.windows(words.len()).any(|w| w == words.as_bytes()))
    };
    assert!(lies("to be forgotten"));
    store.write_and_wait(Write::DeleteSitting { sitting: "s1".into() }).expect("gone");
    assert!(!lies("to be forgotten") && lies("a remark of mine"));
    assert_eq!(store.sitting("s1"), Err(StoreError::Missing));
    assert_eq!(store.sittings("t1").expect("read").len(), 1);
    // That there was one stays known, once.
    assert_eq!(store.write_and_wait(Write::DeleteSitting { sitting: "s1".into() }), Err(StoreError::Missing));
    let kept = store.test("t1").expect("there");
    assert_eq!(kept.n_deleted, 1);
    assert_eq!(answers_json(&kept, &[])["n_deleted_sittings"], 1);
    store.write_and_wait(Write::DeleteTest { test: "t1".into() }).expect("gone");
    assert_eq!((store.test("t1"), store.sitting("s2")), (Err(StoreError::Missing), Err(StoreError::Missing)));
    assert_eq!(store.excerpt("t1", 0), Err(StoreError::Missing));
    assert_eq!(store.write_and_wait(Write::DeleteTest { test: "t1".into() }), Err(StoreError::Missing));
    drop(store);
    // Closing the last connection folds the write-ahead log in; nothing of the remark is left in the file.
    let mut left = Vec::new();
    for _ in 0..100 {
        left = std::fs::read(store_path(folder.path())).expect("a file");
        if !store_path(folder.path()).with_extension("sqlite-wal").exists() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert!(!left.windows(16).any(|w| w == b"a remark of mine"), "a remark is left in the file");
}

#[test]
fn what_is_deleted_while_somebody_reads_is_gone_and_it_is_said_that_it_lingers() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = ListeningStore::open(folder.path()).expect("made");
    let test = a_test("t1", Kind::Which, 4, &[]);
    store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    for id in ["s1", "s2"] {
        store.write_and_wait(Write::Sitting(Box::new(a_sitting(id, &test, None)))).expect("kept");
    }
    let reader = rusqlite::Connection::open(store_path(folder.path())).expect("opened");
    reader.execute_batch("BEGIN; SELECT count(*) FROM sitting;").expect("reads");
    let told = store.write_and_wait(Write::DeleteSitting { sitting: "s1".into() }).expect_err("it lingers");
    assert!(matches!(told, StoreError::Lingers(_)), "{told}");
    assert!(told.to_string().starts_with("it is deleted") && !told.hint().is_empty(), "{told}");
    assert_eq!(store.sitting("s1"), Err(StoreError::Missing));
    // What is not there is said as before, and an answer is none of it.
    let again = store.write_and_wait(Write::DeleteSitting { sitting: "s1".into() });
    assert_eq!(again, Err(StoreError::Missing));
    store.write_and_wait(answer("s2", 0, chose(0, ""), false)).expect("kept");
    reader.execute_batch("COMMIT;").expect("done");
    store.write_and_wait(Write::DeleteSitting { sitting: "s2".into() }).expect("gone, with what lingered");
    let log = store_path(folder.path()).with_extension("sqlite-wal");
    assert_eq!(std::fs::metadata(log).map_or(0, |m| m.len()), 0);
}

#[test]
fn exports_hold_every_answer_of_sittings_that_ended_and_nothing_of_open_ones() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = ListeningStore::open(folder.path()).expect("made");
    let test = a_test("t1", Kind::Which, 2, &[]);
    store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
    for id in ["done", "open", "left"] {
        store.write_and_wait(Write::Sitting(Box::new(a_sitting(id, &test, None)))).expect("kept");
        store.write_and_wait(answer(id, 0, chose(1, "=1+1, \"so\""), false)).expect("kept");
    }
    store.write_and_wait(answer("done", 1, chose(0, ""), true)).expect("kept");
    store.write_and_wait(Write::Left { sitting: "left".into(), at_s: 1_700_000_300 }).expect("kept");
    let again = store.write_and_wait(Write::Left { sitting: "done".into(), at_s: 1 });
    assert_eq!(again, Err(StoreError::Missing), "whoever is done cannot leave any more");
    let (stored, sittings) = (store.test("t1").expect("there"), store.sittings("t1").expect("read"));
    let csv = answers_csv(&stored, &sittings);
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 1 + 3, "{csv}");
    assert!(lines.iter().all(|l| !l.starts_with("open,")));
    assert!(csv.contains("\"'=1+1, \"\"so\"\"\""), "{csv}");
    assert!(lines.iter().any(|l| l.starts_with("left,Wren,1700000100,true,1,looked,")), "{csv}");
    let json = answers_json(&stored, &sittings);
    assert_eq!((json["sittings"].as_array().map(Vec::len), &json["n_open_sittings"]), (Some(2), &1.into()));
    for s in json["sittings"].as_array().expect("sittings") {
        assert!(opens(s["seal"].as_str().expect("a seal"), s["key"].as_str().expect("a key")));
    }
    // Ratings: a line for every pebble.
    let rating = a_test("t2", Kind::Liking, 1, &[]);
    store.write_and_wait(Write::Test(Box::new(rating.clone()))).expect("kept");
    store.write_and_wait(Write::Sitting(Box::new(a_sitting("r", &rating, None)))).expect("kept");
    let rated = Answer { given: Given::Ratings(vec![70, 40]), comment: String::new() };
    store.write_and_wait(answer("r", 0, rated, true)).expect("kept");
    let csv = answers_csv(&store.test("t2").expect("there"), &store.sittings("t2").expect("read"));
    assert_eq!(csv.lines().count(), 3, "{csv}");
}

/// Form 1 had no count of what was deleted, form 2 did not keep how an equaliser was set.
#[test]
fn stores_of_the_forms_before_are_read_and_go_on() {
    let before = [
        (1, "ALTER TABLE test DROP COLUMN n_deleted; ALTER TABLE test DROP COLUMN corrected;"),
        (2, "ALTER TABLE test DROP COLUMN corrected;"),
    ];
    for (form, lacks) in before {
        let folder = tempfile::tempdir().expect("a folder");
        let test = a_test("t1", Kind::Which, 4, &[]);
        {
            let store = ListeningStore::open(folder.path()).expect("made");
            store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
            store.write_and_wait(Write::Sitting(Box::new(a_sitting("s1", &test, None)))).expect("kept");
        }
        let old = rusqlite::Connection::open(store_path(folder.path())).expect("opened");
        old.execute_batch(&format!("{lacks} PRAGMA user_version = {form};")).expect("as it was");
        drop(old);
        let store = ListeningStore::open(folder.path()).expect("opened");
        let kept = store.test("t1").expect("there");
        assert_eq!((kept.n_deleted, &kept.plan, kept.corrected), (0, &test.plan, Vec::new()), "form {form}");
        assert_eq!(store.sittings("t1").expect("read").len(), 1);
        store.write_and_wait(Write::DeleteSitting { sitting: "s1".into() }).expect("gone");
        assert_eq!(store.test("t1").expect("there").n_deleted, 1);
        let new = NewTest { id: "t2".into(), corrected: vec![corrected()], ..test };
        store.write_and_wait(Write::Test(Box::new(new))).expect("kept");
        let kept = store.test("t2").expect("there");
        assert_eq!(kept.corrected, [corrected()]);
        assert_eq!(answers_json(&kept, &[])["corrected"][0]["equaliser"]["bands"][0]["shape"], "low_shelf");
    }
}

fn corrected() -> Corrected {
    let band = EqualiserBand { shape: Shape::LowShelf, hz: 140.25, gain_db: 2.1 / 3.0, q: 0.71 };
    let equaliser = Equaliser { gain_db: -1.0 / 3.0, bands: vec![band] };
    Corrected { key: "moorhen~heron".into(), rate_hz: 96e3, equaliser }
}

#[test]
fn a_file_that_is_no_store_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = store_path(folder.path());
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
    std::fs::write(&path, b"this is a letter and not a database, long enough to be looked at")
        .expect("written");
    let refused = ListeningStore::open(folder.path()).err().expect("refused");
    assert!(refused.to_string().contains("tests.sqlite"), "{refused}");
    assert!(std::fs::read(&path).expect("there").starts_with(b"this is a letter"));
}
