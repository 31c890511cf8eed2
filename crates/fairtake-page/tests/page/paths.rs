//! Nothing that is asked for leads out of the folder.

use crate::desk::{Bench, LOG, escaped, take};
use axum::http::StatusCode;
use serde_json::json;
use std::os::unix::fs::symlink;

/// Beside the folder lies a recording that is nobody's business, and links in the folder lead to it.
fn beside() -> (Bench, tempfile::TempDir) {
    let (bench, elsewhere) = (Bench::new(), tempfile::tempdir().expect("a temporary folder"));
    let secret = elsewhere.path().join("secret.wav");
    std::fs::write(&secret, take(0.9)).expect("written");
    symlink(&secret, bench.at("takes/link.wav")).expect("linked");
    symlink(elsewhere.path(), bench.at("other")).expect("linked");
    (bench, elsewhere)
}

fn ways_out(elsewhere: &tempfile::TempDir) -> Vec<String> {
    let secret = elsewhere.path().join("secret.wav").display().to_string();
    let up = "../".repeat(12);
    let name = elsewhere.path().file_name().expect("has one").to_string_lossy().into_owned();
    vec![
        secret.clone(),
        format!("{up}{}", secret.trim_start_matches('/')),
        format!("takes/{up}{}", secret.trim_start_matches('/')),
        format!("../{name}/secret.wav"),
        format!("takes/../../{name}/secret.wav"),
        "takes/link.wav".into(),
        "other/secret.wav".into(),
        "..".into(),
        "%2e%2e/secret.wav".into(),
        "takes\\..\\..\\secret.wav".into(),
        String::new(),
    ]
}

#[test]
fn no_recording_outside_is_assigned_renamed_to_or_cut() {
    let (bench, elsewhere) = beside();
    let takes = bench.names("takes");
    for file in ways_out(&elsewhere) {
        let entry = json!([{"file": file, "channel": 1, "mic": "heron", "source": "drum", "placement": 2, "performance": 2}]);
        let place = json!({"take": {"file": "takes/drum-heron-1.wav", "channel": 1}});
        let rename = json!([{"place": place, "key": "file", "was": "takes/drum-heron-1.wav", "to": file}]);
        let part = json!({"file": file, "source": "drum", "at": {"by": "gaps", "gap_s": 0.3, "quiet_dbfs": -50.0}, "mics": ["heron"]});
        for (address, body) in
            [("/takes/assign", &entry), ("/log", &rename), ("/takes/parts", &part), ("/takes/cut", &part)]
        {
            let answer = bench.post(address, body.to_string());
            assert!(matches!(answer.status.as_u16(), 404 | 422), "{address} {file}: {answer:?}");
            assert!(!answer.json()["what"].as_str().expect("words").is_empty());
        }
        assert_eq!(bench.log(), LOG, "{file}");
    }
    assert_eq!(bench.names("takes"), takes);
    // The same ways of asking work for what is inside.
    std::fs::write(bench.at("takes/new.wav"), take(0.7)).expect("written");
    let entry = json!([{"file": "takes/new.wav", "channel": 1, "mic": "heron", "source": "drum", "placement": 2, "performance": 2}]);
    let answer = bench.post("/takes/assign", entry.to_string());
    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
    assert!(bench.log().starts_with(LOG.trim_end()) && bench.log().contains("takes/new.wav"));
}

#[test]
fn no_address_serves_a_file_of_the_disk() {
    let (bench, elsewhere) = beside();
    for file in ways_out(&elsewhere) {
        let take = bench.get(&format!("/wave.json?take={}", escaped(&format!("{file}:1"))));
        assert_eq!(take.status, StatusCode::NOT_FOUND, "{file}");
        let page = bench.get(&format!("/takes.json?take={}", escaped(&file)));
        assert!(page.json()["open"].is_null(), "{file}");
        assert_eq!(bench.get(&format!("/web/{}", escaped(&file))).status, StatusCode::NOT_FOUND, "{file}");
    }
    for address in [
        "/web/../Cargo.toml",
        "/web/..%2f..%2fCargo.toml",
        "/takes/../../etc/passwd",
        "/takes/drum-heron-1.wav",
        "/shootout.toml",
        "/.fairtake/",
        "//etc/passwd",
        "/%2e%2e/etc/passwd",
    ] {
        let answer = bench.get(address);
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{address}");
        assert!(!answer.text().contains("root:") && !answer.text().contains("[package]"), "{address}");
    }
}

#[test]
fn parts_that_are_cut_stay_among_the_takes_whatever_their_microphone_is_called() {
    let (bench, elsewhere) = beside();
    std::fs::write(bench.at("long.wav"), take(0.7)).expect("written");
    let ask = |mics: Vec<&str>| {
        let at = json!({"by": "list", "text": "0:00 a\n0:02 b"});
        bench.post(
            "/takes/cut",
            json!({"file": "long.wav", "source": "../drum", "at": at, "mics": mics}).to_string(),
        )
    };
    let before = bench.names("takes").len();
    let answer = ask(vec!["../../heron", "/moorhen"]);
    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
    assert_eq!(bench.names("takes").len(), before + 2, "{:?}", bench.names("takes"));
    assert!(!bench.log().contains(".."), "{}", bench.log());
    // Nor where the takes themselves lead out.
    std::fs::rename(bench.at("takes"), bench.at("moved")).expect("moved");
    symlink(elsewhere.path(), bench.at("takes")).expect("linked");
    let log = bench.log();
    assert_eq!(ask(vec!["coot", "rail"]).status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(matches!(bench.send("a.wav", &take(0.7)).status.as_u16(), 422 | 507));
    assert_eq!(bench.log(), log);
    assert_eq!(std::fs::read_dir(elsewhere.path()).expect("a folder").count(), 1);
}

#[test]
fn what_the_owner_lists_by_hand_outside_the_folder_is_read_as_on_the_command_line() {
    let (bench, elsewhere) = beside();
    let secret = elsewhere.path().join("secret.wav").display().to_string();
    bench.write_log(&format!(
        "{LOG}\n[[takes]]\nfile = \"{secret}\"\nmic = \"moorhen\"\nsource = \"drum\"\nplacement = 2\n"
    ));
    let by_hand =
        fairtake_files::ShootoutFolder::open(bench.folder.path()).expect("opens").load().expect("loads").1;
    assert_eq!(by_hand.len(), 3);
    let wave = bench.get(&format!("/wave.json?take={}", escaped(&format!("{secret}:1"))));
    assert_eq!(wave.status, StatusCode::OK);
    // Such a line stays as it is: other values of it may be changed, its file only to one inside.
    let place = json!({"take": {"file": secret, "channel": 1}});
    let change = |key: &str, was: serde_json::Value, to: serde_json::Value| {
        bench.post("/log", json!([{"place": place, "key": key, "was": was, "to": to}]).to_string()).status
    };
    assert_eq!(change("placement", json!(2), json!(3)), StatusCode::OK);
    assert_eq!(
        change("file", json!(secret), json!(format!("{secret}.old"))),
        StatusCode::UNPROCESSABLE_ENTITY
    );
}
