//! The equaliser bridge as a picture: what is wanted and what is reached above, what remains below.

use super::canvas::{Canvas, Panel, escaped};
use super::plot::{DIFFERENCE_STEPS_DB, N_DECADES, N_HUES};
use super::svg::{STRIP_LETTERS, SYSTEM_FONTS};
use super::{Corridor, Layout, Segment};
use fairtake_bridge::{Bridge, BridgedBand, Remaining};
use fairtake_compare::{Band, Verdict, runs};

/// First base line of what is what, and from one to the next, in letters.
const LEGEND_LETTERS: f64 = 3.1;
const LINE_LETTERS: f64 = 1.5;

/// The SVG of a bridge on the axes of its comparison, whose pattern definitions the document holds.
pub fn draw_bridge(corridor: &Corridor, bridge: &Bridge, layout: &Layout) -> String {
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
    let wanted = Panel::new(
        letter * if layout.width < 600.0 { 4.4 + 2.0 * LINE_LETTERS } else { 4.4 },
        spanned(bridge, |b| [b.wanted_db, b.correction_db, b.equaliser_db]),
        px_per_db,
    );
    let rest = Panel::new(
        wanted.bottom + letter * 3.0,
        spanned(bridge, |b| [b.remaining.low_db, b.remaining.remaining_db, b.remaining.high_db]),
        px_per_db,
    );
    let bands: Vec<Band> = corridor.bands.clone();
    let at = |of: fn(&BridgedBand) -> f64| {
        move |band: &Band| bridge.bands.iter().find(|b| same(b.from_hz, band.from_hz)).map(of)
    };
    canvas.frequency_grid(&[&wanted, &rest]);

    let hue = corridor.reference.hue % N_HUES;
    canvas.level_grid(&wanted, &DIFFERENCE_STEPS_DB, true);
    let known = |b: &Band| at(|b| b.wanted_db)(b);
    canvas.ribbon(&bands, &wanted, |b| known(b).and(b.low_db.zip(b.high_db)), "pointwise");
    zero(&mut canvas, &wanted);
    canvas.curve(&bands, &wanted, known, "curve difference");
    canvas.curve(&bands, &wanted, at(|b| b.correction_db), &format!("curve hue{hue}"));
    canvas.curve(&bands, &wanted, at(|b| b.equaliser_db), &format!("curve hue{hue} reference"));
    heading(&mut canvas, corridor, bridge, hue);

    let lane = [bridge.margin_db, -bridge.margin_db].map(|db| rest.y(db));
    let (left, right) = (canvas.left, canvas.right);
    canvas.box_between((left, lane[0]), (right, lane[1]), "lane", "");
    canvas.level_grid(&rest, &DIFFERENCE_STEPS_DB, true);
    canvas.ribbon(
        &bands,
        &rest,
        |b| at(|b| b.remaining.low_db)(b).zip(at(|b| b.remaining.high_db)(b)),
        "simultaneous",
    );
    zero(&mut canvas, &rest);
    canvas.curve(&bands, &rest, at(|b| b.remaining.remaining_db), "curve difference");
    canvas.text(
        left,
        rest.top - letter * 1.2,
        "start",
        "name",
        "what remains after the smoothest correction, in dB",
    );
    let top = rest.bottom + letter * 0.7;
    let bottom = top + letter * STRIP_LETTERS;
    canvas.strip(&segments(bridge), top, bottom);
    canvas.frequency_labels(bottom + letter * 2.7);
    canvas.text((left + right) / 2.0, bottom + letter * 4.1, "middle", "quiet", "frequency in Hz");
    format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {:.0}\" role=\"img\" aria-label=\"{}\" \
         font-size=\"{letter}\">{}</svg>",
        layout.width,
        bottom + letter * 4.6,
        escaped(&format!(
            "What carries {} to {}, and what remains",
            corridor.reference.name, corridor.against.name
        )),
        canvas.out
    )
}

/// Edges of one band in two results are the same numbers but for rounding in a file.
fn same(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < 1e-9
}

fn zero(canvas: &mut Canvas, panel: &Panel) {
    let y = panel.y(0.0);
    canvas.line((canvas.left, y), (canvas.right, y), "zero");
}

/// What is what, above the picture.
fn heading(canvas: &mut Canvas, corridor: &Corridor, bridge: &Bridge, hue: usize) {
    let letter = canvas.letter;
    let left = canvas.left;
    // As much as there is room for: names may be long and screens narrow.
    let titles = [
        format!("what {} needs to become like {}, in dB", corridor.reference.name, corridor.against.name),
        format!("what it needs to become like {}, in dB", corridor.against.name),
        "what is needed, in dB".to_string(),
    ];
    let fits = |t: &&String| left + canvas.width(t, super::font::Weight::Semibold) <= canvas.right;
    let title = titles.iter().find(fits).unwrap_or(&titles[2]).clone();
    canvas.text(left, letter * 1.3, "start", "name", &title);
    let n = bridge.equaliser.bands.len();
    let bands = if n == 1 { "equaliser of 1 band".to_string() } else { format!("equaliser of {n} bands") };
    let lines = [
        ("curve difference".to_string(), "wanted, with its 95 % interval".to_string()),
        (format!("curve hue{hue}"), "smoothest correction".to_string()),
        (format!("curve hue{hue} reference"), bands),
    ];
    let (mut x, mut y) = (left, LEGEND_LETTERS * letter);
    for (class, text) in lines {
        let wide = letter * 4.2 + canvas.width(&text, super::font::Weight::Regular);
        if x > left && x + wide > canvas.right {
            (x, y) = (left, y + LINE_LETTERS * letter);
        }
        canvas.line((x, y - letter * 0.35), (x + letter * 2.3, y - letter * 0.35), &class);
        canvas.text(x + letter * 2.8, y, "start", "quiet", &text);
        x += wide;
    }
}

/// Bottom and top of a panel in dB: whole threes, at least 3 and at most 24 to each side.
fn spanned(bridge: &Bridge, of: impl Fn(&BridgedBand) -> [f64; 3]) -> (f64, f64) {
    let (low, high) =
        bridge.bands.iter().flat_map(of).fold((0.0, 0.0), |(l, h), v| (f64::min(l, v), f64::max(h, v)));
    let whole = |v: f64| ((v / 3.0).ceil() * 3.0).clamp(3.0, 24.0);
    (-whole(-low), whole(high))
}

/// Runs of what remains.
fn segments(bridge: &Bridge) -> Vec<Segment> {
    let all: Vec<Remaining> = bridge.bands.iter().map(|b| b.remaining).collect();
    let verdicts: Vec<Verdict> = all.iter().map(|r| r.verdict).collect();
    let sizes: Vec<Option<f64>> = all.iter().map(|r| Some(r.remaining_db)).collect();
    runs(&verdicts, &sizes)
        .into_iter()
        .map(|(from, to)| {
            let part = &all[from..to];
            let octaves = |r: &Remaining| (r.to_hz / r.from_hz).log2();
            let whole: f64 = part.iter().map(octaves).sum();
            let mean =
                |of: fn(&Remaining) -> f64| part.iter().map(|r| octaves(r) * of(r)).sum::<f64>() / whole;
            Segment {
                from_hz: part[0].from_hz,
                to_hz: part[part.len() - 1].to_hz,
                verdict: verdicts[from],
                difference_db: Some(mean(|r| r.remaining_db)),
                // The intervals hold for all bands at once, and so do their means for the mean.
                low_db: Some(mean(|r| r.low_db)),
                high_db: Some(mean(|r| r.high_db)),
            }
        })
        .collect()
}
