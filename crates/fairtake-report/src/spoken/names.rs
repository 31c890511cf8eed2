//! Names and other texts of the user inside a sentence: as given, but for what would break the sentence.

use fairtake_compare::{ComparisonFindings, Findings, Role, TakeEntry};

/// Longer names are said once, and then stood in for.
const LONGEST_REPEATED: usize = 40;

/// A text of the user on one line: line ends, other controls and marks that turn the direction of writing become spaces,
/// and what is written from right to left is set apart, so that it does not turn its neighbours round.
pub fn one_line(text: &str) -> String {
    let turns =
        |c: char| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    let plain: String = text.chars().map(|c| if turns(c) || breaks(c) { ' ' } else { c }).collect();
    let plain = plain.split_whitespace().collect::<Vec<_>>().join(" ");
    if plain.chars().any(right_to_left) { format!("\u{2068}{plain}\u{2069}") } else { plain }
}

/// Letters of scripts that are written from right to left.
fn right_to_left(c: char) -> bool {
    matches!(c, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{fefc}' | '\u{10800}'..='\u{10fff}'
        | '\u{1e800}'..='\u{1efff}')
}

/// The name of a microphone as it stands in a sentence. In quotes unless it can be told from the words around it; with its
/// key where another one has the same name.
pub fn mic(findings: &Findings, id: &str) -> String {
    let name =
        |m: &fairtake_compare::MicEntry| one_line(if m.name.trim().is_empty() { &m.id } else { &m.name });
    let own = findings.mics.iter().find(|m| m.id == id).map_or(one_line(id), name);
    let own = if own.is_empty() { one_line(id) } else { own };
    let shared = findings.mics.iter().filter(|m| name(m) == own).count() > 1;
    let own = if shared { format!("{own} ({})", one_line(id)) } else { own };
    let tells_itself = own.starts_with(|c: char| c.is_uppercase())
        && own.chars().all(|c| c.is_alphanumeric() || " -()/'’".contains(c));
    if tells_itself { own } else { format!("“{own}”") }
}

/// The name of a source; it stands at the end of a sentence.
pub fn source(findings: &Findings, id: &str) -> String {
    let named = findings.sources.iter().find(|s| s.id == id).map(|s| one_line(&s.name));
    named.filter(|n| !n.is_empty()).unwrap_or_else(|| one_line(id))
}

/// How the two microphones of a comparison are called in its sentences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pair {
    /// In full, for the first mention.
    pub full_reference: String,
    /// In full.
    pub full_against: String,
    /// Afterwards.
    pub reference: String,
    /// Afterwards.
    pub against: String,
}

/// Stands for the reference where its name is long.
const REFERENCE: &str = "the reference microphone";
/// Stands for the other one.
const OTHER: &str = "the other microphone";

impl Pair {
    /// Says which long name the stand-ins replace.
    pub(super) fn stands_for(&self) -> &'static str {
        match (self.against == OTHER, self.reference == REFERENCE) {
            (true, true) => {
                "The first is called the other microphone here, the second the reference microphone."
            }
            (true, false) => "The first is called the other microphone here.",
            _ => "The second is called the reference microphone here.",
        }
    }

    pub(super) fn of(findings: &Findings, c: &ComparisonFindings) -> Pair {
        let (full_reference, full_against) = (mic(findings, &c.reference), mic(findings, &c.against));
        let short = |name: &str, stand_in: &str| {
            if name.chars().count() > LONGEST_REPEATED { stand_in.to_string() } else { name.to_string() }
        };
        Pair {
            reference: short(&full_reference, REFERENCE),
            against: short(&full_against, OTHER),
            full_reference,
            full_against,
        }
    }
}

/// Takes that went, or should have gone, into a comparison; the witness's too.
pub(super) fn takes_of<'a>(
    findings: &'a Findings,
    c: &'a ComparisonFindings,
) -> impl Iterator<Item = &'a TakeEntry> {
    let serves = |t: &TakeEntry| t.mic == c.reference || t.mic == c.against || t.role == Role::Witness;
    findings.takes.iter().filter(move |t| t.source == c.source && serves(t))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_stays_on_its_line_and_does_not_turn_its_neighbours_round() {
        assert_eq!(one_line("two\nlines\u{202e}turned\u{2028}"), "two lines turned");
        assert_eq!(one_line("\u{5d0}\u{5d1} 12"), "\u{2068}\u{5d0}\u{5d1} 12\u{2069}");
        assert_eq!(one_line("🛶 \"Heron\""), "🛶 \"Heron\"");
    }
}
