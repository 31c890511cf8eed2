//! `fairtake listen` as it is typed and read.

use fairtake_bridge::{Corrected, Equaliser, EqualiserBand, Shape};
use fairtake_files::{ListeningStore, NewSitting, NewTest, Rendered, Write};
use fairtake_listen::{Answer, Asked, Excerpt, Given, Key, Kind, Material, Paired, Plan, Role, Slot, Trial};
use std::path::Path;
use std::process::{Command, Output};

fn fairtake(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fairtake")).args(args).output().expect("runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn folder(room: &Path) -> String {
    let folder = room.join("boathouse").display().to_string();
    assert!(fairtake(&["new", &folder]).status.success());
    folder
}

#[test]
fn a_folder_without_tests_says_so_and_gets_no_store() {
    let room = tempfile::tempdir().expect("a folder");
    let folder = folder(room.path());
    let said = fairtake(&["listen", &folder]);
    assert_eq!(text(&said.stdout), "no blind tests yet; make one on the work page, step Listen\n");
    assert_eq!(said.status.code(), Some(0));
    let json: serde_json::Value =
        serde_json::from_slice(&fairtake(&["listen", &folder, "--json"]).stdout).expect("JSON");
    assert_eq!(json, serde_json::json!({ "schema": 1, "tests": [] }));
    assert!(!room.path().join("boathouse/listening").exists());
}

#[test]
fn what_cannot_be_served_is_said_with_what_to_do() {
    let room = tempfile::tempdir().expect("a folder");
    let folder = folder(room.path());
    for name in ["ftp://listen.example.org", "https://listen.example.org/tests", "listen.example.org"] {
        let refused = fairtake(&["listen", &folder, "--serve", "127.0.0.1:0", "--as", name]);
        assert_eq!(refused.status.code(), Some(2), "{name}");
        let said = text(&refused.stderr);
        assert!(
            said.contains(&format!("error: {name} is no address like")) && said.contains("hint: "),
            "{said}"
        );
    }
    let nowhere = fairtake(&["listen", &folder, "--serve", "192.0.2.1:8090"]);
    assert!(
        text(&nowhere.stderr).contains("cannot be served at 192.0.2.1:8090"),
        "{}",
        text(&nowhere.stderr)
    );
    let no_folder = fairtake(&["listen", &room.path().join("nothing").display().to_string()]);
    assert_eq!(no_folder.status.code(), Some(2));
}

/// A test of Moorhen 12 with an equaliser towards Heron 3 against that, with one sitting to its end.
fn keep_a_corrected_test(folder: &Path) {
    let excerpt = |mic: &str, sound: u32| Excerpt {
        mic: mic.into(),
        placement: 1,
        performance: 1,
        sound,
        words: format!("hit {sound}"),
    };
    let mics = ["moorhen~heron", "heron"];
    let excerpts = mics.iter().flat_map(|m| (0..2).map(move |s| excerpt(m, s))).collect();
    let material =
        Material { source: "drum".into(), paired: Paired::SameSound, excerpts, has_equal_spectra: false };
    let mics = mics.map(String::from).to_vec();
    let asked = Asked {
        kind: Kind::Prefer,
        mics,
        n_trials: 1,
        n_control: 0,
        n_catch: 0,
        look_after: Vec::new(),
        n_sittings: None,
    };
    let plan = Plan::new(asked, material).expect("a test");
    let slot = |excerpt: usize| Slot { excerpt, name: format!("{excerpt:032}") };
    let key = Key {
        nonce: "0".repeat(64),
        trials: vec![Trial { role: Role::Looked, slots: vec![slot(0), slot(2)], right: None }],
    };
    let (id, seal) = ("t".to_string(), key.seal(&plan));
    let store = ListeningStore::open(folder).expect("opens");
    let band = EqualiserBand { shape: Shape::LowShelf, hz: 140.0, gain_db: 3.0, q: 0.71 };
    let equaliser = Equaliser { gain_db: -1.0, bands: vec![band] };
    let excerpts = vec![Rendered { rate_hz: 48_000, samples: vec![0.5] }; 4];
    let test = NewTest {
        id: id.clone(),
        made_s: 1,
        title: "Frame drum".into(),
        plan,
        about: "{}".into(),
        corrected: vec![Corrected { key: "moorhen~heron".into(), rate_hz: 48e3, equaliser }],
        excerpts,
        codes: Vec::new(),
    };
    let sitting =
        NewSitting { id: "s".into(), test: id, listener: "Wren".into(), begun_s: 2, key, seal, code: None };
    let answer = Answer { given: Given::Choice(0), comment: String::new() };
    let answer = Write::Answer { sitting: "s".into(), trial: 0, at_s: 3, answer, ends: true };
    for write in [Write::Test(Box::new(test)), Write::Sitting(Box::new(sitting)), answer] {
        store.write_and_wait(write).expect("kept");
    }
}

#[test]
fn a_microphone_with_an_equaliser_is_called_by_name_and_its_key_is_for_programs() {
    let room = tempfile::tempdir().expect("a folder");
    let at = folder(room.path());
    let log = "[mics.moorhen]\nname = \"Moorhen 12\"\n[mics.heron]\nname = \"Heron 3\"\n";
    std::fs::write(Path::new(&at).join("shootout.toml"), log).expect("written");
    keep_a_corrected_test(Path::new(&at));
    let said = text(&fairtake(&["listen", &at]).stdout);
    assert!(
        said.contains("No preference between Moorhen 12 with an equaliser towards Heron 3 and Heron 3"),
        "{said}"
    );
    let set = "Moorhen 12 with an equaliser towards Heron 3, as it was heard: low shelf at 140 Hz, +3.0 dB.";
    assert!(!said.contains('~') && said.contains(set), "{said}");
    let json: serde_json::Value =
        serde_json::from_slice(&fairtake(&["listen", &at, "--json"]).stdout).expect("JSON");
    assert_eq!(json["tests"][0]["corrected"][0]["equaliser"]["bands"][0]["hz"], 140.0);
    assert_eq!(json["tests"][0]["score"]["mics"], serde_json::json!(["moorhen~heron", "heron"]));
}
