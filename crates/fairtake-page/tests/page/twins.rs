//! A page and its JSON twin say the same, and no number is computed twice.

use crate::desk::{Bench, here, runtime};
use axum::body::Body;
use axum::http::{Method, StatusCode};
use fairtake_report::words::signed;
use futures_util::StreamExt;
use serde_json::Value;
use std::time::Duration;
use tokio::time::timeout;

#[test]
fn every_twin_holds_what_its_page_shows() {
    let bench = Bench::new();
    std::fs::write(bench.at("takes/drum-heron-2.wav"), crate::desk::take(0.7)).expect("written");
    let open = "?take=takes/drum-heron-1.wav:1";
    let both = |address: &str, query: &str| {
        let (page, twin) =
            (bench.get(&format!("{address}{query}")), bench.get(&format!("{address}.json{query}")));
        assert_eq!((page.status, twin.status), (StatusCode::OK, StatusCode::OK), "{address}");
        assert_eq!(twin.headers["content-type"], "application/json");
        (page.words(), twin.json())
    };
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{value} is no number"));

    let (words, twin) = both("/compare", "");
    let comparison = &twin["found"]["comparison"];
    assert!(words.contains(&signed(number(&comparison["match"]["gain_db"]))), "{words}");
    let findings = comparison["findings"].as_array().expect("a list");
    assert!(!findings.is_empty());
    for finding in findings {
        assert!(words.contains(finding["text"].as_str().expect("words")), "{finding}");
    }
    let found = bench.get("/findings.json").json();
    assert_eq!(found["comparisons"][0], *comparison, "one comparison, wherever it is asked for");

    let (words, twin) = both("/takes", open);
    let row = &twin["open"]["row"];
    let peak = number(&row["sample_peak_dbfs"]);
    assert!(words.contains(&format!("{peak:.1}").replace('-', "−")), "{peak}: {words}");
    assert!(
        words.contains(twin["open"]["sha256"].as_str().expect("words"))
            || words.contains(&twin["open"]["sha256"].as_str().expect("words")[..8]),
        "{words}"
    );
    assert_eq!(twin["open"]["events"].as_array().expect("a list").len() as f64, number(&row["events"][1]));
    assert!(words.contains("takes/drum-heron-2.wav"));
    assert_eq!(twin["waiting"][0]["file"], "takes/drum-heron-2.wav");
    assert_eq!(found["takes"][0]["sha256"], twin["open"]["sha256"]);

    let (words, twin) = both("/listen", "");
    for gain in twin["heard"]["gains"].as_array().expect("a list") {
        let said = format!("{:.1} dB", number(&gain["gain_db"])).replace('-', "−");
        assert!(words.contains(&said), "{gain}: {words}");
    }
    let (words, twin) = both("/write-up", "");
    for finding in twin["comparisons"][0]["findings"].as_array().expect("a list") {
        assert!(words.contains(finding[1].as_str().expect("words")), "{finding}");
    }
    let (words, twin) = both("/plan", "");
    assert_eq!(twin["title"], "Frame drum, boathouse");
    let finds_db = number(&twin["sources"][0]["finds_db"]);
    assert!(words.contains(&format!("{finds_db:.1}")), "{finds_db}: {words}");
}

#[test]
fn settings_that_cannot_be_are_answered_in_words() {
    let bench = Bench::new();
    let bad = [
        "margin=x",
        "margin=0",
        "margin=-1",
        "margin=NaN",
        "margin=inf",
        "margin=1e9",
        "margin=61",
        "match=louder",
        "bands=7",
        "bands=0",
        "bands=-3",
        "bands=99999999999",
        "from=x",
        "to=1e",
        "source=drum&source=drum",
    ];
    for query in bad {
        for address in ["/compare", "/compare.json", "/figure", "/others"] {
            let answer = bench.get(&format!("{address}?{query}"));
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{address}?{query}");
            if address == "/compare" {
                assert!(answer.words().contains("could not be done"), "{query}");
            } else {
                let told = answer.json();
                assert!(
                    told["what"].is_string() && !told["hint"].as_str().expect("words").is_empty(),
                    "{told}"
                );
            }
        }
    }
    for (query, margin_db) in [("margin=0.5", 0.5), ("margin=0,5", 0.5), ("margin=", 1.0), ("margin=+2", 2.0)]
    {
        assert_eq!(
            bench.get(&format!("/compare.json?{query}")).json()["settings"]["margin_db"],
            margin_db,
            "{query}"
        );
    }
    for query in [
        "listen?moment=x",
        "listen?moment=-1",
        "listen.json?moment=1e3",
        "wave.json?take=a&columns=-1",
        "wave.json",
        "listen/clip",
        "takes/none",
    ] {
        let status = bench.get(&format!("/{query}")).status;
        assert!(matches!(status.as_u16(), 404 | 422), "{query}: {status}");
    }
}

#[test]
fn what_changed_before_a_page_listens_is_told_at_once() {
    let bench = Bench::new();
    runtime().block_on(async {
        let get = |address: &str| here(Method::GET, address);
        let page = bench.asked(get("/plan").body(Body::empty()).expect("a request")).await.text();
        let (_, rest) = page.split_once("data-news=\"").expect("the page says what it was made after");
        let made_after: u64 = rest.split_once('"').expect("quoted").0.parse().expect("a number");
        let first = async |request: axum::http::request::Builder| {
            let mut news = bench
                .begun(request.body(Body::empty()).expect("a request"))
                .await
                .into_body()
                .into_data_stream();
            let told = timeout(Duration::from_millis(200), news.next()).await.ok()?;
            Some(String::from_utf8(told?.expect("news").to_vec()).expect("words"))
        };
        let since = |number: u64| get(&format!("/events?since={number}"));
        assert_eq!(first(since(made_after)).await, None, "nothing changed");

        let end = here(Method::POST, "/links/end").body(Body::empty()).expect("a request");
        assert_eq!(bench.asked(end).await.status, StatusCode::NO_CONTENT);
        let told = first(since(made_after)).await.expect("told at once");
        assert_eq!(told, format!("event: changed\nid: {0}\ndata: {0}\n\n", made_after + 1));
        // A browser that connects again asks at the same address, and says what it heard last.
        let again = since(made_after).header("last-event-id", (made_after + 1).to_string());
        assert_eq!(first(again).await, None, "heard already");
        assert!(first(since(made_after).header("last-event-id", "none")).await.is_some());
    });
}

#[test]
fn another_margin_match_or_view_measures_nothing_again() {
    let bench = Bench::new();
    runtime().block_on(async {
        let get = |address: &str| here(Method::GET, address).body(Body::empty()).expect("a request");
        let mut news = bench.begun(get("/events")).await.into_body().into_data_stream();
        // Measuring is told: nothing is told where no audio is read.
        assert_eq!(bench.asked(get("/compare")).await.status, StatusCode::OK);
        let told = timeout(Duration::from_secs(60), news.next())
            .await
            .expect("in time")
            .expect("more")
            .expect("news");
        assert!(told.starts_with(b"event: progress"), "{told:?}");
        let mut last = told;
        while let Ok(told) = timeout(Duration::from_millis(300), news.next()).await {
            last = told.expect("more").expect("news");
        }
        assert_eq!(last, "event: progress\ndata: done\n\n");
        for address in [
            "/compare?margin=3",
            "/compare.json?margin=0.3",
            "/compare?match=peak",
            "/compare?from=100&to=1000",
            "/takes",
            "/findings.json",
            "/write-up",
            "/report.html",
            "/plan",
        ] {
            assert_eq!(bench.asked(get(address)).await.status, StatusCode::OK, "{address}");
            let told = timeout(Duration::from_millis(50), news.next()).await;
            assert!(told.is_err(), "{address}: {told:?}");
        }
    });
}
