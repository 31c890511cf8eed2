//! Recordings that are dropped on the page come in whole, once, hashed, and replace nothing.

use crate::desk::{Bench, escaped, here, runtime, take};
use axum::body::{Body, Bytes};
use axum::http::{Method, StatusCode};
use fairtake_files::sha256;
use futures_util::future::join_all;
use futures_util::stream;
use std::io;

#[test]
fn a_recording_comes_in_with_its_hash_and_is_shown() {
    let bench = Bench::new();
    let bytes = take(0.7);
    let answer = bench.send("drum-heron-2.wav", &bytes);
    assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
    let told = answer.json();
    assert_eq!(std::fs::read(bench.at("takes/drum-heron-2.wav")).expect("is there"), bytes);
    assert_eq!(told["sha256"], sha256(&bench.at("takes/drum-heron-2.wav")).expect("reads"));
    assert_eq!(
        (&told["file"], &told["n_bytes"], &told["was_there"]),
        (&"takes/drum-heron-2.wav".into(), &bytes.len().into(), &false.into())
    );
    let waiting = bench.get("/takes.json").json()["waiting"][0].clone();
    assert_eq!(waiting["file"], "takes/drum-heron-2.wav");
    assert_eq!(
        (&waiting["channels"][0]["mic"], &waiting["channels"][0]["placement"]),
        (&"heron".into(), &2.into())
    );
    // Once more the same; then another under the same name.
    assert_eq!(bench.send("drum-heron-2.wav", &bytes).json()["was_there"], true);
    for other in [take(0.3), take(0.3)[..1000].to_vec()] {
        let refused = bench.send("drum-heron-2.wav", &other);
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.json()["hint"].as_str().expect("words").contains("rename"), "{refused:?}");
    }
    assert_eq!(std::fs::read(bench.at("takes/drum-heron-2.wav")).expect("is there"), bytes);
    assert_eq!(bench.names(".fairtake"), [""; 0]);
}

#[test]
fn what_is_no_whole_recording_is_refused_and_leaves_nothing() {
    let bench = Bench::new();
    let (whole, before) = (take(0.7), bench.names("takes"));
    let empty_wav = fairtake_files::wav::clip_bytes(16_000, &[]);
    for (what, bytes) in [
        ("text", b"no audio at all".as_slice()),
        ("nothing", b""),
        ("cut off", &whole[..9000]),
        ("a header", &whole[..50]),
        ("no samples", &empty_wav),
    ] {
        let refused = bench.send("new.wav", bytes);
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{what}: {refused:?}");
        let told = refused.json();
        assert!(told["what"].as_str().expect("words").starts_with("new.wav: "), "{told}");
        assert!(!told["hint"].as_str().expect("words").is_empty(), "{told}");
    }
    // Announced longer or shorter than it comes.
    for announced in [whole.len() + 1, whole.len() - 1] {
        let request = here(Method::POST, "/takes/files?name=new.wav").header("content-length", announced);
        let refused = bench.ask(request.body(whole.clone().into()).expect("a request"));
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{refused:?}");
    }
    assert_eq!((bench.names("takes"), bench.names(".fairtake")), (before, vec![]));
}

#[test]
fn a_connection_that_breaks_leaves_nothing() {
    let bench = Bench::new();
    let before = bench.names("takes");
    let whole = take(0.7);
    let pieces: Vec<io::Result<Bytes>> = vec![
        Ok(Bytes::copy_from_slice(&whole[..10_000])),
        Ok(Bytes::copy_from_slice(&whole[10_000..20_000])),
        Err(io::ErrorKind::ConnectionReset.into()),
    ];
    let request = here(Method::POST, "/takes/files?name=new.wav");
    let answer = bench.ask(request.body(Body::from_stream(stream::iter(pieces))).expect("a request"));
    assert_eq!(answer.status, StatusCode::BAD_REQUEST);
    assert!(answer.json()["what"].as_str().expect("words").contains("20000 bytes"), "{answer:?}");
    assert_eq!((bench.names("takes"), bench.names(".fairtake")), (before, vec![]));
}

#[test]
fn names_that_are_none_are_refused_and_strange_ones_are_only_text() {
    let bench = Bench::new();
    let bytes = take(0.7);
    let before = bench.names("takes");
    let long = format!("{}.wav", "x".repeat(300));
    for name in [
        "",
        ".",
        "..",
        ".hidden.wav",
        "../new.wav",
        "/new.wav",
        "a/b.wav",
        "a\\b.wav",
        "a\0.wav",
        "a\n.wav",
        "new.txt",
        "new",
        &long,
    ] {
        let refused = bench.send(name, &bytes);
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{name:?}: {refused:?}");
        assert!(
            refused.json()["what"].as_str().expect("words").contains("cannot be called so"),
            "{refused:?}"
        );
    }
    let nameless = here(Method::POST, "/takes/files").body(bytes.clone().into()).expect("a request");
    assert_eq!(bench.ask(nameless).status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(bench.names("takes"), before);
    let strange = [
        "<img src=x onerror=alert(1)>.wav",
        "\"onload=\"x.wav",
        "Trommel ä ü 鼓 🥁.WAV",
        "-rf.wav",
        "a b  c.wav",
        "%2e%2e.wav",
        "$(ls).wav",
        "drum'; --.wav",
    ];
    for name in strange {
        let answer = bench.send(name, &bytes);
        assert_eq!(answer.status, StatusCode::OK, "{name}: {answer:?}");
        assert_eq!(std::fs::read(bench.at("takes").join(name)).expect("is there"), bytes, "{name}");
    }
    let page = bench.get("/takes");
    assert!(!page.text().contains("<img"), "a name is no tag");
    for name in strange {
        assert!(page.words().contains(name), "{name}");
        assert!(bench.get(&format!("/wave.json?take={}", escaped(name))).status == StatusCode::NOT_FOUND);
    }
}

#[test]
fn many_come_in_at_once() {
    let bench = Bench::new();
    let gains: Vec<f32> = (1..=24u8).map(|i| f32::from(i) / 30.0).collect();
    let answers = runtime().block_on(join_all(gains.iter().enumerate().map(|(i, gain)| {
        let request = here(Method::POST, &format!("/takes/files?name=new-{i}.wav"));
        let pieces: Vec<io::Result<Bytes>> =
            take(*gain).chunks(7000).map(|p| Ok(Bytes::copy_from_slice(p))).collect();
        bench.asked(request.body(Body::from_stream(stream::iter(pieces))).expect("a request"))
    })));
    for (i, (answer, gain)) in answers.iter().zip(&gains).enumerate() {
        assert_eq!(answer.status, StatusCode::OK, "{answer:?}");
        assert_eq!(std::fs::read(bench.at(&format!("takes/new-{i}.wav"))).expect("is there"), take(*gain));
    }
    // One name for all of them: one wins, and what it sent is whole.
    let answers = runtime().block_on(join_all(gains.iter().map(|gain| {
        let request = here(Method::POST, "/takes/files?name=same.wav");
        bench.asked(request.body(take(*gain).into()).expect("a request"))
    })));
    let won: Vec<usize> = (0..gains.len()).filter(|i| answers[*i].status == StatusCode::OK).collect();
    assert_eq!(won.len(), 1);
    assert!(answers.iter().all(|a| matches!(a.status, StatusCode::OK | StatusCode::CONFLICT)));
    assert_eq!(std::fs::read(bench.at("takes/same.wav")).expect("is there"), take(gains[won[0]]));
    assert_eq!(bench.names(".fairtake"), [""; 0]);
}

#[test]
fn more_than_the_disk_holds_is_refused_before_it_is_sent() {
    let bench = Bench::new();
    let request =
        here(Method::POST, "/takes/files?name=new.wav").header("content-length", u64::MAX.to_string());
    let never = stream::pending::<io::Result<Bytes>>();
    let refused = bench.ask(request.body(Body::from_stream(never)).expect("a request"));
    assert_eq!(refused.status, StatusCode::INSUFFICIENT_STORAGE);
    let told = refused.json();
    assert!(told["what"].as_str().expect("words").contains("MB free"), "{told}");
    assert!(told["hint"].as_str().expect("words").contains("make room"), "{told}");
}
