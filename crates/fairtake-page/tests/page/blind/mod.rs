//! Blind tests, as a listener and as an owner: requests are put to the routers.

mod attack;
mod corrected;
mod leaks;
mod refused;
mod sits;

use crate::desk::{Answer, Bench, runtime};
use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request};
use fairtake_files::{ListeningStore, StoredSitting};
use fairtake_page::{Door, Hall, Limits, audience};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::time::Duration;
use tower::ServiceExt;

pub const HALL: &str = "127.0.0.1:8090";
pub const SHOWN_AS: &str = "https://listen.boathouse.example";

/// Limits that no test reaches by accident.
pub const WIDE: Limits = Limits {
    body_bytes: 16 * 1024,
    body_time: Duration::from_millis(150),
    head_time: Duration::from_millis(300),
    connections: 64,
    of_sitting: (1e9, 1e9),
    begins: (1e9, 1e9),
    sittings: 1000,
};

/// A folder with a test, and the hall in which it is held.
pub struct Room {
    pub bench: Bench,
    pub hall: Router,
    pub test: String,
    pub codes: Vec<String>,
}

/// What a test asks, with the settings that most tests here share.
pub fn wanted(kind: &str, n_trials: u32) -> Value {
    json!({ "source": "drum", "kind": kind, "mics": ["heron", "moorhen"], "n_trials": n_trials, "seconds": 0.5, "title": "A drum" })
}

impl Room {
    pub fn with(wanted: &Value, limits: Limits) -> Room {
        Room::on(Bench::new(), wanted, limits)
    }

    pub fn on(bench: Bench, wanted: &Value, limits: Limits) -> Room {
        let made = bench.post("/blind/tests", wanted.to_string());
        assert_eq!(made.status, 200, "{}", made.text());
        let made = made.json();
        let codes = made["codes"].as_array().expect("codes").iter();
        let codes = codes.map(|c| c.as_str().expect("a code").to_string()).collect();
        let door = Door::new(HALL.parse().expect("an address"), Some(SHOWN_AS)).expect("a name");
        let hall = audience(Hall::new(bench.folder.path(), limits), door);
        Room { test: made["id"].as_str().expect("an id").to_string(), bench, hall, codes }
    }

    /// The program is started again: it remembers nothing.
    pub fn hall_again(&mut self) {
        let door = Door::new(HALL.parse().expect("an address"), Some(SHOWN_AS)).expect("a name");
        self.hall = audience(Hall::new(self.bench.folder.path(), WIDE), door);
    }

    pub fn new(kind: &str, n_trials: u32) -> Room {
        Room::with(&wanted(kind, n_trials), WIDE)
    }

    pub fn request(method: Method, address: &str) -> axum::http::request::Builder {
        let request = Request::builder().method(method.clone()).uri(address).header("host", HALL);
        if method == Method::GET { request } else { request.header("origin", format!("http://{HALL}")) }
    }

    pub fn ask(&self, request: Request<Body>) -> Answer {
        runtime().block_on(async {
            let answered = self.hall.clone().oneshot(request).await.expect("answers");
            let (parts, body) = answered.into_parts();
            let body = body.collect().await.expect("whole").to_bytes().to_vec();
            Answer { status: parts.status, headers: parts.headers, body }
        })
    }

    pub fn get(&self, address: &str) -> Answer {
        self.ask(Room::request(Method::GET, address).body(Body::empty()).expect("a request"))
    }

    pub fn post(&self, address: &str, body: &Value) -> Answer {
        let request = Room::request(Method::POST, address).header("content-type", "application/json");
        self.ask(request.body(body.to_string().into()).expect("a request"))
    }

    /// Begins a sitting, and returns its address.
    pub fn begin(&self) -> String {
        let begun = self.post(&format!("/t/{}/begin", self.test), &json!({ "listener": "Wren" }));
        assert_eq!(begun.status, 200, "{}", begun.text());
        begun.json()["at"].as_str().expect("an address").to_string()
    }

    /// What the owner's disk holds of a sitting, which nobody else sees.
    pub fn stored(&self, at: &str) -> StoredSitting {
        let store = ListeningStore::open(self.bench.folder.path()).expect("opened");
        store.sitting(at.trim_start_matches("/s/")).expect("there")
    }

    pub fn answer(&self, at: &str, trial: usize, given: Value) -> Answer {
        self.post(&format!("{at}/answer"), &json!({ "trial": trial, "given": given, "comment": "" }))
    }
}

/// The names of what is presented, in the order of a page.
pub fn names(page: &str) -> Vec<String> {
    page.split("data-sound=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().expect("a name").to_string())
        .collect()
}
