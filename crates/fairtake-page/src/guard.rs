//! Who may ask: this machine, and whoever holds a link that was given out. Pages of other sites may not, though the browser
//! would carry their requests here.

use crate::desk::Desk;
use axum::body::Body;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::header::{self, HeaderValue};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};
use futures_util::StreamExt;
use futures_util::future::{Either, select};
use futures_util::stream;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::pin;
use tokio::sync::watch;

/// Name of the cookie that a link leaves, before the port: cookies know no ports, and two pages may be open.
const COOKIE: &str = "fairtake-link";
/// What a page may load and do: from here only, no script or style inside the page, no frame but our own report.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; \
                      connect-src 'self'; media-src 'self' blob:; frame-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";
/// The report is one file that holds its own style, and is shown in a frame.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; \
                             base-uri 'none'; frame-ancestors 'self'";
/// Files of a write-up hold their own style and fonts; whatever else they may hold does nothing.
const WRITTEN_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; font-src data:; \
                              media-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// What is said once a link has ended.
const ENDED: &str =
    "this link has ended; a new one is shown at the machine itself when the page is started again";
/// Goes on to the work by itself. No redirection: a browser that came from a message in another site would not send the
/// new cookie along with that.
const WELCOME: &str = "<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\"><title>Work page</title>\
                       <meta http-equiv=\"refresh\" content=\"0; url=/takes\"><link rel=\"icon\" href=\"data:,\"></head>\
                       <body><main><p><a href=\"/takes\">Open the work page</a></p></main></body></html>";

/// Under which names the page answers, and which link to it is alive.
#[derive(Debug)]
pub struct Access {
    hosts: Vec<String>,
    cookie: String,
    /// The token of the link; `None`: there is none, or no more.
    token: watch::Sender<Option<String>>,
}

/// Who asks.
enum Asks {
    /// This machine.
    Here,
    /// Somebody who opened the link.
    ByLink,
    /// Nobody who may: this is the answer.
    Answered(Response),
}

impl Access {
    /// This machine alone, at a port.
    pub fn loopback(port: u16) -> Access {
        let mut access =
            Access { hosts: Vec::new(), cookie: format!("{COOKIE}-{port}"), token: watch::Sender::new(None) };
        ["127.0.0.1", "localhost", "[::1]"].iter().for_each(|name| access.answer_as(name, port));
        access
    }

    /// This machine, and others at `address` who hold the link.
    pub fn shared(address: IpAddr, port: u16, token: String) -> Access {
        let mut access = Access::loopback(port);
        let name = match address {
            IpAddr::V4(ip) => ip.to_string(),
            IpAddr::V6(ip) => format!("[{ip}]"),
        };
        access.answer_as(&name, port);
        access.token.send_replace(Some(token));
        access
    }

    fn answer_as(&mut self, name: &str, port: u16) {
        self.hosts.push(format!("{name}:{port}"));
        // Browsers leave out the port that goes without saying.
        if port == 80 {
            self.hosts.push(name.into());
        }
    }

    /// Ends every link that was given out, with whatever is being sent by one; this machine goes on.
    pub fn end_links(&self) {
        self.token.send_replace(None);
    }

    /// True while a link is alive.
    pub fn has_link(&self) -> bool {
        self.token.borrow().is_some()
    }

    /// Comes when the links are ended.
    fn ended(&self) -> impl Future<Output = ()> + Send + use<> {
        let mut token = self.token.subscribe();
        // An error means that the desk itself is gone.
        async move { drop(token.wait_for(Option::is_none).await) }
    }

    fn holds(&self, given: &str) -> bool {
        let token = self.token.borrow();
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

    fn welcome(&self, token: &str) -> Response {
        let cookie = format!("{}={token}; Path=/; HttpOnly; SameSite=Strict", self.cookie);
        let mut response = Html(WELCOME).into_response();
        if let Ok(value) = HeaderValue::from_str(&cookie) {
            response.headers_mut().insert(header::SET_COOKIE, value);
        }
        response
    }

    fn token_of<'h>(&self, headers: &'h HeaderMap) -> Option<&'h str> {
        let all = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
        all.flat_map(|v| v.split(';'))
            .find_map(|pair| pair.trim().strip_prefix(self.cookie.as_str())?.strip_prefix('='))
    }
}

/// Lets through what may ask, and puts the policy on every answer.
pub(crate) async fn guard(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let asked = AskedFor::of(&request);
    let mut response = match who_asks(desk.access(), &request) {
        Asks::Here => next.run(request).await,
        Asks::ByLink => while_it_lives(desk.access(), request, next).await,
        Asks::Answered(answer) => answer,
    };
    put_policy(&mut response, asked);
    response
}

/// What the policy of an answer depends on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct AskedFor {
    /// What is under that address.
    holds: Holds,
    /// Under a name of this machine itself.
    is_loopback: bool,
}

/// What an address holds, as far as the policy goes.
#[derive(Debug, Clone, Copy)]
enum Holds {
    Page,
    /// The report, which holds its own style.
    Report,
    /// A file of a write-up.
    Written,
}

impl AskedFor {
    pub(crate) fn of(request: &Request) -> AskedFor {
        let holds = match request.uri().path() {
            "/report.html" => Holds::Report,
            path if path.starts_with("/written/") => Holds::Written,
            _ => Holds::Page,
        };
        AskedFor { holds, is_loopback: is_loopback_name(request.headers()) }
    }
}

/// Puts on an answer what its page may load and do, and that it is not kept.
pub(crate) fn put_policy(response: &mut Response, asked: AskedFor) {
    let headers = response.headers_mut();
    let policy = match asked.holds {
        Holds::Report => REPORT_POLICY,
        Holds::Written => WRITTEN_POLICY,
        Holds::Page => POLICY,
    };
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, policy),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // Browsers heed this one over https and from their own machine, and complain of it elsewhere.
    if asked.is_loopback {
        let name = header::HeaderName::from_static("cross-origin-opener-policy");
        headers.insert(name, HeaderValue::from_static("same-origin"));
    }
    // What a page shows is as it is now; nothing is taken from a cache that could be stale.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}

/// True where the page is asked for under a name of this machine itself.
fn is_loopback_name(headers: &HeaderMap) -> bool {
    let host = headers.get(header::HOST).and_then(|v| v.to_str().ok()).unwrap_or_default();
    ["127.0.0.1:", "localhost:", "[::1]:"].iter().any(|name| host.starts_with(name))
}

/// Answers a guest for as long as the link lives: a recording on its way in, a clip or the news on their way out break off
/// when it ends.
async fn while_it_lives(access: &Access, request: Request, next: Next) -> Response {
    let response = match select(pin!(access.ended()), pin!(next.run(request))).await {
        Either::Left(_) => return no(StatusCode::FORBIDDEN, ENDED),
        Either::Right((response, _)) => response,
    };
    let (parts, body) = response.into_parts();
    let sent = (body.into_data_stream(), Box::pin(access.ended()));
    let pieces = stream::unfold(Some(sent), |sent| async {
        let (mut pieces, mut ended) = sent?;
        match select(&mut ended, pieces.next()).await {
            // An error and no end, so that nobody takes a part for the whole.
            Either::Left(_) => Some((Err(io::Error::other(ENDED)), None)),
            Either::Right((piece, _)) => Some((piece?.map_err(io::Error::other), Some((pieces, ended)))),
        }
    });
    Response::from_parts(parts, Body::from_stream(pieces))
}

fn who_asks(access: &Access, request: &Request) -> Asks {
    let headers = request.headers();
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
    if !text(header::HOST).is_some_and(|host| access.is_host(host)) {
        return refused(StatusCode::MISDIRECTED_REQUEST, "this page does not answer under that name");
    }
    let safe = matches!(*request.method(), Method::GET | Method::HEAD);
    if let Some(token) = linked(request).filter(|_| safe) {
        // A link is opened by a person, from anywhere; it changes nothing but the cookie.
        return match access.holds(token) {
            true => Asks::Answered(access.welcome(token)),
            false => refused(StatusCode::FORBIDDEN, ENDED),
        };
    }
    let foreign_origin = headers.get(header::ORIGIN).is_some_and(|origin| {
        // One that cannot be read is foreign.
        !origin.to_str().is_ok_and(|origin| access.is_origin(origin))
    });
    let without_origin = !safe && !headers.contains_key(header::ORIGIN);
    let site = text(header::HeaderName::from_static("sec-fetch-site"));
    let navigates = text(header::HeaderName::from_static("sec-fetch-mode")) == Some("navigate");
    let foreign_site = site.is_some_and(|s| s != "same-origin" && s != "none") && !(safe && navigates);
    if foreign_origin || without_origin || foreign_site {
        return refused(StatusCode::FORBIDDEN, "the request comes from another site");
    }
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|c| c.0.ip());
    if peer.is_some_and(|ip| ip.to_canonical().is_loopback()) {
        return Asks::Here;
    }
    match access.token_of(headers) {
        Some(token) if access.holds(token) => Asks::ByLink,
        Some(_) => refused(StatusCode::FORBIDDEN, ENDED),
        None => refused(StatusCode::FORBIDDEN, "open the link that the machine shows"),
    }
}

/// The token of `/?link=TOKEN`.
fn linked(request: &Request) -> Option<&str> {
    let query = request.uri().query().filter(|_| request.uri().path() == "/")?;
    query.split('&').find_map(|pair| pair.strip_prefix("link="))
}

fn no(status: StatusCode, why: &'static str) -> Response {
    (status, why).into_response()
}

fn refused(status: StatusCode, why: &'static str) -> Asks {
    Asks::Answered(no(status, why))
}
