//! The letters of a standalone figure: the two fonts that travel with it, how wide a text is, which letters they lack.

use resvg::usvg::fontdb::Database;
use std::fmt::Write;
use std::sync::{Arc, OnceLock};
use ttf_parser::Face;

/// Name under which the fonts are asked for, as their own tables have it.
pub(super) const FAMILY: &str = "Inter";

pub(super) const REGULAR: &[u8] = include_bytes!("../../fonts/Inter-Regular.otf");
pub(super) const SEMIBOLD: &[u8] = include_bytes!("../../fonts/Inter-SemiBold.otf");

/// Width taken for a letter that the fonts lack, in letter heights: as wide as any.
const UNKNOWN_WIDTH: f64 = 1.0;

/// How heavy letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Semibold,
}

fn face(weight: Weight) -> Option<&'static Face<'static>> {
    static FACES: OnceLock<[Option<Face<'static>>; 2]> = OnceLock::new();
    let faces = FACES.get_or_init(|| [REGULAR, SEMIBOLD].map(|bytes| Face::parse(bytes, 0).ok()));
    faces[weight as usize].as_ref()
}

/// Width of a text in letter heights (em), without kerning.
pub(super) fn width(text: &str, weight: Weight) -> f64 {
    let Some(face) = face(weight) else { return text.chars().count() as f64 * UNKNOWN_WIDTH };
    let em = f64::from(face.units_per_em());
    let of = |c| face.glyph_index(c).and_then(|g| face.glyph_hor_advance(g)).map(|w| f64::from(w) / em);
    text.chars().map(|c| of(c).unwrap_or(UNKNOWN_WIDTH)).sum()
}

/// Whether both fonts have the letter.
pub(super) fn has(letter: char) -> bool {
    [Weight::Regular, Weight::Semibold]
        .iter()
        .all(|w| face(*w).is_some_and(|f| f.glyph_index(letter).is_some()))
}

/// A text as it can be drawn with these fonts alone: a letter that they lack becomes its Unicode number in brackets, and
/// is noted in `replaced`. Control characters, which show nothing, become blanks.
pub(super) fn drawable(text: &str, replaced: &mut Vec<char>) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_control() {
            out.push(' ');
        } else if has(c) {
            out.push(c);
        } else {
            let _ = write!(out, "[{:04X}]", u32::from(c));
            if !replaced.contains(&c) {
                replaced.push(c);
            }
        }
    }
    out
}

/// Shortens a text in its middle until it is at most `room` letter heights wide, so that names which begin alike stay
/// apart.
pub(super) fn shortened(text: &str, room: f64, weight: Weight) -> String {
    if width(text, weight) <= room {
        return text.to_string();
    }
    let letters: Vec<char> = text.chars().collect();
    for kept in (2..letters.len()).rev() {
        let (head, tail) = (kept.div_ceil(2), kept / 2);
        let short: String =
            letters[..head].iter().chain(&['…']).chain(&letters[letters.len() - tail..]).collect();
        if width(&short, weight) <= room {
            return short;
        }
    }
    "…".to_string()
}

/// Breaks a text between words into lines at most `room` letter heights wide; a longer word is shortened.
pub(super) fn wrapped(text: &str, room: f64, weight: Weight) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = shortened(word, room, weight);
        match lines.last_mut() {
            Some(line) if width(&format!("{line} {word}"), weight) <= room => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// The two fonts, for drawing on pixels.
pub(super) fn database() -> Arc<Database> {
    static DATABASE: OnceLock<Arc<Database>> = OnceLock::new();
    let made = DATABASE.get_or_init(|| {
        let mut database = Database::new();
        database.load_font_data(REGULAR.to_vec());
        database.load_font_data(SEMIBOLD.to_vec());
        Arc::new(database)
    });
    Arc::clone(made)
}

/// The two fonts as rules of a style sheet, whole, so that a figure asks nothing of a network.
pub(super) fn embedded() -> &'static str {
    static RULES: OnceLock<String> = OnceLock::new();
    RULES.get_or_init(|| {
        let rule = |bytes: &[u8], weight: u32| {
            format!(
                "@font-face {{ font-family: {FAMILY}; font-weight: {weight}; src: url(data:font/otf;base64,{}); }}\n",
                base64(bytes)
            )
        };
        rule(REGULAR, 400) + &rule(SEMIBOLD, 600)
    })
}

/// Bytes in letters, after RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for i in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * i) & 63) as usize];
            out.push(if i <= three.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_of_the_program_s_own_words_is_in_the_fonts() {
        for c in "AZaz09äöüßéñøłśčœÄÖÜ ±−²·≠≤≥=?%Ωµ→←↑↓…–—’“”ΑΩαωЖя".chars()
        {
            assert!(has(c), "{c} is not there");
        }
        assert!(!has('微') && !has('\u{1f3a4}'));
    }

    #[test]
    fn what_cannot_be_drawn_is_said_by_number() {
        let mut replaced = Vec::new();
        assert_eq!(drawable("a微b微", &mut replaced), "a[5FAE]b[5FAE]");
        assert_eq!(replaced, ['微']);
    }

    #[test]
    fn shortened_names_keep_both_ends_and_fit() {
        let (a, b) = ("the old boathouse moorhen", "the old boathouse heron");
        let short = |t| shortened(t, 6.0, Weight::Semibold);
        assert_ne!(short(a), short(b));
        assert!(width(&short(a), Weight::Semibold) <= 6.0 && short(a).contains('…'));
        let lines = wrapped("one two three four five six", 6.0, Weight::Regular);
        assert!(lines.len() > 1 && lines.iter().all(|l| width(l, Weight::Regular) <= 6.0));
        assert_eq!(lines.join(" "), "one two three four five six");
    }

    #[test]
    fn base64_is_that_of_rfc_4648_section_10() {
        for (plain, coded) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
