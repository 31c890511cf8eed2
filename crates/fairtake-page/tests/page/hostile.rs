//! Whatever is sent: an answer in words, no failure of the program, no change of the log.

use crate::desk::{Bench, LOG, here};
use axum::body::Body;
use axum::http::{Method, StatusCode};
use serde_json::json;

const BADLY: [&str; 22] = [
    "/wave.json?take=takes/drum-heron-1.wav:1&columns=18446744073709551615",
    "/wave.json?take=takes/drum-heron-1.wav:1&columns=99999999999999999999999",
    "/wave.json?take=takes/drum-heron-1.wav:1&columns=0",
    "/wave.json?take=takes/drum-heron-1.wav:1&columns=NaN",
    "/listen?source=drum&moment=18446744073709551615",
    "/listen.json?source=none&moment=3",
    "/listen/clip?source=drum&mic=heron&moment=18446744073709551615",
    "/listen/clip?source=drum&mic=none",
    "/listen/clip?source=drum",
    "/listen/clip?source=&mic=",
    "/listen/difference?source=drum&reference=heron&against=heron",
    "/listen/difference?source=drum&reference=none&against=heron",
    "/listen/imposed?source=drum&reference=heron&against=moorhen&from_hz=NaN&to_hz=inf",
    "/listen/imposed?source=drum&reference=heron&against=moorhen&from_hz=-5&to_hz=-inf",
    "/listen/imposed?source=drum&reference=heron&against=moorhen&from_hz=5000&to_hz=50",
    "/listen/imposed?source=drum&reference=heron&against=moorhen&from_hz=0&to_hz=0",
    "/compare?source=none&reference=none&against=none",
    "/compare?reference=heron&against=heron",
    "/compare.json?from=NaN&to=inf",
    "/figure?from=-inf&to=NaN",
    "/others?source=%00&reference=%ff",
    "/takes?take=%00",
];

#[test]
fn strange_questions_get_an_answer() {
    let bench = Bench::new();
    for address in BADLY {
        let answer = bench.get(address);
        assert!(answer.status.as_u16() < 500, "{address}: {answer:?}");
        assert!(!answer.body.is_empty(), "{address}");
        // Nothing is made of what is no number.
        if address.contains("from_hz") || address.contains("columns=NaN") {
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{address}");
        }
    }
    let columns = bench.get(BADLY[0]).json()["columns"].as_array().expect("a list").len();
    assert_eq!(columns, 8000, "no more than any screen has");
    assert_eq!(bench.log(), LOG);
}

#[test]
fn strange_changes_are_refused_and_the_log_stays() {
    let bench = Bench::new();
    let take = json!({"take": {"file": "takes/drum-heron-1.wav", "channel": 1}});
    let change = |place: &serde_json::Value, key: &str, to: serde_json::Value| {
        json!([{"place": place, "key": key, "was": null, "to": to}]).to_string()
    };
    let deep = format!(
        "[{{\"place\":\"top\",\"key\":\"title\",\"was\":null,\"to\":{}1{}}}]",
        "[".repeat(5000),
        "]".repeat(5000)
    );
    let nested = format!(
        "[{{\"place\":\"top\",\"key\":\"title\",\"was\":\"Frame drum, boathouse\",\"to\":{}1{}}}]",
        "[".repeat(100),
        "]".repeat(100)
    );
    let plan = json!({"plan": "drum"});
    let bodies = [
        String::new(), "null".into(), "{}".into(), "[[]]".into(), "[1]".into(), "\u{0}".into(), "{".repeat(10_000),
        deep, nested,
        "[{\"place\":\"top\",\"key\":\"margin_db\",\"was\":1.0,\"to\":1e999}]".into(),
        "[{\"place\":\"top\",\"key\":\"margin_db\",\"was\":1.0,\"to\":NaN}]".into(),
        json!([{"place": "top", "key": "margin_db", "was": 1.0, "to": -1}]).to_string(),
        json!([{"place": "top", "key": "margin_db", "was": 1.0, "to": "1"}]).to_string(),
        json!([{"place": "top", "key": "margin_db", "was": 1.0, "to": 18_446_744_073_709_551_615u64}]).to_string(),
        json!([{"place": "top", "key": "takes", "was": null, "to": null}]).to_string(),
        json!([{"place": "top", "key": "mics", "was": null, "to": null}]).to_string(),
        json!([{"place": "top", "key": "plans", "was": null, "to": null}]).to_string(),
        json!([{"place": "top", "key": null, "was": null, "to": null}]).to_string(),
        json!([{"place": "nowhere", "key": "a", "was": null, "to": 1}]).to_string(),
        json!([{"place": {"take": {"file": "takes/drum-heron-1.wav", "channel": 70000}}, "key": "mic", "was": null, "to": "heron"}]).to_string(),
        json!([{"place": {"take": {"file": "none.wav", "channel": 1}}, "key": "mic", "was": null, "to": "heron"}]).to_string(),
        json!([{"place": {"mic": "heron"}, "key": null, "was": null, "to": null}]).to_string(),
        json!([{"place": {"mic": "a]\n[x"}, "key": "name]\n[y", "was": null, "to": "z"}]).to_string(),
        json!([{"place": {"plan": "none"}, "key": "mics", "was": null, "to": ["heron"]}]).to_string(),
        change(&take, "events_s", json!([-1.0])),
        change(&take, "events_s", json!(["a"])),
        change(&take, "order", json!(-1)),
        change(&take, "order", json!(1.5)),
        change(&take, "gain_db", json!(1e300)),
        change(&take, "unknown", json!(1)),
        change(&take, "keep_although_unfair", json!("yes")),
        change(&plan, "placements", json!(4_000_000_000u32)),
        change(&plan, "events", json!(4_000_000_000u32)),
        json!([{"place": plan, "key": "mics", "was": ["heron", "moorhen"], "to": vec!["heron"; 1000]}]).to_string(),
    ];
    for body in bodies {
        let answer = bench.post("/log", body.clone());
        let short = body.chars().take(120).collect::<String>();
        assert!(matches!(answer.status.as_u16(), 400 | 409 | 422), "{short}: {answer:?}");
        assert!(!answer.json()["what"].as_str().expect("words").is_empty(), "{short}");
        assert_eq!(bench.log(), LOG, "{short}");
    }
    let others = [
        ("/mics", "{}"),
        ("/mics", r#"{"name":""}"#),
        ("/mics", r#"{"name":7}"#),
        ("/mics", r#"{"name":"  "}"#),
        ("/sources", "[]"),
        ("/takes/assign", "{}"),
        (
            "/takes/assign",
            r#"[{"file":"takes/drum-heron-1.wav","channel":0,"mic":"heron","source":"drum","placement":1,"performance":1}]"#,
        ),
        (
            "/takes/assign",
            r#"[{"file":"takes/drum-heron-1.wav","channel":2,"mic":"heron","source":"drum","placement":1,"performance":1}]"#,
        ),
        (
            "/takes/assign",
            r#"[{"file":"takes/drum-heron-1.wav","channel":1,"mic":"heron","source":"drum","placement":1,"performance":1}]"#,
        ),
        (
            "/takes/assign",
            r#"[{"file":"takes/drum-heron-1.wav","channel":-1,"mic":"","source":"","placement":-1,"performance":99999999999}]"#,
        ),
        (
            "/takes/cut",
            r#"{"file":"takes/drum-heron-1.wav","source":"drum","at":{"by":"gaps","gap_s":-1,"quiet_dbfs":5},"mics":["a"]}"#,
        ),
        (
            "/takes/cut",
            r#"{"file":"takes/drum-heron-1.wav","source":"drum","at":{"by":"list","text":"99:99:99 a\n-1 b"},"mics":["a","b"]}"#,
        ),
        ("/takes/parts", r#"{"file":"takes/drum-heron-1.wav","source":"drum","at":{"by":"markers"}}"#),
        ("/takes/parts", "7"),
        ("/write-up/report", "7"),
        ("/write-up/report", r#"{"replace":1}"#),
        ("/write-up/everything", "7"),
        ("/write-up/everything", r#"{"sizes":["screen"],"into":"/tmp/elsewhere"}"#),
        (
            "/write-up/everything",
            r#"{"sizes":["9000x9000"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":0.5,"moments":4,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"10","gap_s":0.5,"moments":4,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":-1,"moments":4,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":1e300,"moments":4,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":0.5,"moments":0,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":0.5,"moments":1e9,"frame_rate":25,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/everything",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"passage","blind":false,"decade":"fits","gap_s":0.5,"moments":4,"frame_rate":0,"moving":null,"moving_size":"screen","licence":""}"#,
        ),
        (
            "/write-up/sizes",
            r#"{"sizes":["screen"],"colours":"light","transparent":false,"pieces":"1e9","blind":false,"decade":"fits","gap_s":0.5,"moments":4,"frame_rate":25,"moving":"video","moving_size":"screen","licence":""}"#,
        ),
    ];
    for (address, body) in others {
        let answer = bench.post(address, body);
        assert!(matches!(answer.status.as_u16(), 400 | 404 | 409 | 422), "{address} {body}: {answer:?}");
        assert!(!answer.json()["what"].as_str().expect("words").is_empty(), "{address} {body}");
        assert_eq!(bench.log(), LOG, "{address} {body}");
    }
    assert_eq!(bench.names("takes").len(), 2);
}

#[test]
fn what_is_too_much_or_of_another_kind_is_refused() {
    let bench = Bench::new();
    for address in
        ["/log", "/mics", "/sources", "/takes/assign", "/measure/assign", "/takes/cut", "/write-up/report"]
    {
        let answer = bench.post(address, vec![b' '; 3 << 20]);
        assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE, "{address}");
        assert!(answer.json()["what"].is_string(), "{address}");
        let form = here(Method::POST, address).header("content-type", "application/x-www-form-urlencoded");
        let answer = bench.ask(form.body("a=1".into()).expect("a request"));
        assert_eq!(answer.status, StatusCode::UNSUPPORTED_MEDIA_TYPE, "{address}");
    }
    for method in ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "CONNECT", "BREW"] {
        for address in ["/takes", "/log", "/takes/files?name=a.wav", "/none"] {
            let method = Method::from_bytes(method.as_bytes()).expect("a method");
            let answer = bench.ask(here(method.clone(), address).body(Body::empty()).expect("a request"));
            assert!(matches!(answer.status.as_u16(), 404 | 405), "{method} {address}: {}", answer.status);
        }
    }
    let head = bench.ask(here(Method::HEAD, "/takes").body(Body::empty()).expect("a request"));
    assert_eq!((head.status, head.body.len()), (StatusCode::OK, 0));
    assert_eq!(bench.log(), LOG);
}
