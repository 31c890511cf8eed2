//! `fairtake listen` as it is typed and read.

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
