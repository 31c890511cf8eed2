//! The response of one microphone as a picture: the curve with its interval, and what its maker published.

use super::Layout;
use super::canvas::{Canvas, Panel, escaped};
use super::plot::{DIFFERENCE_STEPS_DB, N_DECADES};
use super::svg::SYSTEM_FONTS;
use fairtake_calibrated::microphone::MicrophoneResponse;
use fairtake_calibrated::response::Point;
use fairtake_calibrated::sheet::ResponseSheet;

/// The axis reaches no further than this from 0 dB.
const MOST_DB: f64 = 24.0;

/// The SVG of a microphone's own response. `None` where it has none.
pub fn draw_response(name: &str, sheet: &ResponseSheet, layout: &Layout) -> Option<String> {
    let own = sheet.own.as_ref()?;
    let letter = layout.letter;
    let mut canvas = Canvas {
        out: String::new(),
        left: letter * 3.2,
        right: layout.width - letter * 0.9,
        letter,
        stretch: SYSTEM_FONTS,
        from_hz: layout.range_hz.0,
        to_hz: layout.range_hz.1,
    };
    let px_per_db = (canvas.right - canvas.left) / N_DECADES / layout.difference_db_per_decade;
    let panel = Panel::new(letter * 3.6, spanned(own, &published(sheet)), px_per_db);
    canvas.frequency_grid(&[&panel]);
    canvas.level_grid(&panel, &DIFFERENCE_STEPS_DB, true);
    let around = |p: &Point| p.db().zip(p.half_db()).map(|(db, half)| (db - half, db + half));
    canvas.ribbon(&own.points, &panel, around, "pointwise");
    let y = panel.y(0.0);
    canvas.line((canvas.left, y), (canvas.right, y), "zero");
    canvas.curve(&published(sheet), &panel, Point::db, "curve hue1 reference");
    canvas.curve(&own.points, &panel, Point::db, "curve hue0");
    heading(&mut canvas, sheet);
    if let Some(hz) = own.ungated_below_hz {
        let x = canvas.x(hz);
        canvas.line((x, panel.top), (x, panel.bottom), "zero");
        canvas.text(x - letter * 0.5, panel.bottom - letter * 0.6, "end", "quiet", "with reflections");
    }
    canvas.frequency_labels(panel.bottom + letter * 1.6);
    let middle = (canvas.left + canvas.right) / 2.0;
    canvas.text(middle, panel.bottom + letter * 3.0, "middle", "quiet", "frequency in Hz");
    Some(format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {:.0}\" role=\"img\" aria-label=\"{}\" \
         font-size=\"{letter}\">{}</svg>",
        layout.width,
        panel.bottom + letter * 3.5,
        escaped(&format!("Frequency response of {name} with its interval")),
        canvas.out
    ))
}

/// What its maker published, on the level of what was measured: measured less what it deviates by.
fn published(sheet: &ResponseSheet) -> Vec<Point> {
    let (Some(own), Some(deviation)) = (&sheet.own, &sheet.published) else { return Vec::new() };
    own.points
        .iter()
        .map(|p| {
            let held = deviation.held.iter().find(|h| (h.hz / p.hz - 1.0).abs() < 1e-9);
            let level_db = held.zip(p.db()).map(|(h, db)| {
                fairtake_calibrated::Quantity::of_unknown_uncertainty(db - h.deviation_db.value)
            });
            Point { level_db, ..p.clone() }
        })
        .collect()
}

/// Whole threes around everything that is drawn.
fn spanned(own: &MicrophoneResponse, published: &[Point]) -> (f64, f64) {
    let of_own = own.points.iter().filter_map(|p| Some((p.db()?, p.half_db().unwrap_or(0.0))));
    let all = of_own.chain(published.iter().filter_map(|p| Some((p.db()?, 0.0))));
    let (low, high) =
        all.fold((0.0, 0.0), |(low, high): (f64, f64), (db, half)| (low.min(db - half), high.max(db + half)));
    let whole = |db: f64| ((db / 3.0).ceil() * 3.0).clamp(3.0, MOST_DB);
    (-whole(-low), whole(high))
}

fn heading(canvas: &mut Canvas, sheet: &ResponseSheet) {
    let (left, letter) = (canvas.left, canvas.letter);
    let reading = [("curve hue0", "measured, dB re 1 kHz"), ("curve hue1 reference", "published")];
    let n = if sheet.published.is_some() { 2 } else { 1 };
    let mut x = left;
    for (class, text) in reading.into_iter().take(n) {
        let y = letter * 1.6;
        canvas.line((x, y - letter * 0.35), (x + letter * 2.3, y - letter * 0.35), class);
        canvas.text(x + letter * 2.8, y, "start", "quiet", text);
        x += letter * 5.0 + canvas.width(text, super::font::Weight::Regular);
    }
}
