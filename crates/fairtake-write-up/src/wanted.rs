//! What a write-up shall hold.

use crate::Draw;
use fairtake_audition::Excerpt;
use fairtake_report::figure::{Decade, Letters, Still, Theme};

/// What a write-up shall hold beside report, words and data, which are always in it.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Pictures of each pair; the first is also shown step by step.
    pub pictures: Vec<Picture>,
    /// What is heard.
    pub reels: ReelsWanted,
    /// A moving picture of each pair, where it is wanted.
    pub moving: Option<MovingPicture>,
    /// Licence under which sound and data are given away, in the user's words.
    pub licence: Option<String>,
}

/// A picture of each pair, and what its size is called in the names of files.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// `screen`, `square`, `upright`, or `1200x628`; `-large` behind it.
    pub name: String,
    /// Size, letters and colours.
    pub still: Still,
}

/// What reels are made of.
#[derive(Debug, Clone)]
pub struct ReelsWanted {
    /// What one piece holds.
    pub excerpt: Excerpt,
    /// Silence between two pieces, in seconds.
    pub gap_s: f64,
    /// No more moments than this.
    pub most_moments: usize,
    /// No moment is begun beyond this length, in seconds.
    pub most_s: f64,
    /// Also a reel with numbers in place of names, drawn with this.
    pub blind: Option<Draw>,
}

/// The corridor in motion.
#[derive(Debug, Clone)]
pub struct MovingPicture {
    /// Size, letters and colours. A video has no transparency and even sides.
    pub still: Still,
    /// Frames per second, 1 to 60.
    pub frames_per_second: f64,
    /// What is kept of it.
    pub keep: Keep,
}

/// What is kept of a moving picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// A video with sound; numbered frames where there is no `ffmpeg`, or where it fails.
    Video,
    /// Numbered frames and the sound.
    Frames,
    /// Both.
    Both,
}

/// Width and height in px, and letters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Size {
    /// As it was asked for.
    pub name: String,
    /// Width in px.
    pub width: u32,
    /// Height in px.
    pub height: u32,
    /// How large letters are beside the picture.
    pub letters: Letters,
}

impl Size {
    /// Reads `screen`, `square`, `upright` or `WIDTHxHEIGHT`, with `:large` behind it for large letters.
    ///
    /// # Errors
    /// In words, where it is none of them.
    pub fn parse(text: &str) -> Result<Size, String> {
        let (shape, letters) = match text.trim().split_once(':') {
            None => (text.trim(), Letters::Usual),
            Some((shape, "large")) => (shape, Letters::Large),
            Some((_, other)) => return Err(format!("after a colon only `large` is known, not `{other}`")),
        };
        let (width, height) = match shape {
            "screen" => (1920, 1080),
            "square" => (1080, 1080),
            "upright" => (1080, 1350),
            _ => {
                let sides =
                    shape.split_once(['x', '×']).and_then(|(w, h)| w.parse().ok().zip(h.parse().ok()));
                sides.ok_or("must be screen, square, upright or a size in px as 1200x628")?
            }
        };
        let large = if letters == Letters::Large { "-large" } else { "" };
        let size = Size { name: format!("{}{large}", shape.replace('×', "x")), width, height, letters };
        size.still(Theme::Light).letter_px().map_err(|e| e.to_string())?;
        Ok(size)
    }

    /// A picture of this size.
    pub fn still(&self, theme: Theme) -> Still {
        Still { width: self.width, height: self.height, letters: self.letters, theme, ..Still::SCREEN }
    }

    /// The same with its name.
    pub fn picture(&self, theme: Theme, transparent: bool, decade: Decade) -> Picture {
        Picture { name: self.name.clone(), still: Still { transparent, decade, ..self.still(theme) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_and_what_cannot_be_read_on_a_screen_is_refused() {
        let of = |text: &str| Size::parse(text).map(|s| (s.name, s.width, s.height, s.letters));
        assert_eq!(of("screen"), Ok(("screen".into(), 1920, 1080, Letters::Usual)));
        assert_eq!(of("upright:large"), Ok(("upright-large".into(), 1080, 1350, Letters::Large)));
        assert_eq!(of(" 1200×628 "), Ok(("1200x628".into(), 1200, 628, Letters::Usual)));
        for (text, said) in [
            ("30x30", "too small"),
            ("9000x100", "too large"),
            ("wide", "must be screen"),
            ("1200", "must be"),
            ("screen:huge", "only `large`"),
            ("-5x100", "must be"),
        ] {
            let why = of(text).expect_err("refused");
            assert!(why.contains(said), "{text}: {why}");
        }
    }
}
