//! Pages of other sites get nothing, whatever they make the browser send; our own pages run nothing but our files.

use crate::desk::{Answer, Bench, LOG, here};
use axum::body::Body;
use axum::http::{HeaderValue, Method, Request, StatusCode};

const PAGES: [&str; 6] =
    ["/plan", "/takes", "/takes?take=takes/drum-heron-1.wav:1", "/compare", "/listen", "/write-up"];
const POSTS: [&str; 12] = [
    "/log",
    "/mics",
    "/sources",
    "/takes/assign",
    "/measure/assign",
    "/takes/parts",
    "/takes/cut",
    "/takes/files?name=a.wav",
    "/write-up/report",
    "/write-up/sizes",
    "/write-up/everything",
    "/links/end",
];

fn with(request: axum::http::request::Builder, headers: &[(&'static str, &str)]) -> Request<Body> {
    let mut request = request.body(Body::empty()).expect("a request");
    for (name, value) in headers {
        request.headers_mut().insert(*name, HeaderValue::from_bytes(value.as_bytes()).expect("a value"));
    }
    request
}

#[test]
fn a_foreign_name_for_this_machine_is_refused() {
    let bench = Bench::new();
    let named = |host: &str| bench.ask(with(here(Method::GET, "/takes.json"), &[("host", host)])).status;
    for host in [
        "evil.example:8080",
        "127.0.0.1:9999",
        "127.0.0.1",
        "localhost.evil.example:8080",
        "192.0.2.2:8080",
        "",
    ] {
        assert_eq!(named(host), StatusCode::MISDIRECTED_REQUEST, "{host}");
    }
    for host in ["127.0.0.1:8080", "localhost:8080", "LocalHost:8080", "[::1]:8080"] {
        assert_eq!(named(host), StatusCode::OK, "{host}");
    }
    let mut nameless = with(here(Method::GET, "/takes.json"), &[]);
    nameless.headers_mut().remove("host");
    assert_eq!(bench.ask(nameless).status, StatusCode::MISDIRECTED_REQUEST);
}

#[test]
fn what_changes_something_must_come_from_our_own_page() {
    let bench = Bench::shared();
    for address in POSTS {
        let origins = [
            "http://evil.example",
            "null",
            "https://127.0.0.1:8080",
            "http://127.0.0.1:8081",
            "http://127.0.0.1",
            "\u{e9}",
        ];
        for origin in origins {
            let asked = with(
                here(Method::POST, address),
                &[("origin", origin), ("content-type", "application/json")],
            );
            assert_eq!(bench.ask(asked).status, StatusCode::FORBIDDEN, "{address} from {origin}");
        }
        let mut without = with(here(Method::POST, address), &[("content-type", "application/json")]);
        without.headers_mut().remove("origin");
        assert_eq!(bench.ask(without).status, StatusCode::FORBIDDEN, "{address} from nowhere");
        // The same host at another port is the same site to a browser, and another page.
        let neighbour = with(here(Method::POST, address), &[("sec-fetch-site", "same-site")]);
        assert_eq!(bench.ask(neighbour).status, StatusCode::FORBIDDEN, "{address} from a neighbour");
    }
    assert_eq!(bench.log(), LOG);
    assert!(bench.desk.access().has_link());
    assert_eq!(bench.post("/mics", r#"{"name":"Coot"}"#).status, StatusCode::OK);
    assert!(bench.log().contains("Coot"));
}

#[test]
fn other_sites_may_lead_here_and_read_nothing() {
    let bench = Bench::new();
    let asked = |address: &str, headers: &[(&'static str, &str)]| {
        bench.ask(with(here(Method::GET, address), headers)).status
    };
    let (site, mode) = ("sec-fetch-site", "sec-fetch-mode");
    for address in [
        "/takes",
        "/takes.json",
        "/findings.json",
        "/listen/clip?source=drum&mic=heron",
        "/events",
        "/report.html",
    ] {
        for from in ["cross-site", "same-site"] {
            for how in ["no-cors", "cors", "websocket"] {
                assert_eq!(
                    asked(address, &[(site, from), (mode, how)]),
                    StatusCode::FORBIDDEN,
                    "{address} {from} {how}"
                );
            }
        }
        let with_origin = [("origin", "http://evil.example")];
        assert_eq!(asked(address, &with_origin), StatusCode::FORBIDDEN, "{address}");
    }
    assert_eq!(asked("/takes", &[(site, "cross-site"), (mode, "navigate")]), StatusCode::OK);
    assert_eq!(asked("/takes.json", &[(site, "same-origin"), (mode, "cors")]), StatusCode::OK);
    assert_eq!(asked("/takes", &[(site, "none"), (mode, "navigate")]), StatusCode::OK);
    // Navigating is reading: a form of another site that posts navigates too.
    let form = with(
        here(Method::POST, "/links/end"),
        &[(site, "cross-site"), (mode, "navigate"), ("origin", "null")],
    );
    assert_eq!(bench.ask(form).status, StatusCode::FORBIDDEN);
}

#[test]
fn every_answer_bears_the_policy() {
    let bench = Bench::shared();
    let foreign = with(here(Method::GET, "/takes"), &[("host", "evil.example")]);
    let wrong_method = here(Method::DELETE, "/takes").body(Body::empty()).expect("a request");
    let mut answers: Vec<(String, Answer)> =
        vec![("foreign".into(), bench.ask(foreign)), ("method".into(), bench.ask(wrong_method))];
    let more = [
        "/",
        "/?link=wrong",
        "/no-such-page",
        "/compare?margin=x",
        "/takes.json",
        "/wave.json?take=none",
        "/web/page.css",
        "/web/page.js",
        "/web/none",
        "/findings.json",
        "/listen/clip?source=drum&mic=heron",
    ];
    for address in PAGES.iter().chain(&more) {
        answers.push(((*address).into(), bench.get(address)));
    }
    answers.push(("post".into(), bench.post("/log", "{")));
    for (what, answer) in answers {
        let header = |name: &str| {
            answer.headers.get(name).unwrap_or_else(|| panic!("{what}: {name}")).to_str().expect("text")
        };
        let policy = header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
            "form-action 'self'",
        ] {
            assert!(policy.contains(part), "{what}: {policy}");
        }
        assert!(
            !policy.contains("unsafe") && !policy.contains('*') && !policy.contains("http"),
            "{what}: {policy}"
        );
        assert_eq!(header("x-content-type-options"), "nosniff");
        assert_eq!(header("referrer-policy"), "no-referrer");
        assert_eq!(header("cross-origin-resource-policy"), "same-origin");
        assert_eq!(header("cache-control"), "no-store");
    }
    let report = bench.get("/report.html");
    assert_eq!(report.status, StatusCode::OK);
    let policy = report.headers["content-security-policy"].to_str().expect("text");
    assert!(
        policy.starts_with("default-src 'none'; style-src 'unsafe-inline'") && !policy.contains("script"),
        "{policy}"
    );
    assert!(policy.contains("frame-ancestors 'self'"), "{policy}");
}

/// What a page holds that the policy would not let run or show.
fn inline(page: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (i, tag) in page.split('<').skip(1).enumerate() {
        let (inside, behind) = tag.split_once('>').unwrap_or((tag, ""));
        let name = inside.split_whitespace().next().unwrap_or_default().to_ascii_lowercase();
        if name == "style" || (name == "script" && (!inside.contains(" src=\"/web/") || !behind.is_empty())) {
            found.push(format!("<{inside}>{behind}"));
        }
        // Names of attributes: what stands before `=`, outside of quotation marks.
        for outside in inside.split('"').step_by(2) {
            for word in outside.split_whitespace().filter_map(|w| w.strip_suffix('=')) {
                if word.eq_ignore_ascii_case("style") || word.to_ascii_lowercase().starts_with("on") {
                    found.push(format!("tag {i}: {inside}"));
                }
            }
        }
        if inside.to_ascii_lowercase().contains("javascript:") {
            found.push(format!("tag {i}: {inside}"));
        }
    }
    found
}

#[test]
fn no_page_holds_script_or_style() {
    assert_eq!(
        inline("<p id=\"on=\" class=\"style\">a</p><script type=\"module\" src=\"/web/page.js\"></script>"),
        [""; 0]
    );
    for bad in [
        "<p style=\"a\">",
        "<b onclick=\"a\">",
        "<script>a</script>",
        "<script src=\"/web/a.js\">a</script>",
        "<script src=\"//evil.example\"></script>",
        "<svg><style>a</style>",
        "<a href=\"javascript:a\">",
    ] {
        assert_eq!(inline(bad).len(), 1, "{bad}");
    }
    let bench = Bench::shared();
    // With a name that would break out if it could, a file that waits, and a log that is broken.
    bench.write_log(
        &LOG.replace("\"Heron 3\"", "\"<script>alert(1)</script><b onclick='x'\\\" onload=\\\"y\""),
    );
    std::fs::write(bench.at("takes/new.wav"), crate::desk::take(0.7)).expect("written");
    for address in PAGES {
        let page = bench.get(address);
        assert_eq!(page.status, StatusCode::OK, "{address}");
        assert_eq!(inline(&page.text()), [""; 0], "{address}");
        assert!(page.text().contains("src=\"/web/page.js\""), "{address}");
    }
    for address in ["/no-such-page", "/compare?margin=%3Cscript%3Ealert(1)%3C/script%3E"] {
        assert_eq!(inline(&bench.get(address).text()), [""; 0], "{address}");
    }
    // Part of a page, as data.
    let others =
        bench.get("/others?source=drum&reference=heron").json()["html"].as_str().expect("a part").to_string();
    assert!(others.contains("&lt;script"), "{others}");
    assert_eq!(inline(&others), [""; 0]);
    bench.write_log("title = <script>");
    for address in PAGES {
        assert_eq!(inline(&bench.get(address).text()), [""; 0], "{address}");
    }
    assert_eq!(bench.get("/takes").headers["content-type"], "text/html; charset=utf-8");
}
