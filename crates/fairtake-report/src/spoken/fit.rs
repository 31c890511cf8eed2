//! How much is said in the time there is: what must be said always is, what else fits follows by rank.

use super::Length;

/// Speaking rate in words a minute of somebody who reads to an audience. Common practice, no source.
pub const WORDS_PER_MINUTE: f64 = 150.0;

/// A text to be read aloud, and how long that takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Speech {
    /// Short sentences in paragraphs.
    pub text: String,
    /// Words as they are spoken: `2.1` counts as three.
    pub n_words: usize,
    /// Seconds at [`WORDS_PER_MINUTE`]. More than was asked for where what must be said takes longer.
    pub seconds: f64,
}

impl Speech {
    /// What stands in front of a text that takes longer than was asked for, in words; `None` where it does not.
    pub fn overrun(&self, asked: Length) -> Option<String> {
        // A sentence more or less is no matter to anybody who reads it aloud.
        (self.seconds > 1.1 * asked.seconds()).then(|| {
            format!(
                "about {:.0} s at {WORDS_PER_MINUTE} words a minute, where {:.0} were asked for: every difference of twice \
                 the margin or more is said, and what is undecided or unfair",
                self.seconds,
                asked.seconds()
            )
        })
    }
}

/// Whether a sentence can be left away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Need {
    /// Always said.
    Must,
    /// A difference, by rank from the largest: said while there is time, and counted where it is not.
    Difference(usize),
    /// Said where there is time, the lowest rank first.
    May(usize),
    /// Stands where differences that were not said are counted.
    Unsaid,
}

/// One sentence, or several that belong together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub text: String,
    pub need: Need,
    /// Begins a paragraph where something was said before.
    pub new_paragraph: bool,
}

/// Sentences in order.
#[derive(Debug, Default)]
pub(super) struct Pieces {
    list: Vec<Piece>,
    begins: bool,
}

impl Pieces {
    /// What follows begins a paragraph.
    pub(super) fn paragraph(&mut self) {
        self.begins = true;
    }

    pub(super) fn say(&mut self, need: Need, text: impl Into<String>) {
        let text = text.into();
        if text.is_empty() && need != Need::Unsaid {
            return;
        }
        self.list.push(Piece { text, need, new_paragraph: std::mem::take(&mut self.begins) });
    }

    pub(super) fn must(&mut self, text: impl Into<String>) {
        self.say(Need::Must, text);
    }

    /// Everything, for a text that is read and not spoken.
    pub(super) fn whole(self) -> String {
        let keep = vec![true; self.list.len()];
        joined(&self.list, &keep)
    }

    /// What fits into the time.
    pub(super) fn fitted(mut self, length: Length) -> Speech {
        let budget = (WORDS_PER_MINUTE * length.seconds() / 60.0) as usize;
        let n: Vec<usize> = self.list.iter().map(|p| n_spoken(&p.text)).collect();
        let mut keep: Vec<bool> =
            self.list.iter().map(|p| matches!(p.need, Need::Must | Need::Unsaid)).collect();
        let mut used: usize = n.iter().zip(&keep).filter(|(_, k)| **k).map(|(n, _)| n).sum();
        let rank = |need: Need| match need {
            Need::Difference(rank) => (0, rank),
            Need::May(rank) => (1, rank),
            Need::Must | Need::Unsaid => (2, 0),
        };
        let mut others: Vec<usize> = (0..keep.len()).filter(|i| !keep[*i]).collect();
        others.sort_by_key(|i| rank(self.list[*i].need));
        let mut more_differences = true;
        for i in others {
            let difference = matches!(self.list[i].need, Need::Difference(_));
            let fits = used + n[i] <= budget;
            if difference && !more_differences {
                continue;
            }
            if fits {
                keep[i] = true;
                used += n[i];
            } else if difference {
                // The next ones are smaller: none of them is said in place of a larger one.
                more_differences = false;
            }
        }
        count_unsaid(&mut self.list, &keep);
        let text = joined(&self.list, &keep);
        let n_words = n_spoken(&text);
        Speech { text, n_words, seconds: n_words as f64 * 60.0 / WORDS_PER_MINUTE }
    }
}

/// Writes into each place for it how many differences before it, back to the last such place, are not said.
fn count_unsaid(list: &mut [Piece], keep: &[bool]) {
    let mut unsaid = 0;
    for (piece, kept) in list.iter_mut().zip(keep) {
        match piece.need {
            Need::Difference(_) if !kept => unsaid += 1,
            Need::Unsaid => {
                piece.text = match std::mem::take(&mut unsaid) {
                    0 => String::new(),
                    1 => "One smaller difference is not said here.".to_string(),
                    n => format!("{n} smaller differences are not said here."),
                };
            }
            _ => {}
        }
    }
}

fn joined(list: &[Piece], keep: &[bool]) -> String {
    let mut out = String::new();
    let mut begins = false;
    for (piece, kept) in list.iter().zip(keep) {
        begins |= piece.new_paragraph;
        if !kept || piece.text.is_empty() {
            continue;
        }
        if !out.is_empty() {
            out.push_str(if begins { "\n\n" } else { " " });
        }
        begins = false;
        out.push_str(&piece.text);
    }
    out.push('\n');
    out
}

/// Words as they are spoken.
pub(super) fn n_spoken(text: &str) -> usize {
    text.split_whitespace().map(spoken_word).sum()
}

fn spoken_word(word: &str) -> usize {
    let bare = word.trim_matches(|c: char| !c.is_ascii_digit());
    if bare.is_empty() {
        return 1;
    }
    let (whole, decimals) = bare.split_once('.').unwrap_or((bare, ""));
    let point = if decimals.is_empty() { 0 } else { 1 + decimals.len() };
    whole.parse::<u64>().map_or(1, whole_number) + point
}

/// `237`: two hundred thirty seven.
fn whole_number(n: u64) -> usize {
    match n {
        0..=20 => 1,
        21..=99 => 1 + rest(n % 10),
        100..=999 => 2 + rest(n % 100),
        1000..=999_999 => whole_number(n / 1000) + 1 + rest(n % 1000),
        _ => n.to_string().len(),
    }
}

/// What is spoken after the hundreds or thousands.
fn rest(n: u64) -> usize {
    if n > 0 { whole_number(n) } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_counted_as_they_are_spoken() {
        // Counted by hand: from, two point one, to, seven point nine, kilohertz.
        assert_eq!(n_spoken("From 2.1 to 7.9 kilohertz,"), 9);
        assert_eq!((n_spoken("237"), n_spoken("48000"), n_spoken("90"), n_spoken("100")), (4, 3, 1, 2));
    }

    #[test]
    fn what_must_be_said_is_said_and_the_rest_fits() {
        let mut p = Pieces::default();
        p.must("Must.");
        for rank in [1, 0, 2] {
            p.say(Need::Difference(rank), format!("Rank {rank} {}.", "word ".repeat(60)));
        }
        p.say(Need::Unsaid, "");
        p.paragraph();
        p.say(Need::May(0), "May.");
        let said = p.fitted(Length::Minute);
        assert!(said.text.starts_with("Must. Rank 1") && said.text.contains("Rank 0"), "{}", said.text);
        assert!(
            !said.text.contains("Rank 2")
                && said.text.contains("One smaller difference is not said here.\n\nMay.")
        );
        assert!(said.seconds <= 66.0);
    }
}
