//! How much is equalising: the page says what its twin holds, gives its files out, and what is offered can be heard.

use crate::desk::Bench;
use axum::http::StatusCode;
use fairtake_report::words::signed;

const PAIR: &str = "source=drum&from=heron&to=moorhen";

#[test]
fn the_page_says_what_its_twin_holds_and_every_file_can_be_had() {
    let bench = Bench::new();
    let (page, twin) =
        (bench.get(&format!("/bridge?{PAIR}")), bench.get(&format!("/bridge.json?{PAIR}")).json());
    assert_eq!(page.status, StatusCode::OK);
    let (words, bridge) = (page.words(), &twin["found"]["bridge"]);
    assert_eq!((&bridge["from"], &bridge["to"]), (&"heron".into(), &"moorhen".into()));
    let gain = bridge["equaliser"]["gain_db"].as_f64().expect("a number");
    assert!(words.contains(&signed(gain)), "{gain}: {words}");
    let bands = bridge["equaliser"]["bands"].as_array().expect("a list");
    let files = twin["found"]["files"].as_array().expect("a list");
    assert_eq!(files.len(), 5);
    for file in files {
        let name = file[0].as_str().expect("a name");
        assert!(words.contains(name) && page.text().contains(&format!("file={name}")), "{name}");
        let got = bench.get(&format!("/bridge/file?{PAIR}&file={name}"));
        assert_eq!(got.status, StatusCode::OK);
        assert_eq!(got.headers["content-disposition"], format!("attachment; filename=\"{name}\"").as_str());
        match name.rsplit_once('.').expect("an ending").1 {
            "wav" => {
                assert_eq!(&got.body[..4], b"RIFF");
                // Half a second of 32-bit float; a linear-phase response has a middle.
                let samples = bridge["wanted"]["rate_hz"].as_f64().expect("a number") / 2.0;
                assert!((got.body.len() as f64 / 4.0 - samples).abs() < 20.0, "{name}");
            }
            "csv" if name.starts_with("equaliser") => {
                assert_eq!(got.text().lines().count(), 2 + bands.len(), "{}", got.text());
            }
            _ => assert!(got.text().len() > 20, "{name}"),
        }
    }
    // Fewer bands and no boost, when that is asked for.
    let few = bench.get(&format!("/bridge.json?{PAIR}&bands=1&boost=0")).json();
    let equaliser = &few["found"]["bridge"]["equaliser"];
    assert!(equaliser["bands"].as_array().expect("a list").len() <= 1);
    let all = &few["found"]["bridge"]["bands"];
    assert!(
        all.as_array().expect("a list").iter().all(|b| b["equaliser_db"].as_f64().expect("a number") < 0.01)
    );
}

#[test]
fn what_cannot_be_is_said() {
    let bench = Bench::new();
    for query in ["boost=x", "boost=-1", "boost=41", "boost=NaN", "bands=-1", "bands=13", "bands=1.5"] {
        let answer = bench.get(&format!("/bridge?{PAIR}&{query}"));
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
        assert!(answer.words().contains("could not be done"), "{query}");
    }
    for file in ["", "bridge.json", "../shootout.toml", "equaliser.csv/.."] {
        assert_eq!(
            bench.get(&format!("/bridge/file?{PAIR}&file={file}")).status,
            StatusCode::NOT_FOUND,
            "{file}"
        );
    }
    // A source or a microphone that is not there: the first that is.
    let other = bench.get("/bridge.json?source=none&from=none&to=none").json();
    assert_eq!(
        (&other["source"], &other["from"], &other["to"]),
        (&"drum".into(), &"heron".into(), &"moorhen".into())
    );
}

#[test]
fn what_is_offered_can_be_heard() {
    let bench = Bench::new();
    let pair = "source=drum&moment=0&reference=heron&against=moorhen";
    let plain = bench.get("/listen/clip?source=drum&moment=0&mic=heron");
    for by in ["correction", "equaliser"] {
        assert!(bench.get("/listen").text().contains(&format!("data-by=\"{by}\"")));
        let heard = bench.get(&format!("/listen/corrected?{pair}&by={by}"));
        assert_eq!(heard.status, StatusCode::OK, "{}", heard.text());
        assert_eq!((&heard.body[..4], heard.body.len()), (&b"RIFF"[..], plain.body.len()));
        assert_ne!(heard.body, plain.body, "{by}");
        assert!(heard.headers["x-about"].to_str().expect("text").contains("known from"));
    }
    for query in ["", "&by=", "&by=none"] {
        let refused = bench.get(&format!("/listen/corrected?{pair}{query}"));
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{query}");
    }
}

#[test]
fn what_is_left_what_is_linked_and_how_many_octaves_are_alike_is_what_was_found() {
    let bench = Bench::unlike();
    let (page, twin) =
        (bench.get(&format!("/bridge?{PAIR}")), bench.get(&format!("/bridge.json?{PAIR}")).json());
    let (words, found) = (page.words(), &twin["found"]);
    // Recorded together: what is left when one is taken from the other; with the right equaliser less than without.
    assert!(words.contains("Taken away from each other"), "{words}");
    let left = |way: &str| found["left"][way].as_f64().expect("a number");
    for way in ["without_db", "correction_db", "equaliser_db"] {
        assert!(words.contains(&signed(left(way))), "{way}: {words}");
    }
    assert!(left("correction_db") < left("without_db") - 3.0, "{found}");
    let seconds = left("seconds");
    assert!(seconds > 0.0 && words.contains(&format!("over {seconds:.0} s of the takes")), "{words}");
    // What is heard on the page Listen is the usual bridge: another one is not promised there.
    let promise = "to corrections beside their microphones";
    assert!(words.contains(promise) && page.text().contains("href=\"/listen?source=drum\""));
    for other in ["boost=6", "bands=2"] {
        let other = bench.get(&format!("/bridge?{PAIR}&{other}"));
        assert_eq!(other.status, StatusCode::OK);
        assert!(!other.words().contains(promise) && other.words().contains("Back to the comparison"));
    }
    // Alike, undecided and different are all that is known.
    let bands = found["bridge"]["bands"].as_array().expect("a list");
    let hz = |band: &serde_json::Value, edge: &str| band[edge].as_f64().expect("a number");
    let all: f64 = bands.iter().map(|b| (hz(b, "to_hz") / hz(b, "from_hz")).log2()).sum();
    let sentence = words.split("; ").find(|part| part.contains("octaves are alike")).expect("a sentence");
    let numbers = sentence.replace("under 0.1", "0.0");
    let said: f64 = numbers.split([' ', ',']).filter_map(|w| w.parse::<f64>().ok()).take(3).sum();
    assert!((said - all).abs() < 0.05 + 1e-9, "{all}: {sentence}");
}
