//! What `watch` says: one line each, as words or as JSON (docs/commands/watch.md).

use fairtake_compare::{CannotTell, CheckResult, Replaced, Standing};
use serde::Serialize;

/// One line.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub(crate) enum Line {
    /// Keep, or play again.
    Answer(Answer),
    /// How far off the last placement the microphone stands.
    Replaced(Moved),
    /// What is settled of a source, and what is not.
    Standing(Stands),
}

/// The answer to one file.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Answer {
    pub file: String,
    /// `keep` or `play again`.
    pub answer: &'static str,
    /// Why, or what is worth knowing; empty where there is nothing to say.
    pub words: String,
    /// Which hits it concerns, counted from 1.
    pub events: Vec<u32>,
    /// Whether the log lists the file now.
    pub logged: bool,
    /// What is not known of the file, and how to say it; `None` when all is known.
    pub question: Option<String>,
    pub takes: Vec<AnsweredTake>,
    pub checks: Vec<CheckResult>,
    /// From finding the file complete to this answer.
    pub seconds: f64,
}

/// One take of the file.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AnsweredTake {
    pub channel: u16,
    /// `None` when it is not known.
    pub mic: Option<String>,
    pub source: Option<String>,
    pub placement: Option<u32>,
    pub performance: Option<u32>,
    /// Events used.
    pub events_used: u32,
}

/// A microphone that was set up again.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Moved {
    pub mic: String,
    pub source: String,
    pub last_placement: u32,
    pub placement: u32,
    /// `None` when it cannot be told.
    pub estimate: Option<Replaced>,
    /// Why it cannot be told.
    pub cannot_tell: Option<CannotTell>,
    pub text: String,
}

/// Where a source stands.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Stands {
    pub source: String,
    /// True when every pair that this take belongs to is settled.
    pub settled: bool,
    pub pairs: Vec<Standing>,
    pub text: String,
}

impl Line {
    /// As words; the answer is set in bold, `play again` also in reverse, where that can be shown.
    pub(crate) fn shown(&self, on_terminal: bool) -> String {
        match self {
            Line::Answer(a) => a.shown(on_terminal),
            Line::Replaced(m) => format!("  {}: {}", m.mic, m.text),
            Line::Standing(s) => format!("  {}: {}", s.source, s.text),
        }
    }
}

impl Answer {
    fn shown(&self, on_terminal: bool) -> String {
        let mut said = self.answer.to_string();
        for more in
            [Some(&self.words), self.question.as_ref()].into_iter().flatten().filter(|w| !w.is_empty())
        {
            said.push_str(if said == self.answer { ": " } else { "; " });
            said.push_str(more);
        }
        let about = if self.answer == PLAY_AGAIN && self.logged { ", stays in the log" } else { "" };
        let plain = format!("({}{about})", self.file);
        match (on_terminal, self.answer) {
            (false, _) => format!("{said}  {plain}"),
            (true, PLAY_AGAIN) => format!("\x1b[1;7m {said} \x1b[0m  {plain}"),
            (true, _) => format!("\x1b[1m{said}\x1b[0m  {plain}"),
        }
    }
}

/// The take is good.
pub(crate) const KEEP: &str = "keep";
/// It is not.
pub(crate) const PLAY_AGAIN: &str = "play again";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_answer_comes_first_and_only_a_terminal_gets_it_in_bold() {
        let made = |answer, words: &str, question: Option<&str>, logged| Answer {
            file: "takes/a.wav".into(),
            answer,
            words: words.into(),
            events: Vec::new(),
            logged,
            question: question.map(str::to_string),
            takes: Vec::new(),
            checks: Vec::new(),
            seconds: 0.1,
        };
        assert_eq!(made(KEEP, "", None, true).shown(false), "keep  (takes/a.wav)");
        assert_eq!(
            made(PLAY_AGAIN, "silence", None, false).shown(false),
            "play again: silence  (takes/a.wav)"
        );
        assert_eq!(
            made(KEEP, "lossy file", Some("which microphone?"), false).shown(false),
            "keep: lossy file; which microphone?  (takes/a.wav)"
        );
        assert_eq!(
            made(PLAY_AGAIN, "silence", None, true).shown(true),
            "\x1b[1;7m play again: silence \x1b[0m  (takes/a.wav, stays in the log)"
        );
    }
}
