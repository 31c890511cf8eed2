//! What is forged, repeated, too late, too long, too slow, too much or from elsewhere is refused in words.

use super::{HALL, Room, SHOWN_AS, WIDE, wanted};
use crate::desk::runtime;
use axum::body::Body;
use axum::http::{Method, StatusCode};
use fairtake_page::Limits;
use futures_util::stream;
use serde_json::json;
use std::time::{Duration, Instant};

#[test]
fn answers_are_taken_once_and_in_order_and_only_such_as_the_question_has() {
    let room = Room::new("which", 3);
    let at = room.begin();
    let refused = |trial: usize, given, status: u16, said: &str| {
        let answer = room.answer(&at, trial, given);
        assert_eq!(answer.status.as_u16(), status, "{}", answer.text());
        assert!(answer.json()["what"].as_str().expect("words").contains(said), "{}", answer.text());
        assert!(!answer.json()["hint"].as_str().expect("a hint").is_empty());
    };
    refused(1, json!({ "choice": 0 }), 409, "trial 1 is awaited");
    refused(0, json!({ "choice": 2 }), 422, "no answer");
    refused(0, json!({ "ratings": [1, 2] }), 422, "no answer");
    assert_eq!(room.answer(&at, 0, json!({ "choice": 0 })).status, 200);
    refused(0, json!({ "choice": 1 }), 409, "answered already");
    assert_eq!(room.answer(&at, 1, json!({ "choice": 0 })).status, 200);
    assert_eq!(room.answer(&at, 2, json!({ "choice": 0 })).status, 200);
    refused(2, json!({ "choice": 1 }), 409, "answered already");
    refused(3, json!({ "choice": 1 }), 410, "has ended");
    assert_eq!(room.stored(&at).answers.len(), 3);
    for body in [
        "",
        "{",
        "[]",
        "{\"trial\":-1,\"given\":{\"choice\":0}}",
        "{\"trial\":0,\"given\":{\"choice\":0},\"right\":0}",
        "{\"trial\":0,\"given\":{\"ratings\":[300]}}",
    ] {
        let request =
            Room::request(Method::POST, &format!("{at}/answer")).header("content-type", "application/json");
        let answer = room.ask(request.body(body.to_string().into()).expect("a request"));
        assert!(answer.status.is_client_error(), "{body}: {}", answer.status);
    }
}

#[test]
fn nobody_answers_for_a_sitting_that_there_is_not() {
    let room = Room::new("which", 3);
    for id in ["", "x", "00000000000000000000000000000000", "../../etc/passwd", "' OR 1=1 --"] {
        let at = format!("/s/{}", crate::desk::escaped(id));
        assert_eq!(room.answer(&at, 0, json!({ "choice": 0 })).status, 404, "{id}");
        assert_eq!(room.get(&at).status, 404, "{id}");
        assert_eq!(room.get(&format!("{at}/key.txt")).status, 404, "{id}");
    }
    assert_eq!(room.get("/t/nothing").status, 404);
    assert_eq!(room.post("/t/nothing/begin", &json!({})).status, 404);
    let at = room.begin();
    for name in ["x.wav", "../key.wav", "", "key.txt", &format!("{}.wav", "0".repeat(32))] {
        assert_eq!(room.get(&format!("{at}/sound/{}", crate::desk::escaped(name))).status, 404, "{name}");
    }
    // Nothing of the owner's is at hand here.
    for address in
        ["/takes", "/blind", "/blind/test.json", "/findings.json", "/listen/clip", "/blind/answers.csv"]
    {
        assert_eq!(room.get(address).status, 404, "{address}");
    }
    assert_eq!(room.post("/blind/test/delete", &json!({ "id": room.test })).status, 404);
}

#[test]
fn a_code_begins_one_sitting_and_a_closed_test_takes_nobody() {
    let mut asked = wanted("prefer", 3);
    asked["n_codes"] = json!(2);
    let room = Room::with(&asked, WIDE);
    let begin = |code: &str| room.post(&format!("/t/{}/begin", room.test), &json!({ "code": code }));
    assert!(room.get(&format!("/t/{}", room.test)).text().contains("id=\"code\""));
    assert_eq!(begin("").status, 403);
    assert_eq!(begin("AAAA-AAAA").status, 403);
    assert_eq!(begin(&room.codes[0].to_lowercase()).status, 200);
    let used = begin(&room.codes[0]);
    assert!(used.status == 403 && used.text().contains("used already"), "{}", used.text());
    let close = |is_open: bool| {
        room.bench.post("/blind/test/open", json!({ "id": room.test, "is_open": is_open }).to_string()).status
    };
    assert_eq!(close(false), 200);
    assert_eq!(begin(&room.codes[1]).status, 410);
    assert_eq!(close(true), 200);
    assert_eq!(begin(&room.codes[1]).status, 200);
    let long = room.post(&format!("/t/{}/begin", room.test), &json!({ "listener": "x".repeat(81) }));
    assert_eq!(long.status, 422);
}

#[test]
fn long_and_slow_bodies_are_answered_and_let_go() {
    let room = Room::new("which", 3);
    let at = room.begin();
    let comment = "x".repeat(600);
    let long = room
        .post(&format!("{at}/answer"), &json!({ "trial": 0, "given": { "choice": 0 }, "comment": comment }));
    assert_eq!(long.status, 422, "{}", long.text());
    let longer = json!({ "trial": 0, "given": { "choice": 0 }, "comment": "x".repeat(20_000) });
    let longer = room.post(&format!("{at}/answer"), &longer);
    assert_eq!(longer.status, StatusCode::PAYLOAD_TOO_LARGE, "{}", longer.text());
    // One byte every 20 ms would take minutes.
    let drops = stream::unfold(0u32, |n| async move {
        tokio::time::sleep(Duration::from_millis(20)).await;
        Some((Ok::<_, std::io::Error>(" "), n + 1))
    });
    let request =
        Room::request(Method::POST, &format!("{at}/answer")).header("content-type", "application/json");
    let begun = Instant::now();
    let slow = room.ask(request.body(Body::from_stream(drops)).expect("a request"));
    assert_eq!(slow.status, StatusCode::REQUEST_TIMEOUT, "{}", slow.text());
    assert!(begun.elapsed() < Duration::from_secs(20), "it was not waited for");
    assert_eq!(room.answer(&at, 0, json!({ "choice": 0 })).status, 200);
}

#[test]
fn too_much_at_once_waits_and_loses_nothing() {
    let room =
        Room::with(&wanted("which", 30), Limits { of_sitting: (12.0, 0.5), begins: (2.0, 0.001), ..WIDE });
    let at = room.begin();
    let statuses: Vec<u16> =
        (0..20).map(|trial| room.answer(&at, trial, json!({ "choice": 0 })).status.as_u16()).collect();
    let n_kept = statuses.iter().filter(|s| **s == 200).count();
    assert!(statuses.contains(&429) && (10..=14).contains(&n_kept), "{statuses:?}");
    assert_eq!(room.stored(&at).answers.len(), n_kept);
    // Another sitting is not held up by this one; a third is too many at once.
    let other = room.begin();
    assert_eq!(room.answer(&other, 0, json!({ "choice": 0 })).status, 200);
    assert_eq!(room.post(&format!("/t/{}/begin", room.test), &json!({})).status, 429);
}

#[test]
fn a_test_has_no_more_sittings_than_it_may() {
    let room = Room::with(&wanted("which", 3), Limits { sittings: 2, ..WIDE });
    room.begin();
    room.begin();
    assert_eq!(room.post(&format!("/t/{}/begin", room.test), &json!({})).status, 410);
}

#[test]
fn pages_of_other_sites_and_other_names_get_nothing() {
    let room = Room::new("which", 3);
    let at = room.begin();
    let with = |method: Method, address: &str, headers: &[(&str, &str)]| {
        let mut request = axum::http::Request::builder().method(method).uri(address);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        room.ask(request.header("content-type", "application/json").body("{}".into()).expect("a request"))
            .status
    };
    for host in ["evil.example", "127.0.0.1:9999", "listen.boathouse.example.evil.example", ""] {
        assert_eq!(with(Method::GET, &at, &[("host", host)]), 421, "{host}");
    }
    let shown = SHOWN_AS.trim_start_matches("https://");
    for host in [HALL, "localhost:8090", shown, &shown.to_uppercase()] {
        assert_eq!(with(Method::GET, &at, &[("host", host)]), 200, "{host}");
    }
    let leave = format!("{at}/leave");
    for origin in ["http://evil.example", "null", "https://127.0.0.1:8090", "http://listen.boathouse.example"]
    {
        assert_eq!(with(Method::POST, &leave, &[("host", HALL), ("origin", origin)]), 403, "{origin}");
    }
    assert_eq!(with(Method::POST, &leave, &[("host", HALL)]), 403, "a change without an origin");
    let foreign = [("host", HALL), ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "no-cors")];
    assert_eq!(with(Method::GET, &at, &foreign), 403);
    let followed = [("host", HALL), ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", "navigate")];
    assert_eq!(with(Method::GET, &at, &followed), 200, "a link that was sent is opened");
    assert_eq!(
        with(Method::POST, &leave, &[("host", shown), ("origin", SHOWN_AS)]),
        200,
        "through the proxy"
    );
}

#[test]
fn a_head_that_comes_too_slowly_ends_its_connection_and_others_go_on() {
    use std::io::{Read, Write};
    let room = Room::new("which", 3);
    let folder = room.bench.folder.path().to_path_buf();
    let hall = fairtake_page::open_audience(&folder, "127.0.0.1:0".parse().expect("an address"), None, WIDE);
    let hall = hall.expect("a port");
    let address = hall.address();
    // It serves until the test program ends.
    std::thread::spawn(move || hall.run());
    let mut slow = std::net::TcpStream::connect(address).expect("connects");
    slow.write_all(b"GET / HTTP/1.1\r\nhost: ").expect("begun");
    let asked = |words: &str| {
        let mut stream = std::net::TcpStream::connect(address).expect("connects");
        stream.write_all(words.as_bytes()).expect("asked");
        let mut said = String::new();
        stream.set_read_timeout(Some(Duration::from_secs(20))).expect("set");
        stream.read_to_string(&mut said).expect("answered");
        said
    };
    let fine =
        asked(&format!("GET /t/{} HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\n\r\n", room.test));
    assert!(fine.starts_with("HTTP/1.1 200"), "{fine}");
    slow.set_read_timeout(Some(Duration::from_secs(20))).expect("set");
    let mut rest = Vec::new();
    // Ended by the hall, with or without a word; a test that waited for it would time out here.
    slow.read_to_end(&mut rest).expect("closed by the other side");
    let _ = runtime();
}
