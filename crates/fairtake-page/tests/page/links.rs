//! A guest in the room needs the link, and has nothing any more the moment it ends.

use crate::desk::{Bench, HERE, TOKEN, guest, here, runtime, take};
use axum::body::{Body, Bytes};
use axum::http::{Method, StatusCode};
use futures_util::StreamExt;
use std::io;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::timeout;

/// Far longer than anything here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

fn cookie() -> String {
    format!("fairtake-link-8080={TOKEN}")
}

fn asked(bench: &Bench, method: Method, address: &str, cookie: Option<&str>) -> StatusCode {
    let request = guest(method, address, cookie).header("content-type", "application/json");
    bench.ask(request.body(Body::empty()).expect("a request")).status
}

#[test]
fn a_guest_needs_the_link_and_then_works_like_at_the_machine() {
    let bench = Bench::shared();
    let get = |address: &str, cookie: Option<&str>| asked(&bench, Method::GET, address, cookie);
    for address in ["/", "/takes", "/takes.json", "/web/page.js", "/events", "/report.html"] {
        assert_eq!(get(address, None), StatusCode::FORBIDDEN, "{address}");
    }
    for wrong in ["", "0", &TOKEN.replace('0', "1"), &format!("{TOKEN}0"), &TOKEN[..31]] {
        assert_eq!(get(&format!("/?link={wrong}"), None), StatusCode::FORBIDDEN, "{wrong}");
        assert_eq!(
            get("/takes", Some(&format!("fairtake-link-8080={wrong}"))),
            StatusCode::FORBIDDEN,
            "{wrong}"
        );
    }
    // The cookie of a page at another port is another one.
    assert_eq!(get("/takes", Some(&format!("fairtake-link-8081={TOKEN}"))), StatusCode::FORBIDDEN);
    let link = format!("/?link={TOKEN}");
    assert_eq!(asked(&bench, Method::POST, &link, None), StatusCode::FORBIDDEN);
    // It may stand in a message that is read in the browser.
    let request = guest(Method::GET, &link, None).header("sec-fetch-site", "cross-site");
    let welcome = bench.ask(request.body(Body::empty()).expect("a request"));
    assert_eq!(welcome.status, StatusCode::OK);
    // A page that goes on by itself and no redirection, along which the browser would not send this cookie.
    assert!(welcome.text().contains("content=\"0; url=/takes\"") && !welcome.text().contains(TOKEN));
    let set = welcome.headers["set-cookie"].to_str().expect("text");
    let (value, rest) = set.split_once("; ").expect("with attributes");
    assert_eq!((value, rest), (cookie().as_str(), "Path=/; HttpOnly; SameSite=Strict"));
    for address in ["/takes", "/takes.json", "/web/page.js", "/compare", "/listen/clip?source=drum&mic=heron"]
    {
        assert_eq!(get(address, Some(value)), StatusCode::OK, "{address}");
        assert_eq!(get(address, Some(&format!("other=1; {value}; more=2"))), StatusCode::OK, "{address}");
    }
    let named = guest(Method::POST, "/mics", Some(value)).header("content-type", "application/json");
    let named = bench.ask(named.body(r#"{"name":"Coot"}"#.into()).expect("a request"));
    assert_eq!(named.status, StatusCode::OK, "{named:?}");
}

#[test]
fn without_a_link_nobody_comes_in_from_outside() {
    let bench = Bench::new();
    let request = || guest(Method::GET, "/takes", Some(&cookie()));
    let mut as_here = request().body(Body::empty()).expect("a request");
    as_here.headers_mut().insert("host", HERE.parse().expect("a value"));
    assert_eq!(bench.ask(as_here).status, StatusCode::FORBIDDEN);
    assert_eq!(
        bench.ask(request().body(Body::empty()).expect("a request")).status,
        StatusCode::MISDIRECTED_REQUEST
    );
    // Whose peer is not known is not here.
    let mut nobody = here(Method::GET, "/takes").body(Body::empty()).expect("a request");
    nobody.extensions_mut().clear();
    assert_eq!(bench.ask(nobody).status, StatusCode::FORBIDDEN);
}

#[test]
fn only_the_machine_itself_ends_links_and_then_they_are_ended() {
    let bench = Bench::shared();
    let link = cookie();
    assert_eq!(asked(&bench, Method::POST, "/links/end", Some(&link)), StatusCode::FORBIDDEN);
    assert!(bench.desk.access().has_link());
    assert_eq!(bench.post("/links/end", Body::empty()).status, StatusCode::NO_CONTENT);
    assert!(!bench.desk.access().has_link());
    assert_eq!(asked(&bench, Method::GET, "/takes", Some(&link)), StatusCode::FORBIDDEN);
    assert_eq!(asked(&bench, Method::GET, &format!("/?link={TOKEN}"), None), StatusCode::FORBIDDEN);
    assert_eq!(asked(&bench, Method::GET, "/?link=", Some(&link)), StatusCode::FORBIDDEN);
    assert_eq!(bench.get("/takes").status, StatusCode::OK, "this machine goes on");
}

#[test]
fn news_to_a_guest_break_off_when_the_links_end_and_go_on_here() {
    let bench = Bench::shared();
    runtime().block_on(async {
        let open = |request: axum::http::request::Builder| {
            bench.begun(request.body(Body::empty()).expect("a request"))
        };
        let theirs = open(guest(Method::GET, "/events", Some(&cookie()))).await;
        let ours = open(here(Method::GET, "/events")).await;
        assert_eq!((theirs.status(), ours.status()), (StatusCode::OK, StatusCode::OK));
        let (mut theirs, mut ours) =
            (theirs.into_body().into_data_stream(), ours.into_body().into_data_stream());
        let named = |name: &str| {
            let request = here(Method::POST, "/mics").header("content-type", "application/json");
            request.body(Body::from(format!("{{\"name\":\"{name}\"}}"))).expect("a request")
        };
        assert_eq!(bench.asked(named("Coot")).await.status, StatusCode::OK);
        for news in [&mut theirs, &mut ours] {
            let news = timeout(PATIENCE, news.next()).await.expect("in time").expect("more").expect("news");
            assert!(news.starts_with(b"event: changed"), "{news:?}");
        }
        bench.desk.access().end_links();
        let last = timeout(PATIENCE, theirs.next()).await.expect("at once").expect("an error and no end");
        assert!(last.is_err());
        assert!(timeout(PATIENCE, theirs.next()).await.expect("at once").is_none());
        assert_eq!(bench.asked(named("Rail")).await.status, StatusCode::OK);
        let news = timeout(PATIENCE, ours.next()).await.expect("in time").expect("more").expect("news");
        assert!(news.starts_with(b"event: changed"), "{news:?}");
    });
}

#[test]
fn a_recording_that_a_guest_sends_breaks_off_when_the_links_end_and_leaves_nothing() {
    let bench = Bench::shared();
    runtime().block_on(async {
        let (send, receive) = mpsc::channel::<io::Result<Bytes>>(1);
        let pieces = futures_util::stream::unfold(receive, |mut r| async { Some((r.recv().await?, r)) });
        let request = guest(Method::POST, "/takes/files?name=new.wav", Some(&cookie()));
        let request = request.body(Body::from_stream(pieces)).expect("a request");
        let begins = async {
            let whole = take(0.7);
            for piece in whole[..40_000].chunks(10_000) {
                send.send(Ok(Bytes::copy_from_slice(piece))).await.expect("is taken");
            }
            assert_eq!(bench.names(".fairtake").len(), 1, "on its way");
            bench.desk.access().end_links();
        };
        let (answer, ()) = timeout(PATIENCE, futures_util::future::join(bench.asked(request), begins))
            .await
            .expect("at once");
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert!(send.is_closed(), "nothing more is taken");
    });
    // What a thread was still writing is let go of a moment later.
    let begun = std::time::Instant::now();
    while !bench.names(".fairtake").is_empty() {
        assert!(begun.elapsed() < PATIENCE, "{:?}", bench.names(".fairtake"));
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(!bench.at("takes/new.wav").exists());
}
