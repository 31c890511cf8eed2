//! Who may ask: this machine, and whoever holds a link that was given out. Pages of other sites may not, though the browser
//! would carry their requests here.

use crate::desk::Desk;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{self, HeaderValue};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};

/// Name of the cookie that a link leaves.
const COOKIE: &str = "fairtake-link";
/// What a page may load and do: from here only, no script or style inside the page, no frame but our own report.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; \
                      connect-src 'self'; media-src 'self' blob:; frame-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";
/// The report is one file that holds its own style, and is shown in a frame.
const REPORT_POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'; base-uri 'none'";

/// Under which names the page answers, and which links to it are alive.
#[derive(Debug)]
pub struct Access {
    hosts: Vec<String>,
    token: Mutex<Option<String>>,
}

impl Access {
    /// This machine alone, at a port.
    pub fn loopback(port: u16) -> Access {
        let hosts = ["127.0.0.1", "localhost", "[::1]"].map(|name| format!("{name}:{port}")).to_vec();
        Access { hosts, token: Mutex::new(None) }
    }

    /// This machine, and others at `address` who hold the link.
    pub fn shared(address: IpAddr, port: u16, token: String) -> Access {
        let mut access = Access::loopback(port);
        access.hosts.push(SocketAddr::new(address, port).to_string());
        access.token = Mutex::new(Some(token));
        access
    }

    /// Ends every link that was given out; this machine goes on.
    pub fn end_links(&self) {
        *self.token.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// True while a link is alive.
    pub fn has_link(&self) -> bool {
        self.token.lock().unwrap_or_else(PoisonError::into_inner).is_some()
    }

    fn holds(&self, given: &str) -> bool {
        let token = self.token.lock().unwrap_or_else(PoisonError::into_inner);
        // Every byte is looked at, so that time tells nothing.
        token.as_ref().is_some_and(|token| {
            token.len() == given.len()
                && token.bytes().zip(given.bytes()).fold(0, |acc, (a, b)| acc | (a ^ b)) == 0
        })
    }

    fn is_host(&self, host: &str) -> bool {
        self.hosts.iter().any(|h| h.eq_ignore_ascii_case(host))
    }

    fn is_origin(&self, origin: &str) -> bool {
        origin.strip_prefix("http://").is_some_and(|host| self.is_host(host))
    }
}

/// Lets through what may ask, and puts the policy on every answer.
pub(crate) async fn guard(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let is_report = request.uri().path() == "/report.html";
    let mut response = match refused(desk.access(), &request) {
        Some(refusal) => refusal,
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let policy = if is_report { REPORT_POLICY } else { POLICY };
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, policy),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // What a page shows is as it is now; nothing is taken from a cache that could be stale.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// The answer to what may not ask, or to a link that is being opened.
fn refused(access: &Access, request: &Request) -> Option<Response> {
    let headers = request.headers();
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
    if !text(header::HOST).is_some_and(|host| access.is_host(host)) {
        return Some(no(StatusCode::MISDIRECTED_REQUEST, "this page does not answer under that name"));
    }
    if let Some(token) = linked(request) {
        // A link is opened by a person, from anywhere; it changes nothing but the cookie.
        return Some(match access.holds(token) {
            true => welcome(token),
            false => {
                no(StatusCode::FORBIDDEN, "this link has ended; ask for a new one at the machine itself")
            }
        });
    }
    let foreign_origin = text(header::ORIGIN).is_some_and(|origin| !access.is_origin(origin));
    let safe = matches!(*request.method(), Method::GET | Method::HEAD);
    let without_origin = !safe && text(header::ORIGIN).is_none();
    let site = text(header::HeaderName::from_static("sec-fetch-site"));
    let navigates = text(header::HeaderName::from_static("sec-fetch-mode")) == Some("navigate");
    let foreign_site = site.is_some_and(|s| s != "same-origin" && s != "none") && !(safe && navigates);
    if foreign_origin || without_origin || foreign_site {
        return Some(no(StatusCode::FORBIDDEN, "the request comes from another site"));
    }
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|c| c.0.ip());
    let here = peer.is_some_and(|ip| ip.to_canonical().is_loopback());
    if !here && !cookie(headers).is_some_and(|token| access.holds(token)) {
        return Some(no(StatusCode::FORBIDDEN, "open the link that the machine shows"));
    }
    None
}

/// The token of `/?link=TOKEN`.
fn linked(request: &Request) -> Option<&str> {
    let query = request.uri().query().filter(|_| request.uri().path() == "/")?;
    query.split('&').find_map(|pair| pair.strip_prefix("link="))
}

fn welcome(token: &str) -> Response {
    let cookie = format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict");
    let mut response = Redirect::to("/takes").into_response();
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
    all.flat_map(|v| v.split(';')).find_map(|pair| pair.trim().strip_prefix(COOKIE)?.strip_prefix('='))
}

fn no(status: StatusCode, why: &'static str) -> Response {
    (status, why).into_response()
}
