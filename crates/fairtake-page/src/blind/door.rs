//! Who may come to a hall from outside: whoever has the address, but no page of another site, and under our own names only.

use crate::guard::{AskedFor, put_policy};
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderValue};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::SocketAddr;

/// Under which names the hall answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Door {
    /// Host and port, as browsers send them.
    hosts: Vec<String>,
    /// Where our own pages come from.
    origins: Vec<String>,
}

impl Door {
    /// The hall at an address, and at the name under which a proxy shows it, such as `https://listen.example.org`.
    ///
    /// # Errors
    /// In words, where that is no such name.
    pub fn new(address: SocketAddr, shown_as: Option<&str>) -> Result<Door, String> {
        let mut door = Door { hosts: Vec::new(), origins: Vec::new() };
        door.answer_as("http", &address.to_string());
        if address.ip().is_loopback() {
            door.answer_as("http", &format!("localhost:{}", address.port()));
        }
        if let Some(name) = shown_as {
            let (scheme, host) = name.split_once("://").unwrap_or(("", name));
            let plain = |c: char| c.is_ascii_alphanumeric() || ".-:[]".contains(c);
            if !matches!(scheme, "http" | "https") || host.is_empty() || !host.chars().all(plain) {
                return Err(format!("{name} is no address like https://listen.example.org, without a path"));
            }
            door.answer_as(scheme, host);
        }
        Ok(door)
    }

    fn answer_as(&mut self, scheme: &str, host: &str) {
        self.hosts.push(host.to_ascii_lowercase());
        self.origins.push(format!("{scheme}://{host}").to_ascii_lowercase());
        // Browsers leave out the port that goes without saying.
        if let Some(name) = host.strip_suffix(if scheme == "https" { ":443" } else { ":80" }) {
            self.answer_as(scheme, name);
        }
    }

    fn refuses(&self, method: &Method, headers: &HeaderMap) -> Option<(StatusCode, &'static str)> {
        let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
        let is = |all: &[String], given: &str| all.iter().any(|a| a.eq_ignore_ascii_case(given));
        if !text(header::HOST).is_some_and(|host| is(&self.hosts, host)) {
            return Some((StatusCode::MISDIRECTED_REQUEST, "this page does not answer under that name"));
        }
        let safe = matches!(*method, Method::GET | Method::HEAD);
        let foreign = match headers.get(header::ORIGIN) {
            // One that cannot be read is foreign.
            Some(origin) => !origin.to_str().is_ok_and(|origin| is(&self.origins, origin)),
            None => !safe,
        };
        let site = text(header::HeaderName::from_static("sec-fetch-site"));
        let navigates = text(header::HeaderName::from_static("sec-fetch-mode")) == Some("navigate");
        let foreign_site = site.is_some_and(|s| s != "same-origin" && s != "none") && !(safe && navigates);
        (foreign || foreign_site).then_some((StatusCode::FORBIDDEN, "the request comes from another site"))
    }
}

/// Lets through what may come, and puts the policy on every answer.
pub(super) async fn stand(State(door): State<Door>, request: Request, next: Next) -> Response {
    let asked = AskedFor::of(&request);
    let mut response = match door.refuses(request.method(), request.headers()) {
        Some(refused) => refused.into_response(),
        None => next.run(request).await,
    };
    put_policy(&mut response, asked);
    response
}
