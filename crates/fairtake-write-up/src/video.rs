//! A moving picture as a video file, by the `ffmpeg` of this machine.

use fairtake_report::figure::Moving;
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What a video is coded with: the names of encoders, of picture and sound, and the ending of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Maker {
    /// Coder of the picture.
    pub picture: &'static str,
    /// Coder of the sound.
    pub sound: &'static str,
    /// Ending of the file.
    pub ending: &'static str,
}

/// In the order in which they are taken: what most players play comes first.
const MAKERS: [Maker; 4] = [
    Maker { picture: "libx264", sound: "aac", ending: "mp4" },
    Maker { picture: "libvpx-vp9", sound: "libopus", ending: "webm" },
    Maker { picture: "libvpx", sound: "libvorbis", ending: "webm" },
    Maker { picture: "mpeg4", sound: "aac", ending: "mp4" },
];

/// The `ffmpeg` of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ffmpeg {
    program: PathBuf,
    maker: Maker,
}

impl Ffmpeg {
    /// Looks for it in the search path of the system.
    ///
    /// # Errors
    /// In words, why no video can be made here.
    pub fn find() -> Result<Ffmpeg, String> {
        Ffmpeg::at(Path::new("ffmpeg"))
    }

    /// Asks a program that is said to be it what it can code.
    fn at(program: &Path) -> Result<Ffmpeg, String> {
        let asked = Command::new(program)
            .args(["-hide_banner", "-loglevel", "error", "-encoders"])
            .stdin(Stdio::null())
            .output();
        let answer = match asked {
            Ok(answer) if answer.status.success() => answer.stdout,
            Ok(answer) => return Err(format!("ffmpeg does not run: {}", last_line(&answer.stderr))),
            Err(e) if e.kind() == ErrorKind::NotFound => {
                return Err("there is no ffmpeg on this machine".to_string());
            }
            Err(e) => return Err(format!("ffmpeg does not run: {e}")),
        };
        let answer = String::from_utf8_lossy(&answer).into_owned();
        // ` V....D libx264    words`: the coder is the second word of its line.
        let has = |name: &str| answer.lines().any(|l| l.split_whitespace().nth(1) == Some(name));
        let maker = MAKERS.into_iter().find(|m| has(m.picture) && has(m.sound));
        let maker =
            maker.ok_or("this ffmpeg has none of the coders that are used (H.264, VP9, VP8, MPEG-4)")?;
        Ok(Ffmpeg { program: program.into(), maker })
    }

    /// What it codes with.
    pub fn maker(&self) -> Maker {
        self.maker
    }

    /// Writes a video with sound. `tell` hears of every frame that is handed over.
    ///
    /// # Errors
    /// In words, what failed; whatever lies at `out` then is no video.
    pub(crate) fn make(
        &self,
        moving: &Moving,
        frames_per_second: f64,
        sound: &Path,
        out: &Path,
        tell: impl Fn(u32),
    ) -> Result<(), String> {
        let (width, height) = moving.size();
        // The prefix keeps a path with a colon from being taken for an address.
        let file = |path: &Path| {
            let mut name = std::ffi::OsString::from("file:");
            name.push(path);
            name
        };
        let mut child = Command::new(&self.program)
            .args(["-hide_banner", "-loglevel", "error", "-y", "-f", "rawvideo", "-pixel_format", "rgb24"])
            .args(["-video_size", &format!("{width}x{height}"), "-framerate", &frames_per_second.to_string()])
            .args(["-i", "pipe:0", "-i"])
            .arg(file(sound))
            .args(["-map", "0:v", "-map", "1:a", "-map_metadata", "-1", "-fflags", "+bitexact"])
            .args(["-vf", "scale=out_color_matrix=bt709:out_range=tv", "-pix_fmt", "yuv420p"])
            .args(["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"])
            .args(["-c:v", self.maker.picture, "-c:a", self.maker.sound, "-b:a", "192k"])
            .args(self.maker.settings())
            .arg(file(out))
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|e| format!("ffmpeg does not run: {e}"))?;
        let mut frames = child.stdin.take().ok_or("ffmpeg takes no frames")?;
        let mut says = child.stderr.take().ok_or("ffmpeg says nothing")?;
        // Heard beside the work: a program whose words nobody reads stands still.
        let heard = std::thread::spawn(move || {
            let mut words = Vec::new();
            let _ = says.read_to_end(&mut words);
            words
        });
        let handed_over = (0..moving.n_frames()).try_for_each(|k| {
            tell(k);
            frames.write_all(&moving.frame_pixels(k).unwrap_or_default())
        });
        drop(frames);
        let ended = child.wait().map_err(|e| format!("ffmpeg was lost: {e}"))?;
        let words = heard.join().unwrap_or_default();
        if !ended.success() {
            return Err(format!("ffmpeg failed ({ended}): {}", last_line(&words)));
        }
        handed_over.map_err(|e| format!("ffmpeg took no more frames: {e}"))?;
        match std::fs::metadata(out) {
            Ok(about) if about.len() > 0 => Ok(()),
            _ => Err("ffmpeg ended without a video".to_string()),
        }
    }
}

impl Maker {
    /// How fine and how fast it codes. Values: common practice, no source.
    fn settings(self) -> &'static [&'static str] {
        match self.picture {
            "libx264" => &["-preset", "veryfast", "-crf", "20", "-movflags", "+faststart"],
            "libvpx-vp9" => &["-crf", "32", "-b:v", "0", "-deadline", "realtime", "-cpu-used", "6"],
            "libvpx" => &["-crf", "10", "-b:v", "4M", "-deadline", "realtime", "-cpu-used", "6"],
            _ => &["-q:v", "3"],
        }
    }
}

fn last_line(words: &[u8]) -> String {
    let words = String::from_utf8_lossy(words);
    let line = words.lines().rev().find(|l| !l.trim().is_empty()).unwrap_or("it said nothing");
    line.trim().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    /// A program that stands in for it.
    fn stand_in(folder: &Path, script: &str) -> PathBuf {
        let path = folder.join("ffmpeg");
        std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).expect("written");
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).expect("may run");
        path
    }

    #[test]
    fn what_it_can_code_decides_and_what_is_missing_is_said() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let with = |script: &str| Ffmpeg::at(&stand_in(folder.path(), script));
        let both = "echo ' V....D libx264  H.264'; echo ' V..... libvpx-vp9 VP9'; echo ' A....D aac'; echo ' A.. libopus'";
        assert_eq!(with(both).expect("can").maker().ending, "mp4");
        assert_eq!(
            with("echo ' V..... libvpx-vp9 VP9'; echo ' A.. libopus'").expect("can").maker().ending,
            "webm"
        );
        assert!(
            with("echo ' V..... libx264rgb not the one'").expect_err("cannot").contains("none of the coders")
        );
        assert!(with("echo broken >&2; exit 3").expect_err("cannot").contains("broken"));
        let none = Ffmpeg::at(&folder.path().join("nothing-here")).expect_err("is not there");
        assert_eq!(none, "there is no ffmpeg on this machine");
    }
}
