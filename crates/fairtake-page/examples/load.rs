//! Many listeners at once: how long an answer takes until it is acknowledged, that is, committed to disk.
//!
//! usage: load [LISTENERS [SECONDS [EVERY_S]]]      1000 listeners for 60 s, each answering every 5 s, by default
//!
//! The hall runs in this process on a socket of this machine, the listeners too: both share its processors. Sounds are
//! fetched by one listener in ten at each trial, in two ranges.

use fairtake_files::{ListeningStore, NewTest, Rendered, Write};
use fairtake_listen::{Asked, Excerpt, Kind, Material, Paired, Plan};
use fairtake_page::{Limits, open_audience};
use std::error::Error;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

const TEST: &str = "loadtest";
const RATE_HZ: u32 = 48_000;

fn make(folder: &Path, n_trials: u32) -> Result<(), Box<dyn Error>> {
    let excerpt = |mic: &str, sound: u32| Excerpt {
        mic: mic.into(),
        placement: 1,
        performance: 1,
        sound,
        words: format!("hit {sound}"),
    };
    let excerpts: Vec<Excerpt> =
        ["moorhen", "heron"].iter().flat_map(|m| (0..8).map(move |s| excerpt(m, s))).collect();
    let rendered = (0..excerpts.len())
        .map(|k| {
            // Two seconds of a tone that dies away.
            let sample =
                |i: u32| 0.3 * (f64::from(i) * 0.03 * (k + 1) as f64).sin() * (-f64::from(i) / 3e4).exp();
            Rendered { rate_hz: RATE_HZ, samples: (0..2 * RATE_HZ).map(|i| sample(i) as f32).collect() }
        })
        .collect();
    let material =
        Material { source: "drum".into(), paired: Paired::SameSound, excerpts, has_equal_spectra: false };
    let mics = vec!["moorhen".into(), "heron".into()];
    let asked = Asked {
        kind: Kind::Which,
        mics,
        n_trials,
        n_control: 0,
        n_catch: 0,
        look_after: Vec::new(),
        n_sittings: None,
    };
    let test = NewTest {
        id: TEST.into(),
        made_s: 0,
        title: "Load".into(),
        plan: Plan::new(asked, material)?,
        about: "{}".into(),
        corrected: Vec::new(),
        excerpts: rendered,
        codes: Vec::new(),
    };
    Ok(ListeningStore::open(folder)?.write_and_wait(Write::Test(Box::new(test)))?)
}

/// One connection that is kept.
struct Browser {
    stream: TcpStream,
    host: SocketAddr,
}

impl Browser {
    async fn ask(&mut self, head: &str, body: &str) -> std::io::Result<(u16, Vec<u8>)> {
        let host = self.host;
        let length = body.len();
        let request = format!(
            "{head} HTTP/1.1\r\nhost: {host}\r\norigin: http://{host}\r\ncontent-type: application/json\r\ncontent-length: {length}\r\n"
        );
        let range = if head.contains(".wav") { "range: bytes=0-143999\r\n" } else { "" };
        self.stream.write_all(format!("{request}{range}\r\n{body}").as_bytes()).await?;
        let mut got = Vec::with_capacity(4096);
        let mut piece = vec![0u8; 1 << 16];
        loop {
            if let Some(end) = got.windows(4).position(|w| w == b"\r\n\r\n") {
                let head = String::from_utf8_lossy(&got[..end]).to_ascii_lowercase();
                let length = head
                    .lines()
                    .find_map(|l| l.strip_prefix("content-length: ")?.trim().parse::<usize>().ok());
                let total = end + 4 + length.unwrap_or(0);
                if got.len() >= total {
                    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
                    return Ok((status, got[end + 4..total].to_vec()));
                }
            }
            let n = self.stream.read(&mut piece).await?;
            if n == 0 {
                return Err(std::io::ErrorKind::UnexpectedEof.into());
            }
            got.extend_from_slice(&piece[..n]);
        }
    }
}

/// What one listener saw: times of answers, of sounds, and what failed.
#[derive(Default)]
struct Seen {
    answers: Vec<Duration>,
    sounds: Vec<Duration>,
    failed: Vec<String>,
}

async fn listens(
    host: SocketAddr,
    number: usize,
    of: usize,
    n_trials: u32,
    every: Duration,
    begun: Arc<tokio::sync::Barrier>,
) -> Seen {
    let mut seen = Seen::default();
    let all = async {
        let mut browser = Browser { stream: TcpStream::connect(host).await?, host };
        browser.stream.set_nodelay(true)?;
        let (status, body) = browser.ask(&format!("POST /t/{TEST}/begin"), "{}").await?;
        let text = String::from_utf8_lossy(&body).into_owned();
        let at = text.split('"').nth(3).unwrap_or_default().to_string();
        if status != 200 {
            seen.failed.push(format!("begin: {status} {text}"));
        }
        begun.wait().await;
        // People do not answer in step.
        tokio::time::sleep(every * number as u32 / of as u32).await;
        for trial in 0..n_trials {
            let next = tokio::time::Instant::now() + every;
            if number.is_multiple_of(10) {
                let (_, page) = browser.ask(&format!("GET {at}"), "").await?;
                let page = String::from_utf8_lossy(&page).into_owned();
                for name in page.split("data-sound=\"").skip(1).filter_map(|r| r.split('"').next()) {
                    let asked = Instant::now();
                    let (status, _) = browser.ask(&format!("GET {at}/sound/{name}.wav"), "").await?;
                    seen.sounds.push(asked.elapsed());
                    if status != 206 {
                        seen.failed.push(format!("sound: {status}"));
                    }
                }
            }
            let body = format!("{{\"trial\":{trial},\"given\":{{\"choice\":{}}}}}", trial % 2);
            let asked = Instant::now();
            let (status, body) = browser.ask(&format!("POST {at}/answer"), &body).await?;
            seen.answers.push(asked.elapsed());
            if status != 200 {
                seen.failed.push(format!("answer: {status} {}", String::from_utf8_lossy(&body)));
            }
            tokio::time::sleep_until(next).await;
        }
        Ok::<(), std::io::Error>(())
    };
    if let Err(e) = all.await {
        seen.failed.push(e.to_string());
    }
    seen
}

fn at(sorted: &[Duration], share: f64) -> f64 {
    let i = ((sorted.len() as f64 * share) as usize).min(sorted.len().saturating_sub(1));
    sorted.get(i).map_or(f64::NAN, |d| 1e3 * d.as_secs_f64())
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let n: usize = args.next().map_or(Ok(1000), |a| a.parse())?;
    let seconds: u32 = args.next().map_or(Ok(60), |a| a.parse())?;
    let every_s: f64 = args.next().map_or(Ok(5.0), |a| a.parse())?;
    let n_trials = ((f64::from(seconds) / every_s) as u32).clamp(1, 200);
    let folder = tempfile::tempdir()?;
    make(folder.path(), n_trials)?;
    let hall = open_audience(folder.path(), "127.0.0.1:0".parse()?, None, Limits::STANDARD)?;
    let host = hall.address();
    std::thread::spawn(move || hall.run());
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let all: Vec<Seen> = runtime.block_on(async {
        let begun = Arc::new(tokio::sync::Barrier::new(n));
        let every = Duration::from_secs_f64(every_s);
        let tasks: Vec<_> =
            (0..n).map(|i| tokio::spawn(listens(host, i, n, n_trials, every, begun.clone()))).collect();
        let mut all = Vec::new();
        for task in tasks {
            all.push(task.await.unwrap_or_default());
        }
        all
    });
    let failed: Vec<&String> = all.iter().flat_map(|s| &s.failed).collect();
    let mut answers: Vec<Duration> = all.iter().flat_map(|s| s.answers.iter().copied()).collect();
    let mut sounds: Vec<Duration> = all.iter().flat_map(|s| s.sounds.iter().copied()).collect();
    answers.sort();
    sounds.sort();
    println!("{n} listeners, an answer every {every_s} s each, {n_trials} trials; {} failed", failed.len());
    failed.iter().take(5).for_each(|f| println!("  failed: {f}"));
    for (what, times) in [("answers", &answers), ("sounds (half of 288 kB)", &sounds)] {
        println!(
            "{what}: {} · median {:.1} ms · 99th percentile {:.1} ms · longest {:.1} ms",
            times.len(),
            at(times, 0.5),
            at(times, 0.99),
            at(times, 1.0)
        );
    }
    let store = ListeningStore::open(folder.path())?;
    let kept: usize = store.sittings(TEST)?.iter().map(|s| s.answers.len()).sum();
    println!("kept in the file: {kept} of {} acknowledged", answers.len() - failed.len().min(answers.len()));
    Ok(())
}
