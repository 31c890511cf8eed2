//! Everything written up from the page: what it is told, what is there afterwards, what is given out of it.

use crate::desk::{Bench, LOG};
use axum::http::StatusCode;

const CHOSEN: &str = r#"{"sizes":["700x700"],"colours":"dark","transparent":false,"pieces":"event","blind":true,
    "decade":"50","gap_s":0.25,"moments":2,"frame_rate":12.5,"moving":null,"moving_size":"square","licence":"CC BY 4.0"}"#;

#[test]
fn everything_goes_into_a_new_folder_whose_files_are_given_out() {
    let bench = Bench::new();
    for (folder, n_folders) in [("write-up", 1), ("write-up-2", 2)] {
        let made = bench.post("/write-up/everything", CHOSEN);
        assert_eq!(made.status, StatusCode::OK, "{made:?}");
        assert_eq!(made.json()["folder"], folder);
        let page = bench.get("/write-up.json").json();
        assert_eq!(page["folders"].as_array().map(Vec::len), Some(n_folders));
        assert_eq!(page["folders"][0]["name"], folder, "the newest first");
        let files = page["folders"][0]["files"].as_array().expect("files").clone();
        assert_eq!(
            made.json()["n_files"].as_u64(),
            Some(files.len() as u64 + 1),
            "the manifest lists the others"
        );
        for file in &files {
            let name = file[0].as_str().expect("a name");
            let given = bench.get(&format!("/written/{folder}/{name}"));
            assert_eq!(given.status, StatusCode::OK, "{name}");
            assert_eq!(Some(given.body.len() as u64), file[1].as_u64(), "{name}");
            let policy = given.headers["content-security-policy"].to_str().expect("text");
            assert!(!policy.contains("script-src") && policy.contains("default-src 'none'"), "{policy}");
        }
    }
    assert_eq!(bench.log(), LOG);
    assert!(bench.get("/write-up").text().contains("/written/write-up-2/report.pdf"));
    // It can be written up again on the command line when takes are gone.
    assert!(!bench.names(".fairtake").is_empty());
}

#[test]
fn nothing_but_what_a_manifest_lists_is_given_out() {
    let bench = Bench::new();
    assert_eq!(bench.post("/write-up/everything", CHOSEN).status, StatusCode::OK);
    std::fs::write(bench.at("write-up/mine.txt"), "mine").expect("written");
    std::os::unix::fs::symlink("/etc/hostname", bench.at("write-up/link.txt")).expect("linked");
    for path in [
        "write-up/mine.txt",
        "write-up/link.txt",
        "write-up/../shootout.toml",
        "write-up/%2e%2e/shootout.toml",
        "takes/drum-heron-1.wav",
        "write-up",
        "write-up/",
        "/etc/hostname",
    ] {
        let given = bench.get(&format!("/written/{path}"));
        assert_eq!(given.status, StatusCode::NOT_FOUND, "{path}: {given:?}");
    }
    // A manifest that somebody wrote leads nowhere either.
    std::fs::create_dir(bench.at("write-up-9")).expect("made");
    let hash = "0".repeat(64);
    std::fs::write(
        bench.at("write-up-9/manifest.sha256"),
        format!("{hash}  ../shootout.toml\n{hash}  /etc/hostname\n"),
    )
    .expect("written");
    for path in ["write-up-9/../shootout.toml", "write-up-9/%2e%2e/shootout.toml", "write-up-9//etc/hostname"]
    {
        let given = bench.get(&format!("/written/{path}"));
        assert!(!given.status.is_success(), "{path}: {given:?}");
    }
}

#[test]
fn the_size_of_a_moving_picture_is_said_before_and_nothing_is_written() {
    let bench = Bench::new();
    let lines = |moving: &str| {
        let chosen = CHOSEN.replace("\"moving\":null", &format!("\"moving\":{moving}"));
        bench.post("/write-up/sizes", chosen).json()["lines"].clone()
    };
    assert_eq!(lines("null"), serde_json::json!([]));
    let said = lines("\"frames\"").to_string();
    assert!(said.contains("frames of 1080 × 1080 px; as frames about "), "{said}");
    assert!(!bench.at("write-up").exists());
}

#[test]
fn own_words_whose_numbers_agree_with_nothing_are_named_beside_them() {
    let bench = Bench::new();
    let own = |text: &str| {
        let page = bench.get("/write-up.json").json();
        let c = &page["comparisons"][0];
        let change = serde_json::json!([{
            "place": { "own_words": { "source": c["source"], "reference": c["reference"], "against": c["against"] } },
            "key": "text",
            "was": if c["own_words"] == "" { serde_json::Value::Null } else { c["own_words"].clone() },
            "to": text,
        }]);
        assert_eq!(bench.post("/log", change.to_string()).status, StatusCode::OK);
        bench.get("/write-up.json").json()["comparisons"][0]["disagreements"].clone()
    };
    assert_eq!(own("Heron is brighter."), serde_json::json!([]));
    let said = own("Heron is 77.7 dB brighter.").to_string();
    assert!(said.contains("“77.7 dB” agrees with no number of the findings"), "{said}");
    assert!(bench.get("/write-up").words().contains("agrees with no number of the findings"));
}
