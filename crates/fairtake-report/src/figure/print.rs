//! A corridor for a printed page: the drawing of a page's layout with its key, colours inside, ready to be set as vectors.

use super::canvas::escaped;
use super::font::{self, Weight};
use super::svg::{body, definitions};
use super::{Corridor, FigureError, Layout, Theme, key, theme};
use resvg::usvg::{Options, Tree};
use std::fmt::Write;

/// Height of a line of the key, in letters.
const KEY_LINE: f64 = 1.7;

/// Width of a sample of the key and of the gap behind it, in letters.
const SAMPLE: f64 = 2.4;
const AFTER_SAMPLE: f64 = 0.5;
const BETWEEN: f64 = 1.6;

/// A drawing with its size in the layout's px.
pub(crate) struct Printed {
    /// The drawing.
    pub tree: Tree,
    /// Width in px.
    pub width: f64,
    /// Height in px.
    pub height: f64,
}

/// The two fonts of figures and print: regular and semi-bold.
pub(crate) fn font_files() -> [&'static [u8]; 2] {
    [font::REGULAR, font::SEMIBOLD]
}

/// A corridor in the colours of print, with its key below. Its names hold only letters that the fonts have.
pub(crate) fn printed(corridor: &Corridor, layout: &Layout) -> Result<Printed, FigureError> {
    let (body, picture) = body(corridor, layout);
    let (key, height) = key_below(corridor.widened, picture + layout.letter * 0.6, layout);
    let svg = format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height:.1}\" \
         viewBox=\"0 0 {width} {height:.1}\" font-size=\"{}\"><style>{}</style>{}{body}{key}</svg>",
        layout.letter,
        theme::style(Theme::Print, false),
        definitions(),
        width = layout.width,
    );
    let options =
        Options { fontdb: font::database(), font_family: font::FAMILY.into(), ..Options::default() };
    let tree = Tree::from_str(&svg, &options).map_err(|e| FigureError::Drawing(e.to_string()))?;
    Ok(Printed { tree, width: layout.width, height })
}

/// A drawing of a page in the colours of print, as wide as `share` of what is set and in its middle. Its names hold only letters that the
/// fonts have.
pub(crate) fn set_for_print(svg: &str, share: f64) -> Result<Printed, FigureError> {
    let fail = |what: String| FigureError::Drawing(what);
    let (head, body) = svg.split_once('>').ok_or_else(|| fail("no SVG".into()))?;
    let svg = format!("{head}><style>{}</style>{body}", theme::style(Theme::Print, false));
    let options =
        Options { fontdb: font::database(), font_family: font::FAMILY.into(), ..Options::default() };
    let narrow = Tree::from_str(&svg, &options).map_err(|e| fail(e.to_string()))?.size();
    let (width, height) = (f64::from(narrow.width()) / share, f64::from(narrow.height()));
    // The same with room on both sides.
    let view =
        format!("viewBox=\"{:.1} 0 {width:.1} {height:.1}\"", (f64::from(narrow.width()) - width) / 2.0);
    let own = svg.split_once("viewBox=\"").and_then(|(before, rest)| Some((before, rest.split_once('"')?.1)));
    let (before, after) = own.ok_or_else(|| fail("no size".into()))?;
    let tree =
        Tree::from_str(&format!("{before}{view}{after}"), &options).map_err(|e| fail(e.to_string()))?;
    Ok(Printed { tree, width, height })
}

/// The key from `top` down, as many samples on a line as fit, and where it ends.
fn key_below(widened: bool, top: f64, layout: &Layout) -> (String, f64) {
    let letter = layout.letter;
    let (left, right) = (letter * 3.2, layout.width - letter * 0.9);
    let (mut x, mut y) = (left, top);
    let mut out = String::new();
    for s in key(widened) {
        let sample = if s.class.is_empty() { 0.0 } else { letter * (SAMPLE + AFTER_SAMPLE) };
        let width = sample + letter * font::width(s.words, Weight::Regular);
        if x > left && x + width > right {
            x = left;
            y += letter * KEY_LINE;
        }
        if !s.class.is_empty() {
            let fill = if s.fill.is_empty() { String::new() } else { format!(" fill=\"url(#{})\"", s.fill) };
            let _ = write!(
                out,
                "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{letter:.1}\" class=\"{}\"{fill}/>",
                y + letter * 0.15,
                letter * SAMPLE,
                s.class
            );
        }
        let _ = write!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" class=\"quiet\">{}</text>",
            x + sample,
            y + letter,
            escaped(s.words)
        );
        x += width + letter * BETWEEN;
    }
    (out, y + letter * KEY_LINE)
}
