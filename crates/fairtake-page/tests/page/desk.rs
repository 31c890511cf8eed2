//! A small shootout on a desk, and requests to it.

use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, Method, Request, StatusCode};
use axum::response::Response;
use fairtake_files::wav::clip_bytes;
use fairtake_page::{Access, Desk, app};
use http_body_util::BodyExt;
use serde_json::Value;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::OnceLock;
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tower::ServiceExt;

pub const PORT: u16 = 8080;
pub const HERE: &str = "127.0.0.1:8080";
pub const SHARED: &str = "192.0.2.2:8080";
pub const TOKEN: &str = "0123456789abcdef0123456789abcdef";
const RATE_HZ: u32 = 16_000;

pub const LOG: &str = "# kept by hand\ntitle = \"Frame drum, boathouse\"\nmargin_db = 1.0\n\n[mics.heron]\nname = \"Heron 3\" # ours\n\
    pattern = \"cardioid\"\n\n[mics.moorhen]\nname = \"Moorhen 12\"\n\n[sources.drum]\nname = \"Frame drum\"\n\
    distance_mm = 80\n\n[plans.drum]\nmics = [\"heron\", \"moorhen\"]\nresolution_db = 1.5\n\n\
    [[takes]]\nfile = \"takes/drum-heron-1.wav\"\nmic = \"heron\"\nsource = \"drum\"\nperformance = 1\n\n\
    [[takes]]\nfile = \"takes/drum-moorhen-1.wav\"\nmic = \"moorhen\"\nsource = \"drum\"\nperformance = 1\n";

/// A folder with two takes that were recorded together, and the page on it.
pub struct Bench {
    pub folder: TempDir,
    pub desk: Desk,
}

/// An answer, read to its end.
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8(self.body.clone()).expect("text")
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    /// What a person reads: no tags, and letters instead of what stands for them.
    pub fn words(&self) -> String {
        let mut out = String::new();
        let text = self.text();
        for part in text.split('<') {
            out.push_str(part.split_once('>').map_or("", |(_, words)| words));
            out.push(' ');
        }
        for (written, meant) in [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&amp;", "&")] {
            out = out.replace(written, meant);
        }
        out
    }
}

impl Bench {
    pub fn new() -> Bench {
        Bench::of(&take(1.0), &take(0.5))
    }

    /// The same with a second microphone that hears the trebles less.
    pub fn unlike() -> Bench {
        Bench::of(&take(1.0), &clip_bytes(RATE_HZ, &dulled(&bursts(0.5))))
    }

    fn of(heron: &[u8], moorhen: &[u8]) -> Bench {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::create_dir(folder.path().join("takes")).expect("made");
        std::fs::write(folder.path().join("shootout.toml"), LOG).expect("written");
        std::fs::write(folder.path().join("takes/drum-heron-1.wav"), heron).expect("written");
        std::fs::write(folder.path().join("takes/drum-moorhen-1.wav"), moorhen).expect("written");
        let desk = Desk::open(folder.path(), Access::loopback(PORT)).expect("has a log");
        Bench { folder, desk }
    }

    /// The same, served in a room too.
    pub fn shared() -> Bench {
        let bench = Bench::new();
        let address = SHARED.parse::<SocketAddr>().expect("an address").ip();
        let access = Access::shared(address, PORT, TOKEN.into());
        Bench { desk: Desk::open(bench.folder.path(), access).expect("has a log"), folder: bench.folder }
    }

    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn log(&self) -> String {
        std::fs::read_to_string(self.at("shootout.toml")).expect("the log")
    }

    pub fn write_log(&self, text: &str) {
        std::fs::write(self.at("shootout.toml"), text).expect("written");
    }

    /// What lies in a folder, what is derived left out.
    pub fn names(&self, folder: &str) -> Vec<String> {
        let entries = std::fs::read_dir(self.at(folder)).expect("a folder");
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    pub fn get(&self, address: &str) -> Answer {
        self.ask(here(Method::GET, address).body(Body::empty()).expect("a request"))
    }

    pub fn post(&self, address: &str, body: impl Into<Body>) -> Answer {
        let request = here(Method::POST, address).header("content-type", "application/json");
        self.ask(request.body(body.into()).expect("a request"))
    }

    pub fn send(&self, name: &str, bytes: &[u8]) -> Answer {
        let address = format!("/takes/files?name={}", escaped(name));
        let request = here(Method::POST, &address).header("content-length", bytes.len());
        self.ask(request.body(bytes.to_vec().into()).expect("a request"))
    }

    pub fn ask(&self, request: Request<Body>) -> Answer {
        runtime().block_on(self.asked(request))
    }

    pub async fn asked(&self, request: Request<Body>) -> Answer {
        let (parts, body) = self.begun(request).await.into_parts();
        let body = body.collect().await.expect("an answer that comes whole").to_bytes().to_vec();
        Answer { status: parts.status, headers: parts.headers, body }
    }

    /// The answer as far as it has come.
    pub async fn begun(&self, request: Request<Body>) -> Response {
        app(self.desk.clone()).oneshot(request).await.expect("answers")
    }
}

/// A request of our own page on this machine.
pub fn here(method: Method, address: &str) -> axum::http::request::Builder {
    from("127.0.0.1:50000", HERE, method, address)
}

/// One of a guest in the room, who holds the link or not.
pub fn guest(method: Method, address: &str, cookie: Option<&str>) -> axum::http::request::Builder {
    let request = from("192.0.2.7:50000", SHARED, method, address);
    cookie.into_iter().fold(request, |request, cookie| request.header("cookie", cookie))
}

fn from(peer: &str, host: &str, method: Method, address: &str) -> axum::http::request::Builder {
    let peer: SocketAddr = peer.parse().expect("an address");
    let request = Request::builder().uri(address).header("host", host).extension(ConnectInfo(peer));
    let request =
        if method == Method::GET { request } else { request.header("origin", format!("http://{host}")) };
    request.method(method)
}

pub fn escaped(name: &str) -> String {
    name.bytes().map(|b| format!("%{b:02X}")).collect()
}

pub fn runtime() -> &'static Runtime {
    static RUNTIME: OnceLock<Runtime> = OnceLock::new();
    RUNTIME.get_or_init(|| Runtime::new().expect("a runtime"))
}

/// Eight bursts that die away, one every half second; at another gain the microphone is as if farther off.
pub fn take(gain: f32) -> Vec<u8> {
    clip_bytes(RATE_HZ, &bursts(gain))
}

/// The mean of each two neighbours: 3 dB less at a quarter of the sampling rate.
fn dulled(samples: &[f32]) -> Vec<f32> {
    let before = std::iter::once(&0.0).chain(samples);
    samples.iter().zip(before).map(|(x, before)| 0.5 * (x + before)).collect()
}

fn bursts(gain: f32) -> Vec<f32> {
    let mut state = 1u64;
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let half = RATE_HZ as usize / 2;
    (0..9 * half)
        .map(|i| {
            let x = noise();
            let dies = (-((i % half) as f32) / 800.0).exp();
            if i < half { x * 1e-5 } else { gain * x * (0.5 * dies + 1e-5) }
        })
        .collect()
}
