//! Letters: how they are shaped and how wide they are, where lines break, and what stands for a letter that the fonts lack.
//!
//! What is measured is what is set: both come from the same shaping. Widths are in letter heights (em).

use super::PdfError;
use crate::figure::font_files;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Face, ShapePlan, UnicodeBuffer, script, shape_with_plan};

/// Units that stay on the line of their number.
const UNITS: [&str; 11] = ["dB", "Hz", "kHz", "ms", "mm", "s", "%", "dBFS", "dBTP", "LUFS", "octaves"];

/// How heavy letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Semibold,
}

/// Both fonts, ready for shaping and for the document.
pub(super) struct Letters {
    cuts: [Cut; 2],
}

struct Cut {
    face: Face<'static>,
    plan: ShapePlan,
    font: Font,
    widest_digit: f32,
}

impl Cut {
    fn new(bytes: &'static [u8]) -> Option<Cut> {
        let face = Face::from_slice(bytes, 0)?;
        let plan = ShapePlan::new(&face, Direction::LeftToRight, Some(script::LATIN), None, &[]);
        let em = face.units_per_em() as f32;
        let digit = |c| face.glyph_hor_advance(face.glyph_index(c)?).map(f32::from);
        let widest_digit = ('0'..='9').filter_map(digit).fold(0.0, f32::max) / em;
        let font = Font::new(bytes.into(), 0)?;
        Some(Cut { face, plan, font, widest_digit })
    }
}

impl Letters {
    pub fn new() -> Result<Letters, PdfError> {
        let [regular, semibold] = font_files().map(Cut::new);
        Ok(Letters { cuts: [regular.ok_or(PdfError::Font)?, semibold.ok_or(PdfError::Font)?] })
    }

    pub fn font(&self, weight: Weight) -> Font {
        self.cuts[weight as usize].font.clone()
    }

    /// The glyphs of a line. `level`: digits all of one width, for numbers below each other.
    pub fn shaped(&self, text: &str, weight: Weight, level: bool) -> Vec<KrillaGlyph> {
        let cut = &self.cuts[weight as usize];
        let em = cut.face.units_per_em() as f32;
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.set_direction(Direction::LeftToRight);
        buffer.set_script(script::LATIN);
        let shaped = shape_with_plan(&cut.face, &cut.plan, buffer);
        let (infos, places) = (shaped.glyph_infos(), shaped.glyph_positions());
        let ends = |i: usize| {
            let start = infos[i].cluster;
            infos[i..].iter().map(|g| g.cluster).find(|c| *c != start).map_or(text.len(), |c| c as usize)
        };
        let mut out = Vec::with_capacity(infos.len());
        for (i, (info, place)) in infos.iter().zip(places).enumerate() {
            let range = info.cluster as usize..ends(i);
            let mut advance = place.x_advance as f32 / em;
            let mut offset = place.x_offset as f32 / em;
            if level {
                // Without kerning, which would move numbers against those above them.
                let glyph = rustybuzz::ttf_parser::GlyphId(info.glyph_id as u16);
                advance = cut.face.glyph_hor_advance(glyph).map_or(advance, |w| f32::from(w) / em);
            }
            if level && text[range.clone()].bytes().all(|b| b.is_ascii_digit()) {
                offset += (cut.widest_digit - advance) / 2.0;
                advance = cut.widest_digit;
            }
            let up = place.y_offset as f32 / em;
            out.push(KrillaGlyph::new(GlyphId::new(info.glyph_id), advance, offset, up, 0.0, range, None));
        }
        out
    }

    /// Width of a line.
    pub fn width(&self, text: &str, weight: Weight, level: bool) -> f32 {
        self.shaped(text, weight, level).iter().map(|g| g.x_advance).sum()
    }

    /// Width of the widest word.
    pub fn widest_word(&self, text: &str, weight: Weight) -> f32 {
        text.split(breaks).map(|word| self.width(word, weight, false)).fold(0.0, f32::max)
    }

    /// Breaks a text into lines at most `room` wide: between words, and within a word that is wider. A number keeps its
    /// unit. Every line but the last ends in a space where one was.
    pub fn lines(&self, text: &str, weight: Weight, room: f32) -> Vec<String> {
        let space = self.width(" ", weight, false);
        let mut lines: Vec<String> = Vec::new();
        let mut used = 0.0;
        for word in self.words(text, weight, room) {
            let width = self.width(&word, weight, false);
            match lines.last_mut() {
                Some(line) if used + space + width <= room => {
                    line.push(' ');
                    line.push_str(&word);
                    used += space + width;
                }
                last => {
                    if let Some(line) = last {
                        line.push(' ');
                    }
                    let mut parts = self.parts(&word, weight, room);
                    used = parts.last().map_or(0.0, |p| self.width(p, weight, false));
                    lines.append(&mut parts);
                }
            }
        }
        lines
    }

    /// Words, a unit together with its number.
    fn words(&self, text: &str, weight: Weight, room: f32) -> Vec<String> {
        let mut words: Vec<String> = Vec::new();
        for word in text.split(breaks).filter(|w| !w.is_empty()) {
            let bare = word.trim_matches(|c: char| ".,;:()".contains(c));
            if let Some(before) = words.last_mut().filter(|_| UNITS.contains(&bare)) {
                let joined = format!("{before} {word}");
                if before.ends_with(|c: char| c.is_ascii_digit())
                    && self.width(&joined, weight, false) <= room
                {
                    *before = joined;
                    continue;
                }
            }
            words.push(word.to_string());
        }
        words
    }

    /// A word in parts that are at most `room` wide, at least a letter each.
    fn parts(&self, word: &str, weight: Weight, room: f32) -> Vec<String> {
        if self.width(word, weight, false) <= room {
            return vec![word.to_string()];
        }
        let mut parts = vec![String::new()];
        let mut used = 0.0;
        for c in word.chars() {
            let width = self.width(c.encode_utf8(&mut [0; 4]), weight, false);
            let last = parts.last_mut().filter(|p| p.is_empty() || used + width <= room);
            match last {
                Some(part) => {
                    part.push(c);
                    used += width;
                }
                None => {
                    parts.push(c.to_string());
                    used = width;
                }
            }
        }
        parts
    }

    /// A text as it can be set with these fonts: white space is a space, and a letter that they lack, or one that steers
    /// other letters unseen, becomes its Unicode number in brackets, and is noted in `replaced`.
    pub fn settable(&self, text: &str, replaced: &mut Vec<char>) -> String {
        let mut visible = String::with_capacity(text.len());
        for c in text.chars() {
            if c.is_whitespace() {
                visible.push(if c == '\u{a0}' || c == '\u{202f}' { c } else { ' ' });
            } else if steers(c) {
                number(&mut visible, c, replaced);
            } else {
                visible.push(c);
            }
        }
        let lacking: Vec<std::ops::Range<usize>> = [Weight::Regular, Weight::Semibold]
            .iter()
            .flat_map(|w| self.shaped(&visible, *w, false))
            .filter(|g| g.glyph_id.to_u32() == 0)
            .map(|g| g.text_range)
            .collect();
        if lacking.is_empty() {
            return visible;
        }
        let mut out = String::with_capacity(visible.len() + 8);
        for (at, c) in visible.char_indices() {
            if lacking.iter().any(|r| r.contains(&at)) && !self.has(c) {
                number(&mut out, c, replaced);
            } else {
                out.push(c);
            }
        }
        out
    }

    fn has(&self, c: char) -> bool {
        self.cuts.iter().all(|cut| cut.face.glyph_index(c).is_some())
    }
}

fn number(out: &mut String, c: char, replaced: &mut Vec<char>) {
    out.push_str(&format!("[{:04X}]", u32::from(c)));
    if !replaced.contains(&c) {
        replaced.push(c);
    }
}

/// Where a line may break: white space, but for the spaces that join.
fn breaks(c: char) -> bool {
    c.is_whitespace() && c != '\u{a0}' && c != '\u{202f}'
}

/// Control and format characters: unseen themselves, they change others.
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e0fff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_lose_nothing_and_keep_units_with_numbers() {
        let letters = Letters::new().unwrap();
        let text = "The heron is louder by 3.4 dB (2.9 to 4.0) from 100 Hz to 2 kHz, and donaudampfschifffahrtsgesellschaft";
        for room in [4.0, 7.5, 12.0, 30.0] {
            let lines = letters.lines(text, Weight::Regular, room);
            for line in &lines {
                assert!(letters.width(line.trim_end(), Weight::Regular, false) <= room + 1e-4, "{line}");
                assert!(!line.starts_with("dB") && !line.starts_with("Hz"), "{line}");
            }
            assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
        }
    }

    #[test]
    fn digits_of_a_level_number_are_of_one_width() {
        let letters = Letters::new().unwrap();
        let width = |t, level| letters.width(t, Weight::Regular, level);
        assert_eq!(width("111.1", true), width("888.8", true));
        assert!(width("111.1", false) < width("888.8", false));
    }

    #[test]
    fn what_the_fonts_lack_is_said_by_number_and_what_composes_is_kept() {
        let letters = Letters::new().unwrap();
        let mut replaced = Vec::new();
        let said = letters.settable("a微b\u{202e}c\td\u{0}o\u{308}", &mut replaced);
        assert_eq!(said, "a[5FAE]b[202E]c d[0000]o\u{308}");
        assert_eq!(replaced, ['\u{202e}', '\u{0}', '微']);
        assert_eq!(letters.settable("Ж≠−Ω ✓", &mut Vec::new()), "Ж≠−Ω ✓");
    }
}
