//! A microphone with an equaliser is one more contestant, and nothing tells it from the others before the end.

use super::{Room, WIDE, names, wanted};
use crate::desk::Bench;
use axum::http::StatusCode;
use serde_json::json;

#[test]
fn a_microphone_with_an_equaliser_can_be_tested_against_the_one_that_it_becomes_like() {
    let bench = Bench::new();
    let form = bench.get("/blind").text();
    assert!(form.contains("value=\"heron~moorhen\"") && form.contains("value=\"moorhen~heron\""), "{form}");
    let mut asked = wanted("which", 8);
    asked["mics"] = json!(["heron~moorhen", "moorhen"]);
    let room = Room::on(Bench::unlike(), &asked, WIDE);
    let at = room.begin();
    let key = room.stored(&at).key;
    assert!(key.trials.iter().all(|t| t.slots.len() == 3));
    let page = room.get(&at).text();
    for name in names(&page) {
        assert_eq!(room.get(&format!("{at}/sound/{name}.wav")).status, StatusCode::OK);
    }
    assert!(!page.contains('~') && !page.contains("equaliser"), "{page}");
    let words = room.bench.get(&format!("/blind/test?id={}", room.test)).words();
    assert!(words.contains("Heron 3 with an equaliser towards Moorhen 12"), "{words}");
    // How it was set is kept with the test: a bridge that is fitted anew later may be another one.
    let corrected =
        room.bench.get(&format!("/blind/answers.json?id={}", room.test)).json()["corrected"].clone();
    let bridge = room.bench.get("/bridge.json?source=drum&from=heron&to=moorhen").json();
    assert_eq!(corrected[0]["equaliser"], bridge["found"]["bridge"]["equaliser"]);
    assert!(
        corrected[0]["equaliser"]["bands"].as_array().is_some_and(|bands| !bands.is_empty()),
        "{corrected}"
    );
    assert!(words.contains("Heron 3 with an equaliser towards Moorhen 12, as it was heard: "), "{words}");
    // With equal spectra there is nothing left for an equaliser.
    asked["equal_spectrum"] = json!(true);
    let refused = bench.post("/blind/tests", asked.to_string());
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    // Two equalisers against each other say nothing of either microphone, and one without a band nothing at all.
    asked["equal_spectrum"] = json!(false);
    let refused_of = |bench: &Bench, mics: [&str; 2], said: &str| {
        let asked = json!({ "source": "drum", "kind": "which", "mics": mics, "n_trials": 8, "seconds": 0.5 });
        let refused = bench.post("/blind/tests", asked.to_string());
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", refused.text());
        assert!(refused.text().contains(said), "{}", refused.text());
    };
    let both = ["heron~moorhen", "moorhen~heron"];
    refused_of(&room.bench, both, "Heron 3 with an equaliser towards Moorhen 12 is heard beside neither");
    refused_of(
        &bench,
        ["heron~moorhen", "moorhen"],
        "no band of an equaliser brings Heron 3 nearer to Moorhen 12",
    );
    for stranger in ["heron~coot", "~", "heron~", "heron~heron"] {
        asked["mics"] = json!([stranger, "moorhen"]);
        let refused = bench.post("/blind/tests", asked.to_string());
        assert!(matches!(refused.status.as_u16(), 404 | 422), "{stranger}: {}", refused.text());
    }
}
