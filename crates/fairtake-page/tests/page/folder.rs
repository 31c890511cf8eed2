//! The folder changes under the page: it says so, writes nothing wrong, and goes on when the folder does.

use crate::desk::{Bench, LOG, PORT, take};
use axum::http::StatusCode;
use fairtake_page::{Access, Desk};
use serde_json::{Value, json};

const PAGES: [&str; 7] = ["/plan", "/takes", "/compare", "/bridge", "/listen", "/measure", "/write-up"];

fn margin(was: f64, to: f64) -> String {
    json!([{"place": "top", "key": "margin_db", "was": was, "to": to}]).to_string()
}

#[test]
fn a_log_that_is_deleted_or_broken_is_said_and_nothing_is_written_until_it_is_mended() {
    let bench = Bench::new();
    let broken = LOG.replace("mic = \"moorhen\"", "mic = \"morhen\"");
    let states: [(&str, Option<&str>, &str); 4] = [
        ("deleted", None, "cannot be read"),
        ("a slip", Some(&broken), "did you mean"),
        ("half of it", Some("title = \"Fra"), "shootout.toml"),
        ("empty lists", Some("takes = 3"), "must be"),
    ];
    for (what, text, said) in states {
        match text {
            Some(text) => bench.write_log(text),
            None => std::fs::remove_file(bench.at("shootout.toml")).expect("removed"),
        }
        for address in PAGES {
            let page = bench.get(address);
            assert!(
                page.status == StatusCode::UNPROCESSABLE_ENTITY
                    || (address == "/write-up" && page.status == StatusCode::OK),
                "{what} {address}: {}",
                page.status
            );
            assert!(page.words().contains("shootout.toml"), "{what} {address}: {}", page.words());
            assert!(page.words().contains(said), "{what} {address}: {}", page.words());
            assert_eq!(page.text().matches("<nav").count(), 1, "the way on stays");
        }
        let change = bench.post("/log", margin(1.0, 2.0));
        assert_eq!(change.status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        assert_eq!(
            bench.post("/mics", r#"{"name":"Coot"}"#).status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{what}"
        );
        assert_eq!(std::fs::read_to_string(bench.at("shootout.toml")).ok().as_deref(), text, "{what}");
        bench.write_log(LOG);
        for address in PAGES {
            assert_eq!(bench.get(address).status, StatusCode::OK, "{what} {address}");
        }
    }
    assert_eq!(bench.post("/log", margin(1.0, 2.0)).status, StatusCode::OK);
    assert_eq!(bench.log(), LOG.replace("margin_db = 1.0", "margin_db = 2.0"));
}

#[test]
fn a_folder_of_measurements_alone_is_no_mistake_and_its_pages_say_where_they_stand() {
    let bench = Bench::new();
    let head = LOG.split("[plans.drum]").next().expect("a head");
    let measured = "[[takes]]\nfile = \"takes/drum-heron-1.wav\"\nmic = \"heron\"\nrole = \"self-noise\"\n";
    bench.write_log(&format!("{head}{measured}"));
    let other = bench.at("takes/drum-moorhen-1.wav");
    let kept = std::fs::read(&other).expect("a take");
    std::fs::remove_file(&other).expect("removed");
    for address in ["/takes", "/compare", "/bridge", "/listen", "/blind", "/write-up"] {
        let page = bench.get(address);
        assert_eq!(page.status, StatusCode::OK, "{address}");
        assert!(page.words().contains("This folder holds measurements"), "{address}: {}", page.words());
        assert!(page.text().matches("href=\"/measure\"").count() > 1, "{address}: a link besides the step");
        for denial in ["nothing to compare", "No take is logged", "assign some", "are needed"] {
            assert!(!page.words().contains(denial), "{address}: {denial}");
        }
        assert_eq!(bench.get(&format!("{address}.json")).json()["only_measured"], true, "{address}");
    }
    assert!(!bench.get("/measure").words().contains("What to record"));
    // With a take of a source it is a shootout as any.
    std::fs::write(&other, kept).expect("written");
    bench.write_log(LOG);
    assert!(!bench.get("/compare").words().contains("This folder holds measurements"));
}

#[test]
fn two_windows_do_not_overwrite_each_other() {
    let bench = Bench::new();
    let other = Desk::open(bench.folder.path(), Access::loopback(PORT)).expect("has a log");
    let other = Bench { folder: tempfile::tempdir().expect("unused"), desk: other };
    // The same value: who comes second sees what it is now.
    assert_eq!(bench.post("/log", margin(1.0, 2.0)).status, StatusCode::OK);
    let second = other.post("/log", margin(1.0, 3.0));
    assert_eq!(second.status, StatusCode::CONFLICT);
    assert!(second.json()["what"].as_str().expect("words").contains("now 2"), "{second:?}");
    assert_eq!(bench.log(), LOG.replace("margin_db = 1.0", "margin_db = 2.0"));
    // Other values, all at once, from both and from a program beside them: every one stays.
    let path = bench.at("shootout.toml");
    std::thread::scope(|scope| {
        for i in 0..6 {
            for (window, name) in [(&bench, "ours"), (&other, "theirs")] {
                scope.spawn(move || {
                    let answer = window.post("/mics", format!("{{\"name\":\"{name} {i}\"}}"));
                    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
                });
            }
            let path = &path;
            scope.spawn(move || {
                let entry = fairtake_files::TakeEntry::new(&format!("takes/{i}.wav"), 1, "heron", "drum");
                // As somebody at the command line would: until it is done.
                while {
                    let mut log = fairtake_files::LogFile::read(path).expect("is whole whenever it is read");
                    log.add_take(&entry).expect("fits");
                    log.write().is_err()
                } {}
            });
        }
    });
    let log = bench.log();
    for i in 0..6 {
        for entry in [format!("[mics.ours-{i}]"), format!("[mics.theirs-{i}]"), format!("takes/{i}.wav")] {
            assert_eq!(log.matches(&entry).count(), 1, "{entry}\n{log}");
        }
    }
    assert!(log.starts_with("# kept by hand") && log.contains("# ours"), "{log}");
}

#[test]
fn what_was_edited_by_hand_meanwhile_is_not_overwritten_and_shown() {
    let bench = Bench::new();
    assert_eq!(bench.get("/plan.json").json()["margin_db"], 1.0);
    let edited = LOG.replace("margin_db = 1.0", "margin_db = 1.25 # after the session");
    bench.write_log(&edited);
    assert_eq!(bench.post("/log", margin(1.0, 2.0)).status, StatusCode::CONFLICT);
    assert_eq!(bench.log(), edited);
    assert_eq!(bench.get("/plan.json").json()["margin_db"], 1.25);
    // A name that is taken is no new microphone, though it has no name there.
    bench.write_log(&LOG.replace("name = \"Moorhen 12\"\n", ""));
    assert_eq!(bench.post("/mics", r#"{"name":"Moorhen"}"#).status, StatusCode::CONFLICT);
    assert_eq!(bench.log(), LOG.replace("name = \"Moorhen 12\"\n", ""));
}

#[test]
fn takes_that_vanish_and_return_or_are_another_recording_are_noticed() {
    let bench = Bench::new();
    let levels = || {
        bench.get("/compare.json").json()["found"]["comparison"]["levels"]["rms_dbfs"]["against"]["max"]
            .clone()
    };
    let first = levels();
    assert!(first.is_number());
    let (there, away) = (bench.at("takes/drum-moorhen-1.wav"), bench.at("away.bin"));
    std::fs::rename(&there, &away).expect("moved");
    for address in PAGES {
        assert_eq!(bench.get(address).status, StatusCode::OK, "{address}");
    }
    let takes = bench.get("/takes.json").json();
    assert_eq!(takes["not_opened"], json!([["takes/drum-moorhen-1.wav", "there is no such file"]]));
    assert!(bench.get("/takes").words().contains("there is no such file"));
    let compare = bench.get("/compare.json").json();
    assert!(compare["found"].is_null() && compare["why_nothing"].is_string(), "{compare}");
    assert_eq!(bench.get("/listen/clip?source=drum&mic=moorhen").status.as_u16() / 100, 4);
    assert_eq!(bench.get("/wave.json?take=takes/drum-moorhen-1.wav:1").status, StatusCode::NOT_FOUND);
    std::fs::rename(&away, &there).expect("moved");
    assert_eq!(levels(), first);
    // Another recording under the same name, written over in place; half the level is 6.02 dB less.
    std::fs::write(&there, take(0.25)).expect("written");
    let second = levels();
    let change_db = second.as_f64().expect("a number") - first.as_f64().expect("a number");
    assert!((change_db + 6.02).abs() < 0.01, "{change_db}");
    // All takes at once, and back.
    std::fs::rename(bench.at("takes"), bench.at("gone")).expect("moved");
    for address in PAGES {
        assert_eq!(bench.get(address).status, StatusCode::OK, "{address}");
    }
    assert_eq!(bench.get("/takes.json").json()["not_opened"].as_array().expect("a list").len(), 2);
    std::fs::rename(bench.at("gone"), bench.at("takes")).expect("moved");
    assert_eq!(levels(), second);
    assert_eq!(bench.log(), LOG);
}

#[test]
fn a_take_that_shrinks_under_the_page_is_said_and_not_measured() {
    let bench = Bench::new();
    assert!(bench.get("/compare.json").json()["found"].is_object());
    let whole = take(0.5);
    std::fs::write(bench.at("takes/drum-moorhen-1.wav"), &whole[..whole.len() / 2]).expect("written");
    let takes = bench.get("/takes.json").json();
    let said = takes["not_opened"][0][1].as_str().expect("words");
    assert!(said.contains("cut off"), "{takes}");
    assert_eq!(bench.get("/compare.json").json()["found"], Value::Null);
    assert_eq!(bench.get("/listen").status, StatusCode::OK);
}

#[test]
fn a_folder_that_takes_nothing_more_is_said_and_the_log_stays() {
    let bench = Bench::new();
    // Where even root cannot write: the place for what is on its way is a file.
    std::fs::write(bench.at(".fairtake"), "in the way").expect("written");
    for answer in [
        bench.post("/log", margin(1.0, 2.0)),
        bench.send("new.wav", &take(0.7)),
        bench.post("/mics", r#"{"name":"Coot"}"#),
    ] {
        assert_eq!(answer.status, StatusCode::INSUFFICIENT_STORAGE, "{answer:?}");
        let told = answer.json();
        assert!(
            !told["what"].as_str().expect("words").is_empty()
                && !told["hint"].as_str().expect("words").is_empty()
        );
    }
    assert_eq!(bench.log(), LOG);
    assert_eq!(bench.names("takes").len(), 2);
    for address in PAGES {
        assert_eq!(bench.get(address).status, StatusCode::OK, "{address}");
    }
    std::fs::remove_file(bench.at(".fairtake")).expect("removed");
    assert_eq!(bench.post("/log", margin(1.0, 2.0)).status, StatusCode::OK);
}

#[test]
fn the_report_is_written_once_and_replaced_only_when_told() {
    let bench = Bench::new();
    std::fs::write(bench.at("report.html"), "ours").expect("written");
    assert_eq!(bench.post("/write-up/report", "{}").status, StatusCode::CONFLICT);
    assert_eq!(std::fs::read_to_string(bench.at("report.html")).expect("there"), "ours");
    // A link under that name is not followed.
    std::fs::remove_file(bench.at("report.html")).expect("removed");
    std::os::unix::fs::symlink(bench.at("shootout.toml"), bench.at("report.html")).expect("linked");
    assert_eq!(bench.post("/write-up/report", "{}").status, StatusCode::CONFLICT);
    assert_eq!(bench.post("/write-up/report", r#"{"replace":true}"#).status, StatusCode::OK);
    assert_eq!(bench.log(), LOG);
    assert_eq!(std::fs::read(bench.at("report.html")).expect("there"), bench.get("/report.html").body);
}
