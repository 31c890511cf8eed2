//! A program that is killed at any moment under load loses nothing that it acknowledged.

use super::{a_sitting, a_test, chose};
use fairtake_files::{ListeningStore, Write};
use fairtake_listen::Kind;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Says to the test that it is the program to be killed, and in which folder it works.
const FOLDER: &str = "FAIRTAKE_KILLED_IN";
/// Sittings that answer at once.
const N_SITTINGS: usize = 8;
/// Times it is killed; more with FAIRTAKE_KILLS.
const N_KILLS: u32 = 25;
/// Trials of a sitting: more than are answered before the last kill.
const N_TRIALS: u32 = 100;

/// Answers as fast as the disk lets it, and says so of each answer that was acknowledged.
fn works(folder: &Path) -> ! {
    let store = ListeningStore::open(folder).expect("opened");
    let mut threads = Vec::new();
    for s in 0..N_SITTINGS {
        let store = store.clone();
        threads.push(std::thread::spawn(move || {
            // What was stored is known; the store itself takes any number of trials.
            let mut trial = store.sitting(&format!("s{s}")).expect("there").answers.len();
            loop {
                let answer = chose(trial % 2, &format!("{s} at {trial}"));
                let write = Write::Answer {
                    sitting: format!("s{s}"),
                    trial,
                    at_s: trial as i64,
                    answer,
                    ends: false,
                };
                store.write_and_wait(write).expect("kept");
                // One call, so that a line is whole or not there.
                let line = format!("acknowledged {s} {trial}\n");
                if std::io::stdout().lock().write_all(line.as_bytes()).is_err() {
                    std::process::exit(0);
                }
                trial += 1;
            }
        }));
    }
    threads.into_iter().for_each(|t| t.join().expect("goes on for ever"));
    unreachable!("threads go on until the program is killed");
}

#[test]
fn nothing_acknowledged_is_lost_however_often_the_program_is_killed() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        works(Path::new(&folder));
    }
    let folder = tempfile::tempdir().expect("a folder");
    {
        let store = ListeningStore::open(folder.path()).expect("made");
        let test = a_test("t", Kind::Which, N_TRIALS, &[]);
        store.write_and_wait(Write::Test(Box::new(test.clone()))).expect("kept");
        for s in 0..N_SITTINGS {
            store
                .write_and_wait(Write::Sitting(Box::new(a_sitting(&format!("s{s}"), &test, None))))
                .expect("kept");
        }
    }
    let n_kills = std::env::var("FAIRTAKE_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(N_KILLS);
    let mut acknowledged: BTreeMap<String, usize> = BTreeMap::new();
    let mut n_acknowledged = 0u64;
    for kill in 0..n_kills {
        let mut child = Command::new(std::env::current_exe().expect("this test"))
            .args([
                "--exact",
                "killed::nothing_acknowledged_is_lost_however_often_the_program_is_killed",
                "--nocapture",
            ])
            .env(FOLDER, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines();
        let mut note = |line: &str| {
            let mut words = line.strip_prefix("acknowledged ")?.split(' ');
            let (sitting, trial) = (format!("s{}", words.next()?), words.next()?.parse::<usize>().ok()?);
            let most = acknowledged.entry(sitting).or_default();
            *most = (*most).max(trial + 1);
            n_acknowledged += 1;
            Some(())
        };
        // It is at work; then it is killed somewhere in the next moments, at another place each time.
        while let Some(Ok(line)) = lines.next() {
            if note(&line).is_some() {
                break;
            }
        }
        std::thread::sleep(Duration::from_micros(u64::from(kill * 7919 % 40_000)));
        child.kill().expect("killed");
        child.wait().expect("gone");
        lines.map_while(Result::ok).for_each(|line| {
            note(&line);
        });
        let store = ListeningStore::open(folder.path()).expect("opened again");
        for (sitting, n) in &acknowledged {
            let kept = store.sitting(sitting).expect("there").answers;
            assert!(
                kept.len() >= *n,
                "kill {kill}: {sitting} holds {} answers, {n} were acknowledged",
                kept.len()
            );
            for (trial, (at_s, answer)) in kept.iter().enumerate() {
                let as_given = chose(trial % 2, &format!("{} at {trial}", &sitting[1..]));
                assert_eq!((*at_s, answer), (trial as i64, &as_given), "kill {kill}: {sitting}");
            }
        }
    }
    assert_eq!(acknowledged.len(), N_SITTINGS, "every sitting was answered");
    assert!(n_acknowledged > u64::from(n_kills) * 2, "{n_acknowledged} answers were acknowledged");
    println!("killed {n_kills} times; {n_acknowledged} answers acknowledged, none lost");
}
