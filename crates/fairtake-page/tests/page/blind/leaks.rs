//! Nothing but the sound tells which microphone plays before the last answer.

use super::{Room, names};
use axum::body::Body;
use axum::http::Method;
use serde_json::json;
use std::collections::{BTreeSet, HashSet};

/// A page with everything taken out that was drawn for this sitting: names and digests of hexadecimal digits.
fn without_draws(page: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    for c in page.chars().chain(['\n']) {
        if c.is_ascii_hexdigit() {
            run.push(c);
            continue;
        }
        out.push_str(if run.len() >= 32 { "#" } else { &run });
        run.clear();
        out.push(c);
    }
    out
}

#[test]
fn pages_of_a_trial_are_the_same_whatever_plays() {
    for kind in ["which", "odd_one", "prefer", "likeness", "liking"] {
        let room = Room::new(kind, 4);
        let mut pages = BTreeSet::new();
        let mut keys = HashSet::new();
        for _ in 0..6 {
            let at = room.begin();
            let page = room.get(&at).text();
            for secret in ["heron", "moorhen", "Heron", "Moorhen", "drum-", "takes/"] {
                assert!(!page.contains(secret), "{kind}: {secret}");
            }
            keys.insert(format!(
                "{:?}",
                room.stored(&at).key.trials[0].slots.iter().map(|s| s.excerpt).collect::<Vec<_>>()
            ));
            pages.insert(without_draws(&page));
        }
        assert_eq!(pages.len(), 1, "{kind}: pages differ by what plays");
        assert!(keys.len() > 1, "{kind}: the same was drawn every time");
    }
}

#[test]
fn sounds_are_alike_in_everything_but_their_samples_and_never_the_same_bytes() {
    let room = Room::new("which", 8);
    let at = room.begin();
    let (mut heads, mut sizes, mut starts) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    let mut bodies = HashSet::new();
    let mut all_names = HashSet::new();
    for trial in 0..8 {
        for name in names(&room.get(&at).text()) {
            assert!(name.len() == 32 && name.bytes().all(|b| b.is_ascii_hexdigit()), "{name}");
            assert!(all_names.insert(name.clone()), "a name comes again");
            let address = format!("{at}/sound/{name}.wav");
            let sound = room.get(&address);
            let mut head: Vec<String> =
                sound.headers.iter().map(|(k, v)| format!("{k}: {}", v.to_str().expect("text"))).collect();
            head.sort();
            for validator in ["etag", "last-modified", "content-disposition", "x-about"] {
                assert!(!sound.headers.contains_key(validator), "{validator}");
            }
            assert_eq!(sound.headers["cache-control"], "private, max-age=31536000, immutable");
            heads.insert(head);
            sizes.insert(sound.body.len());
            starts.insert(sound.body[..44].to_vec());
            assert!(bodies.insert(sound.body.clone()), "two presentations are the same bytes");
            // Asked again, the same: a browser may fetch it in parts.
            assert_eq!(room.get(&address).body, sound.body);
            let part = room.ask(
                Room::request(Method::GET, &address)
                    .header("range", "bytes=44-143")
                    .body(Body::empty())
                    .expect("a request"),
            );
            assert_eq!(part.status, 206);
            assert_eq!(part.body, sound.body[44..144]);
            assert_eq!(
                part.headers["content-range"].to_str().expect("text"),
                format!("bytes 44-143/{}", sound.body.len())
            );
        }
        assert_eq!(room.answer(&at, trial, json!({ "choice": 0 })).status, 200);
    }
    assert_eq!((heads.len(), sizes.len(), starts.len()), (1, 1, 1), "headers, sizes or file heads differ");
    assert_eq!(bodies.len(), 24);
}

#[test]
fn what_comes_later_and_the_key_cannot_be_had_before_their_time() {
    let room = Room::new("which", 3);
    let at = room.begin();
    let key = room.stored(&at).key;
    let seal = room.stored(&at).seal;
    assert!(room.get(&at).text().contains(&seal));
    let sound = |trial: usize| {
        room.get(&format!("{at}/sound/{}.wav", key.trials[trial].slots[0].name)).status.as_u16()
    };
    assert_eq!((sound(0), sound(1), sound(2)), (200, 404, 404));
    let sealed = room.get(&format!("{at}/key.txt"));
    assert_eq!(sealed.status, 403);
    assert!(!sealed.text().contains(&key.nonce));
    for trial in 0..3 {
        // What a browser is told with its answer says nothing about being right.
        let kept = room.answer(&at, trial, json!({ "choice": trial % 2 })).text();
        assert_eq!(kept, json!({ "kept": trial }).to_string());
        let result = room.bench.get(&format!("/blind/test.json?id={}", room.test)).text();
        let exported = room.bench.get(&format!("/blind/answers.json?id={}", room.test)).text();
        let csv = room.bench.get(&format!("/blind/answers.csv?id={}", room.test)).text();
        let open = trial < 2;
        for told in [&result, &exported, &csv] {
            assert!(
                !open || (!told.contains(&key.nonce) && !told.contains(&key.trials[0].slots[0].name)),
                "{told}"
            );
        }
        assert_eq!(result.contains("\"hits\":null"), open, "{result}");
        assert_eq!(csv.lines().count() == 1, open);
    }
    let revealed = room.get(&format!("{at}/key.txt"));
    assert_eq!(revealed.status, 200);
    assert!(revealed.text().contains(&key.nonce));
}

#[test]
fn a_page_asks_for_its_sounds_in_the_order_in_which_they_stand() {
    // The order in which a script walks a page is the order of the page, which is that of the places, not of what plays.
    let script = include_str!("../../../web/sitting.js");
    assert!(script.contains("for (const button of buttons)"));
    let room = Room::new("likeness", 4);
    for _ in 0..4 {
        let at = room.begin();
        let page = names(&room.get(&at).text());
        let slots: Vec<String> =
            room.stored(&at).key.trials[0].slots.iter().map(|s| s.name.clone()).collect();
        assert_eq!(page, slots);
    }
}
