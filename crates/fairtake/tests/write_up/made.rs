//! Small shootouts of made takes, and the program run on them.

use fairtake_files::wav::{Replace, StoreAs, WavSpec, WavWriter};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Sampling rate of what is made.
pub const RATE_HZ: u32 = 16_000;

pub struct Made {
    around: tempfile::TempDir,
}

impl Made {
    /// Microphones that heard the same hits, each a little louder than the one before, recorded together.
    pub fn new(title: &str, n_mics: usize, n_hits: usize) -> Made {
        let made = Made { around: tempfile::tempdir().expect("a temporary folder") };
        let takes = made.folder().join("takes");
        std::fs::create_dir_all(&takes).expect("made");
        let mut log = format!("title = {}\n\n[sources.drum]\nname = \"frame drum\"\n\n", toml(title));
        for mic in 1..=n_mics {
            log.push_str(&format!("[mics.bird-{mic}]\nname = \"Bird {mic}\"\n\n"));
        }
        for mic in 1..=n_mics {
            let file = format!("takes/drum-{mic}.wav");
            let gain = 1.0 + mic as f32 * 0.01;
            write(&made.folder().join(&file), &hits(n_hits).iter().map(|x| x * gain).collect::<Vec<_>>());
            log.push_str(&format!(
                "[[takes]]\nfile = \"{file}\"\nmic = \"bird-{mic}\"\nsource = \"drum\"\nplacement = 1\nperformance = 1\n\n"
            ));
        }
        std::fs::write(made.folder().join("shootout.toml"), log).expect("written");
        made
    }

    pub fn around(&self) -> &Path {
        self.around.path()
    }

    pub fn folder(&self) -> PathBuf {
        self.around.path().join("shootout")
    }

    /// Where the write-up is to be.
    pub fn target(&self) -> PathBuf {
        self.around.path().join("written")
    }

    /// `write-up` with few small pictures, unless other sizes are asked for.
    pub fn command(&self, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fairtake"));
        command.arg("write-up").arg(self.folder()).arg("--into").arg(self.target());
        if !more.contains(&"--sizes") {
            command.args(["--sizes", "700x700"]);
        }
        if !more.contains(&"--moments") {
            command.args(["--moments", "1"]);
        }
        command.args(more);
        command
    }

    pub fn write_up(&self, more: &[&str]) -> Output {
        self.command(more).output().expect("the program runs")
    }

    /// The same, done.
    pub fn written(&self, more: &[&str]) -> String {
        let out = self.write_up(more);
        let said = text(&out.stderr);
        assert_eq!(out.status.code(), Some(0), "{said}");
        assert_eq!(text(&out.stdout).trim(), self.target().to_str().expect("plain"));
        self.is_whole();
        said
    }

    /// Refused with these words and a hint, and nothing is left but what was there.
    pub fn refused(&self, out: &Output, said: &str) {
        let stderr = text(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{stderr}");
        assert!(
            stderr.contains("error: ") && stderr.contains("\nhint: ") && stderr.contains(said),
            "{stderr}"
        );
        assert!(out.stdout.is_empty() && !stderr.contains("panicked"), "{stderr}");
        for folder in [self.around().to_path_buf(), self.folder()] {
            let left = names(&folder)
                .into_iter()
                .find(|n| n.starts_with(".in-making") || n.starts_with(".replaced"));
            assert_eq!(left, None, "something half-written is left");
        }
    }

    /// The manifest lists every file, and nothing is left beside the folder.
    fn is_whole(&self) {
        let manifest = self.read("manifest.sha256");
        let listed: BTreeSet<String> =
            manifest.lines().filter_map(|l| l.split_once("  ")).map(|(_, name)| name.to_string()).collect();
        let mut there = files(&self.target());
        assert!(there.remove("manifest.sha256"));
        assert_eq!(listed, there);
        let beside = names(self.around());
        assert!(beside.iter().all(|n| ["shootout", "written", "bin"].contains(&n.as_str())), "{beside:?}");
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.target().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Names right in a folder.
pub fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("lists");
    entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect()
}

/// Every file below a folder.
pub fn files(folder: &Path) -> BTreeSet<String> {
    let mut out = BTreeSet::new();
    let mut waiting = vec![folder.to_path_buf()];
    while let Some(here) = waiting.pop() {
        for name in names(&here) {
            let path = here.join(&name);
            if path.is_dir() {
                waiting.push(path);
            } else {
                out.insert(path.strip_prefix(folder).expect("inside").to_string_lossy().into_owned());
            }
        }
    }
    out
}

fn toml(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", c as u32)),
            c => out.push(c),
        }
    }
    out + "\""
}

/// Noise bursts that die away, one a second after a second of near silence.
fn hits(n_hits: usize) -> Vec<f32> {
    let mut state = 7u64;
    // Knuth's MMIX generator; any would do.
    let mut noise = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1u64 << 23) as f32 - 1.0
    };
    let second = RATE_HZ as usize;
    let mut out: Vec<f32> = (0..second * (n_hits + 1)).map(|_| noise() * 1e-4).collect();
    for hit in 0..n_hits {
        let strength = 0.2 + 0.02 * (hit % 4) as f32;
        for i in 0..second / 2 {
            out[(hit + 1) * second + i] += strength * noise() * (-(i as f32) * 20.0 / RATE_HZ as f32).exp();
        }
    }
    out
}

pub fn write(path: &Path, samples: &[f32]) {
    let spec = WavSpec {
        rate_hz: RATE_HZ,
        n_channels: 1,
        store_as: StoreAs::Float32,
        bext: None,
        cue_markers: Vec::new(),
    };
    let mut writer = WavWriter::create(path, spec, Replace::Allowed).expect("creates");
    writer.write(samples).expect("writes");
    writer.finish().expect("finishes");
}
