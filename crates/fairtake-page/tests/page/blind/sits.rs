//! Each kind of test from making to its result.

use super::{Room, WIDE, names, wanted};
use fairtake_listen::opens;
use serde_json::{Value, json};

/// Answers everything, and returns the page at the end. `given` says what to answer in a trial of so many pebbles.
fn to_the_end(room: &Room, at: &str, given: impl Fn(usize, usize) -> Value) -> String {
    for trial in 0..300 {
        let page = room.get(at).text();
        if page.contains("data-ended") {
            return page;
        }
        let names = names(&page);
        assert!(page.contains(&format!("data-trial=\"{trial}\"")));
        for name in &names {
            let sound = room.get(&format!("{at}/sound/{name}.wav"));
            assert_eq!(sound.status, 200);
            assert_eq!(&sound.body[..4], b"RIFF");
        }
        let kept = room.answer(at, trial, given(trial, names.len()));
        assert_eq!((kept.status.as_u16(), &kept.json()["kept"]), (200, &json!(trial)), "{}", kept.text());
    }
    panic!("it never ends");
}

#[test]
fn a_listener_who_always_hears_it_is_heard_and_the_owner_reads_it_beside_what_was_measured() {
    let room = Room::new("which", 8);
    let at = room.begin();
    let first = room.get(&at).text();
    let seal = first.split("class=\"seal\">").nth(1).and_then(|s| s.split('<').next()).expect("a seal");
    let right: Vec<usize> = room.stored(&at).key.trials.iter().map(|t| t.right.expect("is right")).collect();
    let end = to_the_end(&room, &at, |trial, _| json!({ "choice": right[trial] }));
    assert!(end.contains("8 of 8"), "{end}");
    // What was sealed is revealed, and is what was sealed.
    let key = room.get(&format!("{at}/key.txt")).text();
    assert!(opens(seal, &key), "{seal}\n{key}");
    assert!(key.contains("heron") && end.contains(seal));
    let result = room.bench.get(&format!("/blind/test.json?id={}", room.test)).json();
    assert_eq!(result["score"]["shown"]["outcome"], "heard");
    assert_eq!(result["score"]["shown"]["looked"], json!({ "hits": 8, "trials": 8 }));
    assert!(result["about"]["spread_lu"].as_f64().expect("checked") < 0.1, "{}", result["about"]);
    let page = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    for said in [
        "8 of 8",
        "was heard",
        "What was measured",
        "Wren",
        "to the end",
        "not about others",
        "Microphone and place",
    ] {
        assert!(page.contains(said), "{said}: {page}");
    }
    let compared = room.bench.get("/compare?source=drum").words();
    assert!(compared.contains("Heard blind") && compared.contains("8 of 8 answers were right"), "{compared}");
    let report = room.bench.get("/report.html").words();
    assert!(report.contains("Heard blind") && report.contains("8 of 8 answers were right"), "{report}");
    let csv = room.bench.get(&format!("/blind/answers.csv?id={}", room.test)).text();
    assert_eq!(csv.lines().count(), 9);
    assert!(room.bench.get("/blind").words().contains("1 sitting to the end"));
}

#[test]
fn a_listener_who_presses_one_side_only_is_not_and_the_result_says_what_that_leaves_open() {
    let room = Room::new("odd_one", 6);
    let at = room.begin();
    let right: Vec<usize> = room.stored(&at).key.trials.iter().map(|t| t.right.expect("is right")).collect();
    // Wrong on purpose.
    to_the_end(&room, &at, |trial, n| {
        assert_eq!(n, 3);
        json!({ "choice": (right[trial] + 1) % 3 })
    });
    let page = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    for said in ["Not shown to be heard", "does not show that there is nothing to hear", "up to"] {
        assert!(page.contains(said), "{said}: {page}");
    }
}

#[test]
fn preferences_and_ratings_come_to_their_results() {
    let room = Room::new("prefer", 6);
    let at = room.begin();
    to_the_end(&room, &at, |_, n| {
        assert_eq!(n, 2);
        json!({ "choice": 0 })
    });
    let result = room.bench.get(&format!("/blind/test.json?id={}", room.test)).json();
    assert_eq!(result["score"]["shown"]["left"], json!({ "hits": 6, "trials": 6 }));
    assert!(
        room.bench.get(&format!("/blind/test?id={}", room.test)).words().contains("No preference between")
    );
    // Each listener by himself: six judgements of one pair, five of which came again; the left one in all.
    let own = &result["sittings"][0]["own"];
    assert_eq!(own["left"], json!({ "hits": 6, "trials": 6 }));
    assert_eq!((&own["repeated"]["trials"], &own["consistence"]), (&json!(5), &Value::Null));
    let page = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    assert!(page.contains("again alike") && page.contains("6 of 6"), "{page}");
    for (kind, n_slots) in [("likeness", 3), ("liking", 2)] {
        let room = Room::new(kind, 2);
        let at = room.begin();
        to_the_end(&room, &at, |_, n| {
            assert_eq!(n, n_slots);
            json!({ "ratings": vec![90; 2] })
        });
        let result = room.bench.get(&format!("/blind/test.json?id={}", room.test)).json();
        assert_eq!(result["score"]["shown"]["rated"][0]["median"], 90.0, "{result}");
        assert!(room.bench.get(&format!("/blind/test?id={}", room.test)).words().contains("median 90"));
    }
}

#[test]
fn a_sitting_goes_on_where_it_stood_after_the_program_was_started_again() {
    let room = Room::new("which", 5);
    let at = room.begin();
    for trial in 0..3 {
        assert_eq!(room.answer(&at, trial, json!({ "choice": 0 })).status, 200);
    }
    // Another hall on the same folder, as after a restart; the old one learns of its answers too.
    let again =
        Room { hall: hall_again(&room), test: room.test.clone(), codes: Vec::new(), bench: room.bench };
    assert!(again.get(&at).text().contains("data-trial=\"3\""));
    assert_eq!(again.answer(&at, 3, json!({ "choice": 1 })).status, 200);
    let late = Room { hall: room.hall, ..again };
    let refused = late.answer(&at, 3, json!({ "choice": 0 }));
    assert_eq!(refused.status, 409, "answered in the other hall: {}", refused.text());
    assert!(late.get(&at).text().contains("data-trial=\"4\""));
    assert_eq!(late.stored(&at).answers.len(), 4);
}

fn hall_again(room: &Room) -> axum::Router {
    let door = fairtake_page::Door::new(super::HALL.parse().expect("an address"), None).expect("a door");
    fairtake_page::audience(fairtake_page::Hall::new(room.bench.folder.path(), WIDE), door)
}

#[test]
fn whoever_leaves_is_kept_and_reported_and_not_counted() {
    let room = Room::new("which", 5);
    let at = room.begin();
    assert_eq!(room.answer(&at, 0, json!({ "choice": 0 })).status, 200);
    assert_eq!(room.post(&format!("{at}/leave"), &json!({})).status, 200);
    assert!(room.get(&at).text().contains("You left before the end"));
    assert_eq!(room.answer(&at, 1, json!({ "choice": 0 })).status, 410);
    let page = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    assert!(
        page.contains("left before the end") && page.contains("1 more was left before the end"),
        "{page}"
    );
    // The owner deletes the sitting, then the test.
    let id = at.trim_start_matches("/s/");
    assert_eq!(room.bench.post("/blind/sitting/delete", json!({ "id": id }).to_string()).status, 200);
    assert!(
        room.bench.get(&format!("/blind/test?id={}", room.test)).words().contains("Nobody has listened yet")
    );
    let page = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    assert!(page.contains("1 sitting was deleted by whoever keeps this test"), "{page}");
    assert_eq!(room.bench.post("/blind/test/delete", json!({ "id": room.test }).to_string()).status, 200);
    assert_eq!(room.bench.get(&format!("/blind/test?id={}", room.test)).status, 404);
    assert!(room.bench.get("/blind").words().contains("None yet"));
}

#[test]
fn what_is_no_test_is_refused_in_words_and_makes_no_store() {
    let bench = crate::desk::Bench::new();
    for (change, said) in [
        (json!({ "mics": ["heron"] }), "one microphone does not make"),
        (json!({ "mics": ["heron", "grebe"] }), "grebe"),
        (json!({ "n_trials": 0 }), "0 trials"),
        (json!({ "seconds": 99 }), "99 s"),
        (json!({ "n_control": 4 }), "two passes"),
        (json!({ "n_codes": 5000 }), "5000 codes"),
        (json!({ "n_sittings": 0 }), "so many sittings cannot be fixed"),
    ] {
        let mut asked = wanted("which", 8);
        change.as_object().expect("changes").iter().for_each(|(k, v)| asked[k] = v.clone());
        let refused = bench.post("/blind/tests", asked.to_string());
        assert_eq!(refused.status, 422, "{change}");
        assert!(refused.text().contains(said), "{change}: {}", refused.text());
    }
    assert!(!bench.at("listening").exists());
    let page = bench.get("/blind").words();
    assert!(page.contains("None yet") && page.contains("many trials find a difference"), "{page}");
}

#[test]
fn with_equal_spectra_the_excerpts_are_still_equally_loud() {
    let mut asked = wanted("which", 4);
    asked["equal_spectrum"] = json!(true);
    let room = Room::with(&asked, WIDE);
    let result = room.bench.get(&format!("/blind/test.json?id={}", room.test)).json();
    assert_eq!(result["about"]["equal_spectrum"], true);
    assert!(result["about"]["spread_lu"].as_f64().expect("checked") < 0.1);
}
