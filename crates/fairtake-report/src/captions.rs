//! Captions: what plays when, for players of video and sound.

use std::fmt::Write;

/// A caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Caption {
    /// From when, in seconds.
    pub from_s: f64,
    /// Until when, in seconds.
    pub to_s: f64,
    /// The words; line breaks are kept, empty lines are not.
    pub text: String,
}

/// As WebVTT.
///
/// # Source
/// W3C WebVTT 1: `reference/13_subtitle_timestamps.csv`. Words are escaped, so that a name is never taken for markup, and
/// an arrow in them never for a time.
pub fn webvtt(captions: &[Caption]) -> String {
    let mut out = "WEBVTT\n".to_string();
    for c in captions {
        let text = lines(&c.text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        let _ = write!(out, "\n{} --> {}\n{text}\n", time(c.from_s, '.'), time(c.to_s, '.'));
    }
    out
}

/// As SubRip.
///
/// # Source
/// No standard: numbered cues, a comma before the milliseconds (`reference/13_subtitle_timestamps.csv`).
pub fn subrip(captions: &[Caption]) -> String {
    let mut out = String::new();
    for (i, c) in captions.iter().enumerate() {
        let text = lines(&c.text).replace("-->", "→");
        let _ = write!(
            out,
            "{}{}\n{} --> {}\n{text}\n",
            if i > 0 { "\n" } else { "" },
            i + 1,
            time(c.from_s, ','),
            time(c.to_s, ',')
        );
    }
    out
}

/// Lines that hold something; an empty one would end the caption.
fn lines(text: &str) -> String {
    let kept: Vec<String> = text
        .lines()
        .map(|l| l.chars().filter(|c| !c.is_control()).collect::<String>())
        .filter(|l| !l.trim().is_empty())
        .collect();
    if kept.is_empty() { "…".to_string() } else { kept.join("\n") }
}

/// `hh:mm:ss.ttt`, hours with as many digits as they need.
fn time(seconds: f64, point: char) -> String {
    let ms = (seconds.max(0.0) * 1000.0).round() as u64;
    let (s, ms) = (ms / 1000, ms % 1000);
    format!("{:02}:{:02}:{:02}{point}{ms:03}", s / 3600, s / 60 % 60, s % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_written_as_the_reference_has_them() {
        let table = include_str!("../../../reference/13_subtitle_timestamps.csv");
        let mut n = 0;
        for line in table.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())) {
            let (ms, rest) = line.split_once(',').expect("columns");
            let (vtt, rest) = rest.split_once(",\"").expect("columns");
            let srt = rest.split('"').next().expect("quoted");
            let seconds = ms.parse::<f64>().expect("a number") / 1000.0;
            assert_eq!((time(seconds, '.').as_str(), time(seconds, ',').as_str()), (vtt, srt));
            n += 1;
        }
        assert_eq!(n, 11);
    }

    #[test]
    fn names_stay_words_whatever_they_hold() {
        let hostile = Caption { from_s: 0.0, to_s: 1.5, text: "<b>A & B</b>\n\n00:00 --> 00:01\u{7}".into() };
        let vtt = webvtt(std::slice::from_ref(&hostile));
        assert_eq!(
            vtt,
            "WEBVTT\n\n00:00:00.000 --> 00:00:01.500\n&lt;b&gt;A &amp; B&lt;/b&gt;\n00:00 --&gt; 00:01\n"
        );
        let empty = Caption { from_s: 2.0, to_s: 3.0, text: "\n".into() };
        assert_eq!(
            subrip(&[hostile, empty]),
            "1\n00:00:00,000 --> 00:00:01,500\n<b>A & B</b>\n00:00 → 00:01\n\n2\n00:00:02,000 --> 00:00:03,000\n…\n"
        );
    }
}
