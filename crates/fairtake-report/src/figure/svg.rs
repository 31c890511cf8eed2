//! Draws a [`Corridor`] for a page: as wide as the layout says, as tall as its proportions make it.

use super::canvas::{Canvas, Panel, escaped};
use super::plot::{N_DECADES, Plot};
use super::{Corridor, Layout, Shown};

/// A page has the fonts of its system, whose letters are wider than ours by up to this (DejaVu Sans, measured).
pub(super) const SYSTEM_FONTS: f64 = 1.2;

/// Height of the verdict strip in letters.
pub(super) const STRIP_LETTERS: f64 = 2.0;

/// Patterns of the verdict strip and hatching; once per document, before any figure.
pub fn patterns() -> String {
    format!("<svg class=\"patterns\" width=\"0\" height=\"0\" aria-hidden=\"true\">{}</svg>", definitions())
}

/// The patterns by themselves, for a document that is one figure.
pub(super) fn definitions() -> String {
    let lines = |id: &str, class: &str, turn: u32, gap: u32| {
        format!(
            "<pattern id=\"{id}\" width=\"{gap}\" height=\"{gap}\" patternUnits=\"userSpaceOnUse\" \
             patternTransform=\"rotate({turn})\"><rect width=\"{gap}\" height=\"{gap}\" class=\"{class}-ground\"/>\
             <line x1=\"0\" y1=\"0\" x2=\"0\" y2=\"{gap}\" class=\"{class}-line\"/></pattern>"
        )
    };
    format!(
        "<defs>{}{}{}{}</defs>",
        lines("more", "different", 45, 7),
        lines("less", "different", 135, 7),
        lines("open", "undecided", 0, 9),
        lines("hidden", "hidden", 60, 5)
    )
}

/// The SVG of a corridor.
pub fn draw(corridor: &Corridor, layout: &Layout) -> String {
    let (body, height) = body(corridor, layout);
    format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {height:.0}\" role=\"img\" \
         aria-label=\"{}\" font-size=\"{}\">{body}</svg>",
        layout.width,
        escaped(&corridor.description),
        layout.letter
    )
}

/// What is inside that SVG, and its height.
pub(super) fn body(corridor: &Corridor, layout: &Layout) -> (String, f64) {
    let letter = layout.letter;
    let (from_hz, to_hz) = layout.range_hz;
    let right = layout.width - letter * 0.9;
    let mut canvas = Canvas {
        out: String::new(),
        left: letter * 3.2,
        right,
        letter,
        stretch: SYSTEM_FONTS,
        from_hz,
        to_hz,
    };
    let decade = (canvas.right - canvas.left) / N_DECADES;
    let spectra = Panel::new(letter * 3.0, corridor.spectra_db(), decade / layout.spectra_db_per_decade);
    let difference = Panel::new(
        spectra.bottom + letter * 3.0,
        corridor.difference_db(),
        decade / layout.difference_db_per_decade,
    );
    let strip_top = difference.bottom + letter * 0.7;
    let strip_bottom = strip_top + letter * STRIP_LETTERS;
    let plot = Plot {
        legend_y: spectra.top - letter * 1.1,
        spectra,
        heading_y: difference.top - letter * 1.2,
        difference,
        strip_top,
        strip_bottom,
        labels_y: strip_bottom + letter * 2.7,
        axis_name_y: Some(strip_bottom + letter * 4.1),
    };
    let height = strip_bottom + letter * 4.6;
    canvas.plot(corridor, &plot, Shown::ALL);
    if layout.readings {
        canvas.readings(corridor, plot.spectra.top, strip_bottom);
    }
    (canvas.out, height)
}
