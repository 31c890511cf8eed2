//! Takes of measurements are entered and corrected on the page; nothing leads out of the folder, and nobody overwrites another.

use crate::desk::{Bench, LOG, take};
use axum::http::StatusCode;
use fairtake_files::parse_log;
use serde_json::{Value, json};

/// A folder with two recordings that nobody has logged, and what was played.
fn folder() -> Bench {
    let bench = Bench::new();
    std::fs::create_dir(bench.at("excitations")).expect("made");
    let form = fairtake_calibrated::excitation::Form::standard(48_000);
    let made = fairtake_calibrated::Excitation::new(form).expect("good");
    let described = serde_json::to_string(&made).expect("is data");
    std::fs::write(bench.at("excitations/sweep.json"), described).expect("written");
    for name in ["excitations/sweep.wav", "takes/heron-30deg.wav", "takes/heron-silence.wav"] {
        std::fs::write(bench.at(name), take(0.5)).expect("written");
    }
    bench
}

fn response(file: &str) -> Value {
    json!({
        "file": file, "channel": 1, "mic": "heron", "role": "response", "source": "drum",
        "excitation": "excitations/sweep.wav", "placement": 1, "performance": 7, "gain_db": 30.0, "angle_deg": 30.0, "distance_mm": 1000.0
    })
}

fn silence(file: &str) -> Value {
    json!({ "file": file, "channel": 1, "mic": "heron", "role": "self-noise", "source": "", "excitation": null,
        "placement": 1, "performance": 8, "gain_db": 30.0, "angle_deg": null, "distance_mm": null })
}

#[test]
fn recordings_of_the_folder_become_takes_of_a_measurement() {
    let bench = folder();
    let page = bench.get("/measure").text();
    assert!(page.contains("takes/heron-30deg.wav") && page.contains("id=\"assign-measured\""), "{page}");
    let twin = bench.get("/measure.json").json();
    assert_eq!(twin["excitations"], json!(["excitations/sweep.wav"]));
    let names: Vec<&str> =
        twin["waiting"].as_array().expect("a list").iter().filter_map(|w| w["file"].as_str()).collect();
    assert_eq!(names, ["takes/heron-30deg.wav", "takes/heron-silence.wav"], "what is played does not wait");

    let takes = json!([response("takes/heron-30deg.wav"), silence("takes/heron-silence.wav")]);
    let answer = bench.post("/measure/assign", takes.to_string());
    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
    assert!(bench.log().starts_with(LOG.trim_end()), "comments and order stay");
    let log = parse_log("x", &bench.log()).expect("valid");
    assert_eq!(log.bench.takes.len(), 2);
    assert_eq!((log.bench.takes[0].angle_deg, log.bench.takes[0].distance_mm), (Some(30.0), Some(1000.0)));

    // They wait no more, and stand in the table; the recordings are no sweeps, which is said where the sheet would stand.
    let twin = bench.get("/measure.json").json();
    assert_eq!(twin["waiting"], json!([]));
    assert_eq!(twin["takes"][0]["role"], "response");
    let words = bench.get("/measure").words();
    assert!(words.contains("2  in the log") || words.contains("2 in the log"), "{words}");

    // A field is changed with what was seen; who saw something else is told.
    let angle = |was: f64, to: f64| {
        let place = json!({"take": {"file": "takes/heron-30deg.wav", "channel": 1}});
        json!([{"place": place, "key": "angle_deg", "was": was, "to": to}]).to_string()
    };
    assert_eq!(bench.post("/log", angle(30.0, 45.0)).status, StatusCode::OK);
    assert_eq!(bench.post("/log", angle(30.0, 60.0)).status, StatusCode::CONFLICT);
    let set = |place: &str, key: &str, to: Value| {
        bench.post("/log", json!([{"place": place, "key": key, "was": null, "to": to}]).to_string())
    };
    // A class alone is no calibrator.
    let refused = set("calibrator", "class", json!("1"));
    assert!(refused.json()["what"].as_str().expect("words").contains("level_db"), "{refused:?}");
    for (place, key, to) in [
        ("calibrator", "level_db", json!(94)),
        ("calibrator", "class", json!("1")),
        ("bench", "full_scale_dbv", json!(12.5)),
    ] {
        assert_eq!(set(place, key, to).status, StatusCode::OK, "{place} {key}");
    }
    let log = parse_log("x", &bench.log()).expect("valid").bench;
    assert_eq!(log.takes[0].angle_deg, Some(45.0));
    assert_eq!(log.calibrator.map(|c| c.level_db), Some(94.0));
    assert_eq!(log.full_scale_dbv.map(|s| s.value), Some(12.5));
}

#[test]
fn what_is_wrong_or_outside_is_refused_and_of_several_none_is_entered() {
    let bench = folder();
    let good = response("takes/heron-30deg.wav");
    let with = |key: &str, value: Value| {
        let mut take = silence("takes/heron-silence.wav");
        for (k, v) in response("").as_object().expect("an object") {
            if !matches!(k.as_str(), "file" | "role") {
                take[k] = v.clone();
            }
        }
        take["role"] = json!("response");
        take[key] = value;
        take
    };
    let outside = tempfile::tempdir().expect("a temporary folder");
    let elsewhere = outside.path().join("sweep.wav");
    for path in [elsewhere.clone(), outside.path().join("sweep.json")] {
        std::fs::write(path, "x").expect("written");
    }
    for bad in [
        with("excitation", Value::Null),
        with("excitation", json!("excitations/none.wav")),
        with("excitation", json!("../sweep.wav")),
        with("excitation", json!(elsewhere)),
        with("file", json!("takes/none.wav")),
        with("file", json!(elsewhere)),
        with("file", json!("takes/drum-heron-1.wav")),
        with("channel", json!(2)),
        with("mic", json!("nobody")),
        with("source", json!("")),
        with("role", json!("compared")),
        with("distance_mm", json!(-3)),
        with("placement", json!(0)),
    ] {
        let answer = bench.post("/measure/assign", json!([good, bad]).to_string());
        assert!(matches!(answer.status.as_u16(), 400 | 404 | 409 | 422), "{bad}: {answer:?}");
        assert!(!answer.json()["what"].as_str().expect("words").is_empty(), "{bad}");
        assert_eq!(bench.log(), LOG, "{bad}");
    }
    // Nor is a logged one led outside.
    let entered = bench.post("/measure/assign", json!([good]).to_string());
    assert_eq!(entered.status, StatusCode::OK, "{entered:?}");
    let log = bench.log();
    let take = json!({"take": {"file": "takes/heron-30deg.wav", "channel": 1}});
    for (place, key, was) in [
        (&take, "excitation", json!("excitations/sweep.wav")),
        (&json!({"mic": "heron"}), "correction", Value::Null),
        (&json!({"mic": "heron"}), "published", Value::Null),
        (&json!({"mic": "heron"}), "tolerance", Value::Null),
    ] {
        let change = json!([{"place": place, "key": key, "was": was, "to": elsewhere}]);
        let answer = bench.post("/log", change.to_string());
        assert!(matches!(answer.status.as_u16(), 404 | 422), "{key}: {answer:?}");
    }
    assert_eq!(bench.log(), log);
}

#[test]
fn a_microphones_files_are_read_before_the_log_names_them() {
    let bench = folder();
    let answer = bench.post("/measure/assign", json!([response("takes/heron-30deg.wav")]).to_string());
    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
    for (name, text) in [
        ("heron.txt", "# Hz, dB\n20 0\n1000 0\n20000 -1.5\n"),
        ("words.txt", "20 0\n1000 quiet\n20000 0\n"),
        ("limits.txt", "20 -3 3\n20000 -3 3\n"),
    ] {
        std::fs::write(bench.at(name), text).expect("written");
    }
    let set = |key: &str, to: Value| {
        let change = json!([{"place": {"mic": "heron"}, "key": key, "was": null, "to": to}]);
        bench.post("/log", change.to_string())
    };
    let before = bench.log();
    // The file, the line and what it holds are named; nothing is written.
    for (key, file, said) in [
        ("correction", "none.txt", "none.txt"),
        ("correction", "words.txt", "quiet"),
        ("published", "limits.txt", "limits.txt"),
        ("tolerance", "heron.txt", "heron.txt"),
        ("correction", "../elsewhere.txt", "elsewhere.txt"),
    ] {
        let refused = set(key, json!(file));
        assert_ne!(refused.status, StatusCode::OK, "{key} {file}");
        assert!(refused.text().contains(said), "{key} {file}: {refused:?}");
        assert_eq!(bench.log(), before);
    }
    for (key, to) in [
        ("measurement", json!(true)),
        ("correction", json!("heron.txt")),
        ("correction_within_db", json!(0.3)),
        ("published", json!("heron.txt")),
        ("tolerance", json!("limits.txt")),
    ] {
        let answer = set(key, to);
        assert_eq!(answer.status, StatusCode::OK, "{key}: {answer:?}");
    }
    let twin = bench.get("/measure.json").json();
    let files = &twin["files"][0];
    assert_eq!((&files["mic"]["key"], &files["measurement"]), (&json!("heron"), &json!(true)));
    assert_eq!((&files["correction"], &files["tolerance"]), (&json!("heron.txt"), &json!("limits.txt")));
    assert!(bench.get("/measure").text().contains("id=\"correction-of-heron\""));
}
