//! A corridor as a picture that stands alone: SVG with its colours and fonts inside, or PNG.

use super::sheet::{LETTER, Sheet};
use super::svg::definitions;
use super::{Corridor, Decade, FigureError, Shown, Step, Theme, font, theme};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// Said where letters were replaced.
pub(super) const IN_BRACKETS: &str =
    "In brackets: Unicode numbers of letters that this picture's font lacks.";

/// How large letters are beside the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Letters {
    /// For page, print and screen.
    Usual,
    /// To be read on a telephone: with fewer words.
    Large,
}

impl Letters {
    /// Least width and height of a sheet in letters.
    fn least(self) -> (f64, f64) {
        match self {
            Letters::Usual => (50.0, 48.0),
            Letters::Large => (27.0, 27.0),
        }
    }
}

/// What picture is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Still {
    /// Width in px.
    pub width: u32,
    /// Height in px.
    pub height: u32,
    /// Size of letters.
    pub letters: Letters,
    /// Colours.
    pub theme: Theme,
    /// Without a ground behind the figure; the theme still says for which ground its colours are.
    pub transparent: bool,
    /// Decibels on the level axes that are as long as a decade of frequency.
    pub decade: Decade,
    /// How much is shown.
    pub step: Step,
}

impl Still {
    /// A screen of 1920 × 1080 px, light, everything shown.
    pub const SCREEN: Still = Still {
        width: 1920,
        height: 1080,
        letters: Letters::Usual,
        theme: Theme::Light,
        transparent: false,
        decade: Decade::Fitting,
        step: Step::Verdicts,
    };

    /// Greatest side in px.
    pub const LONGEST_PX: u32 = 8192;

    /// Height of a letter below which nothing can be read, in px.
    pub(super) const LEAST_LETTER_PX: f64 = 7.0;

    /// Height of a letter in px.
    ///
    /// # Errors
    /// [`FigureError::TooSmall`] or [`FigureError::TooLarge`].
    pub fn letter_px(&self) -> Result<f64, FigureError> {
        let asked = (self.width, self.height);
        let (columns, rows) = self.letters.least();
        if self.width.max(self.height) > Still::LONGEST_PX {
            return Err(FigureError::TooLarge { asked, most: (Still::LONGEST_PX, Still::LONGEST_PX) });
        }
        let letter = (f64::from(self.width) / columns).min(f64::from(self.height) / rows);
        if letter < Still::LEAST_LETTER_PX {
            let least = |n: f64| (n * Still::LEAST_LETTER_PX).ceil() as u32;
            return Err(FigureError::TooSmall { asked, least: (least(columns), least(rows)) });
        }
        Ok(letter)
    }
}

/// A PNG, and what could not be drawn as it is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Png {
    /// The file.
    pub bytes: Vec<u8>,
    /// Letters that the figure's fonts lack; each stands in the picture as its Unicode number in brackets, which the
    /// picture says.
    pub replaced: Vec<char>,
}

/// A corridor laid out for one picture, with the texts that can be drawn.
pub(super) struct Laid {
    pub corridor: Corridor,
    pub sheet: Sheet,
    still: Still,
    /// Px of one unit of the sheet.
    pub scale: f64,
    pub replaced: Vec<char>,
}

impl Laid {
    /// For a viewer that has fonts of its own.
    fn for_viewer(corridor: &Corridor, still: &Still) -> Result<Laid, FigureError> {
        Laid::new(corridor.clone(), still, Vec::new())
    }

    /// For pixels, with the fonts of the figure alone.
    pub fn for_pixels(corridor: &Corridor, still: &Still) -> Result<Laid, FigureError> {
        let mut replaced = Vec::new();
        let mut corridor = corridor.clone();
        for name in [&mut corridor.reference.name, &mut corridor.against.name] {
            *name = font::drawable(name, &mut replaced);
        }
        for text in [&mut corridor.title, &mut corridor.source].into_iter().flatten() {
            *text = font::drawable(text, &mut replaced);
        }
        Laid::new(corridor, still, replaced)
    }

    fn new(corridor: Corridor, still: &Still, replaced: Vec<char>) -> Result<Laid, FigureError> {
        let scale = still.letter_px()? / LETTER;
        let size = (f64::from(still.width) / scale, f64::from(still.height) / scale);
        let note = (!replaced.is_empty()).then_some(IN_BRACKETS);
        let sheet = Sheet::new(&corridor, size, still.letters == Letters::Large, still.decade, note);
        if !sheet.can_be_read() {
            return Err(FigureError::NoRoom { asked: (still.width, still.height) });
        }
        Ok(Laid { corridor, sheet, still: *still, scale, replaced })
    }

    /// The SVG. `fonts`: rules that embed them, or nothing; `lit`: with light behind the strip.
    pub fn svg(&self, shown: Shown, fonts: &str, lit: bool) -> String {
        self.document(shown).svg(fonts, lit)
    }

    /// The pixels.
    pub fn pixels(&self, shown: Shown, lit: bool) -> Result<Pixmap, FigureError> {
        self.document(shown).pixels(lit)
    }

    fn document(&self, shown: Shown) -> Document {
        Document {
            still: self.still,
            scale: self.scale,
            description: super::canvas::escaped(&self.corridor.description),
            body: self.sheet.draw(&self.corridor, shown),
        }
    }
}

/// A drawing that stands alone.
pub(super) struct Document {
    pub still: Still,
    /// Px of one unit of the drawing.
    pub scale: f64,
    /// What is shown, as an attribute has it.
    pub description: String,
    pub body: String,
}

impl Document {
    /// The SVG. `fonts`: rules that embed them, or nothing; `lit`: with light behind the strip.
    pub fn svg(&self, fonts: &str, lit: bool) -> String {
        let Still { width, height, theme, transparent, .. } = self.still;
        let (unit_width, unit_height) = (f64::from(width) / self.scale, f64::from(height) / self.scale);
        let ground = if transparent {
            String::new()
        } else {
            format!("<rect width=\"100%\" height=\"100%\" fill=\"{}\"/>", theme::ground(theme))
        };
        let Document { description, body, .. } = self;
        format!(
            "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {unit_width:.3} {unit_height:.3}\" role=\"img\" aria-label=\"{description}\" \
             font-size=\"{LETTER}\">\n<title>{description}</title>\n<style>\n{fonts}{}</style>\n{}{ground}{body}</svg>\n",
            theme::style(theme, lit),
            definitions(),
        )
    }

    /// The pixels, with the fonts of the figure alone.
    pub fn pixels(&self, lit: bool) -> Result<Pixmap, FigureError> {
        let options =
            Options { fontdb: font::database(), font_family: font::FAMILY.into(), ..Options::default() };
        let tree =
            Tree::from_str(&self.svg("", lit), &options).map_err(|e| FigureError::Drawing(e.to_string()))?;
        let mut pixels = Pixmap::new(self.still.width, self.still.height)
            .ok_or_else(|| FigureError::Drawing("no room for the pixels".into()))?;
        resvg::render(&tree, Transform::identity(), &mut pixels.as_mut());
        Ok(pixels)
    }
}

/// The picture as an SVG file of the asked size, with its fonts inside; it asks nothing of a network. Letters that the
/// fonts lack are left to the viewer's fonts.
///
/// # Errors
/// [`FigureError::TooSmall`], [`FigureError::TooLarge`] or [`FigureError::NoRoom`].
pub fn svg(corridor: &Corridor, still: &Still) -> Result<String, FigureError> {
    Ok(Laid::for_viewer(corridor, still)?.svg(Shown::until(still.step), font::embedded(), false))
}

/// The picture as a PNG file (8 bits, sRGB, with transparency where it is asked for). The same bytes every time from
/// one build on one kind of processor.
///
/// # Errors
/// [`FigureError::TooSmall`], [`FigureError::TooLarge`] or [`FigureError::NoRoom`]; [`FigureError::Drawing`] is a defect.
pub fn png(corridor: &Corridor, still: &Still) -> Result<Png, FigureError> {
    let laid = Laid::for_pixels(corridor, still)?;
    let pixels = laid.pixels(Shown::until(still.step), false)?;
    Ok(Png { bytes: encoded_still(still, pixels)?, replaced: laid.replaced })
}

/// A still picture's pixels as a file.
pub(super) fn encoded_still(still: &Still, pixels: Pixmap) -> Result<Vec<u8>, FigureError> {
    let rgba = pixels.take();
    let (pixels, n_channels) =
        if still.transparent { (straight(rgba), 4) } else { (without_opacity(&rgba), 3) };
    encoded(still.width, still.height, &pixels, n_channels, png::Compression::Balanced)
}

/// The pictures of showing it step by step: what is asked for, once for each step, all on the same axes.
pub fn reveal(still: &Still) -> [Still; 5] {
    Step::ALL.map(|step| Still { step, ..*still })
}

/// Pixels as PNG has them: colours that were multiplied by their opacity (four bytes a pixel) no longer are.
pub(super) fn straight(mut rgba: Vec<u8>) -> Vec<u8> {
    for pixel in rgba.chunks_exact_mut(4) {
        let opacity = u32::from(pixel[3]);
        if opacity > 0 && opacity < 255 {
            for colour in &mut pixel[..3] {
                *colour = ((u32::from(*colour) * 255 + opacity / 2) / opacity).min(255) as u8;
            }
        }
    }
    rgba
}

/// Three bytes a pixel of four, where all is opaque.
pub(super) fn without_opacity(rgba: &[u8]) -> Vec<u8> {
    rgba.chunks_exact(4).flat_map(|p| [p[0], p[1], p[2]]).collect()
}

/// Bytes of pixels as a PNG file; three channels or four.
pub(super) fn encoded(
    width: u32,
    height: u32,
    pixels: &[u8],
    n_channels: usize,
    compression: png::Compression,
) -> Result<Vec<u8>, FigureError> {
    let failed = |e: png::EncodingError| FigureError::Drawing(e.to_string());
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(if n_channels == 3 { png::ColorType::Rgb } else { png::ColorType::Rgba });
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(compression);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(pixels).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(out)
}
