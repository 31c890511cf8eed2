//! The program with the page open, and requests to it over a socket.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

/// Far longer than anything here takes on a busy machine.
pub const PATIENCE: Duration = Duration::from_secs(120);
pub const LOG: &str = "# kept by hand\ntitle = \"boathouse\"\n\n[mics.moorhen]\nname = \"Moorhen 12\"\n\n[mics.heron]\n\
                   name = \"Heron 3\"\n\n[sources.drum]\nplaying = \"percussive\"\n\n\
                   [[takes]]\nfile = \"takes/a.wav\"\nmic = \"moorhen\"\nsource = \"drum\"\nperformance = 1\n\n\
                   [[takes]]\nfile = \"takes/b.wav\"\nmic = \"heron\"\nsource = \"drum\"\nperformance = 1\n";

pub fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_fairtake"))
}

pub fn run(args: &[&str]) -> Output {
    program().args(args).output().expect("the program runs")
}

/// Bursts that die away, two a second, as WAV with 16 bits.
pub fn wav(gain: f32) -> Vec<u8> {
    let mut state = 1u64;
    let samples: Vec<u8> = (0..72_000usize)
        .flat_map(|i| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let noise = (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0;
            let dies = if i < 8000 { 1e-4 } else { 0.5 * (-((i % 8000) as f32) / 800.0).exp() + 1e-4 };
            ((gain * noise * dies * 32_767.0) as i16).to_le_bytes()
        })
        .collect();
    [header(samples.len() as u32), samples].concat()
}

/// Of one channel at 16 kHz.
pub fn header(n_bytes: u32) -> Vec<u8> {
    let mut out = b"RIFF".to_vec();
    out.extend((36 + n_bytes).to_le_bytes());
    out.extend(b"WAVEfmt ");
    for (value, n) in [(16u32, 4), (1, 2), (1, 2), (16_000, 4), (32_000, 4), (2, 2), (16, 2)] {
        out.extend(&value.to_le_bytes()[..n]);
    }
    out.extend(b"data");
    out.extend(n_bytes.to_le_bytes());
    out
}

pub fn shootout() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    std::fs::create_dir(folder.path().join("takes")).expect("made");
    std::fs::write(folder.path().join("shootout.toml"), LOG).expect("written");
    std::fs::write(folder.path().join("takes/a.wav"), wav(1.0)).expect("written");
    std::fs::write(folder.path().join("takes/b.wav"), wav(0.5)).expect("written");
    folder
}

pub fn log(folder: &Path) -> String {
    std::fs::read_to_string(folder.join("shootout.toml")).expect("the log")
}

/// The program with the page open; ended when dropped.
pub struct Page {
    pub child: Child,
    pub links: Vec<String>,
    pub talk: BufReader<std::process::ChildStderr>,
}

impl Drop for Page {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

impl Page {
    pub fn open(folder: &Path, more: &[&str]) -> Page {
        let mut command = program();
        command.arg("open").arg(folder).args(more);
        Page::begin(command)
    }

    pub fn begin(mut command: Command) -> Page {
        let command = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program runs");
        let mut talk = BufReader::new(child.stderr.take().expect("piped"));
        let mut said = String::new();
        while !said.contains("Ctrl-C ends it") {
            assert!(talk.read_line(&mut said).expect("text") > 0, "{said}");
        }
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        let mut links = Vec::new();
        for _ in 0..if said.contains("second link") { 2 } else { 1 } {
            let mut line = String::new();
            out.read_line(&mut line).expect("text");
            links.push(line.trim().to_string());
        }
        Page { child, links, talk }
    }

    pub fn host(&self, link: usize) -> String {
        self.links[link].trim_start_matches("http://").split('/').next().expect("a host").to_string()
    }

    pub fn connect(&self, link: usize) -> TcpStream {
        let address: SocketAddr = self.host(link).parse().expect("an address");
        let stream = TcpStream::connect(address).expect("is served");
        stream.set_read_timeout(Some(PATIENCE)).expect("set");
        stream
    }

    pub fn ask(
        &self,
        link: usize,
        method: &str,
        path: &str,
        more: &str,
        body: &[u8],
    ) -> (u16, String, Vec<u8>) {
        let mut stream = self.connect(link);
        let host = self.host(link);
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nConnection: close\r\n{more}Content-Length: {}\r\n\r\n",
            body.len()
        );
        stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body)).expect("sent");
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).expect("answered");
        let end = answer.windows(4).position(|w| w == b"\r\n\r\n").expect("a head");
        let head = String::from_utf8(answer[..end].to_vec()).expect("text");
        let status = head.split_whitespace().nth(1).and_then(|s| s.parse().ok()).expect("a status");
        (status, head, answer[end + 4..].to_vec())
    }

    pub fn get(&self, path: &str) -> (u16, String) {
        let (status, _, body) = self.ask(0, "GET", path, "", b"");
        (status, String::from_utf8(body).expect("text"))
    }

    pub fn post(&self, path: &str, body: &str) -> (u16, String) {
        let (status, _, body) =
            self.ask(0, "POST", path, "Content-Type: application/json\r\n", body.as_bytes());
        (status, String::from_utf8(body).expect("text"))
    }

    /// A line of `/proc/PID/…`, in the unit that stands there.
    pub fn of_system(&self, file: &str, key: &str) -> u64 {
        let text = std::fs::read_to_string(format!("/proc/{}/{file}", self.child.id())).expect("is told");
        let line = text.lines().find_map(|l| l.strip_prefix(key)).expect("is told");
        line.split_whitespace().next().and_then(|n| n.parse().ok()).expect("a number")
    }

    /// Opens the news, and reads until the first of them would come.
    pub fn news(&self, link: usize, cookie: &str) -> BufReader<TcpStream> {
        let mut stream = self.connect(link);
        let head = format!("GET /events HTTP/1.1\r\nHost: {}\r\n{cookie}\r\n", self.host(link));
        stream.write_all(head.as_bytes()).expect("sent");
        let mut stream = BufReader::new(stream);
        let mut line = String::new();
        stream.read_line(&mut line).expect("answered");
        assert!(line.starts_with("HTTP/1.1 200"), "{line}");
        while line != "\r\n" {
            line.clear();
            stream.read_line(&mut line).expect("a head");
        }
        stream
    }
}
