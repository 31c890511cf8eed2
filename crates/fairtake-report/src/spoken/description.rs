//! The text that goes with a reel, to be read: what was compared, what was found, and when what is heard.

use super::names::one_line;
use super::{About, Form, Length, pieces};
use crate::heard::Heard;
use fairtake_compare::Findings;

/// A place in a reel.
#[derive(Debug, Clone, PartialEq)]
pub struct Chapter {
    at_s: f64,
    name: String,
}

impl Chapter {
    /// `None` where the time is no time: below zero or not finite.
    pub fn new(at_s: f64, name: &str) -> Option<Chapter> {
        (at_s.is_finite() && at_s >= 0.0).then(|| Chapter { at_s, name: one_line(name) })
    }
}

/// The description; without chapters it says nothing of times.
pub fn description(findings: &Findings, heard: &[Heard], about: About, chapters: &[Chapter]) -> String {
    let mut out = String::new();
    if let Some(title) = findings.title.as_deref().map(one_line).filter(|t| !t.is_empty()) {
        out.push_str(&title);
        out.push_str("\n\n");
    }
    out.push_str(&pieces(findings, heard, about, Form::Written, Length::ThreeMinutes).whole());
    if !chapters.is_empty() {
        out.push_str("\nChapters\n");
        out.push_str(&times(chapters));
    }
    out
}

/// One line each, in order of time. The first is at zero, as players want it (common practice, no source).
fn times(chapters: &[Chapter]) -> String {
    let mut sorted: Vec<&Chapter> = chapters.iter().collect();
    sorted.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let long = sorted.last().is_some_and(|c| c.at_s >= 3600.0);
    let mut out = String::new();
    if sorted.first().is_some_and(|c| c.at_s >= 1.0) {
        out.push_str(&format!("{} start\n", clock(0.0, long)));
    }
    for c in sorted {
        out.push_str(&format!("{} {}\n", clock(c.at_s, long), c.name));
    }
    out
}

/// `2:05`, or `1:02:05` where one of the times is beyond an hour; whole seconds, never later than what begins there.
fn clock(at_s: f64, long: bool) -> String {
    let s = at_s as u64;
    if long {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    } else {
        format!("{}:{:02}", s / 60, s % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chapters_stand_in_order_and_begin_at_zero() {
        let list = [(125.9, "Heron 3"), (4.0, "Moorhen 12\nagain")]
            .map(|(s, n)| Chapter::new(s, n).expect("a time"));
        assert_eq!(times(&list), "0:00 start\n0:04 Moorhen 12 again\n2:05 Heron 3\n");
        assert_eq!(clock(3725.0, true), "1:02:05");
    }

    #[test]
    fn what_is_no_time_is_no_chapter() {
        assert!(Chapter::new(f64::NAN, "a").is_none() && Chapter::new(-1.0, "a").is_none());
    }
}
