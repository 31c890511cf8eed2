//! Inherent noise in third octaves as a picture: levels with their intervals, and whose they are.

use super::Layout;
use super::canvas::{Canvas, Panel, Stretch, escaped};
use super::font::Weight;
use super::plot::{N_DECADES, SPECTRA_STEPS_DB};
use super::svg::SYSTEM_FONTS;
use fairtake_calibrated::level::{BandNoise, Noise, Standing};

/// The axis begins and ends at multiples of this, in dB.
const WHOLE_DB: f64 = 10.0;
/// As many dB take as much room as twice these of a difference.
const OF_DIFFERENCE: f64 = 2.0;

impl Stretch for BandNoise {
    fn stretch_hz(&self) -> [f64; 3] {
        [self.from_hz, (self.from_hz * self.to_hz).sqrt(), self.to_hz]
    }
}

/// The SVG of a microphone's noise spectrum. `None` where no band has a level.
pub fn draw_noise(name: &str, noise: &Noise, layout: &Layout) -> Option<String> {
    let (from_hz, to_hz) = layout.range_hz;
    let seen: Vec<BandNoise> =
        noise.thirds.iter().filter(|b| b.to_hz > from_hz && b.from_hz < to_hz).cloned().collect();
    let letter = layout.letter;
    let mut canvas = Canvas {
        out: String::new(),
        left: letter * 3.2,
        right: layout.width - letter * 0.9,
        letter,
        stretch: SYSTEM_FONTS,
        from_hz,
        to_hz,
    };
    let decade = (canvas.right - canvas.left) / N_DECADES;
    let px_per_db = decade / (OF_DIFFERENCE * layout.difference_db_per_decade);
    let panel = Panel::new(letter * 3.6, spanned(&seen)?, px_per_db);
    canvas.frequency_grid(&[&panel]);
    canvas.level_grid(&panel, &SPECTRA_STEPS_DB, false);
    canvas.ribbon(&seen, &panel, around, "pointwise");
    let of = |standing: Standing| {
        move |b: &BandNoise| b.level.as_ref().filter(|l| l.standing == standing).map(|l| l.spl_db.value)
    };
    let drawn =
        [(Standing::Own, "curve hue0", "its own"), (Standing::AtMost, "curve hue0 reference", "at most")];
    let mut x = canvas.left;
    let y = letter * 1.6;
    for (standing, class, said) in drawn {
        if !seen.iter().any(|b| of(standing)(b).is_some()) {
            continue;
        }
        canvas.curve(&seen, &panel, of(standing), class);
        canvas.line((x, y - letter * 0.35), (x + letter * 2.3, y - letter * 0.35), class);
        canvas.text(x + letter * 2.8, y, "start", "quiet", said);
        x += letter * 5.0 + canvas.width(said, Weight::Regular);
    }
    canvas.text(canvas.right, y, "end", "quiet", "dB SPL");
    canvas.frequency_labels(panel.bottom + letter * 1.6);
    let middle = (canvas.left + canvas.right) / 2.0;
    canvas.text(middle, panel.bottom + letter * 3.0, "middle", "quiet", "frequency in Hz");
    Some(format!(
        "<svg class=\"corridor\" xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {:.0}\" role=\"img\" aria-label=\"{}\" \
         font-size=\"{letter}\">{}</svg>",
        layout.width,
        panel.bottom + letter * 3.5,
        escaped(&format!("Inherent noise of {name} in third octaves, in dB SPL, with its interval")),
        canvas.out
    ))
}

/// Ends of a band's interval.
fn around(band: &BandNoise) -> Option<(f64, f64)> {
    let q = &band.level.as_ref()?.spl_db;
    q.half.map(|half| (q.value - half, q.value + half))
}

/// Whole tens around everything that is drawn.
fn spanned(bands: &[BandNoise]) -> Option<(f64, f64)> {
    let levels = bands.iter().filter_map(|b| Some(&b.level.as_ref()?.spl_db));
    let ends = levels.map(|q| (q.value - q.half.unwrap_or(0.0), q.value + q.half.unwrap_or(0.0)));
    let (low, high) = ends.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
    Some(((low / WHOLE_DB).floor() * WHOLE_DB, (high / WHOLE_DB).ceil() * WHOLE_DB))
}

#[cfg(test)]
mod tests {
    use super::*;
    use fairtake_calibrated::level::NoiseLevel;
    use fairtake_calibrated::{Contribution, Quantity};

    fn band(from_hz: f64, db: Option<f64>, standing: Standing) -> BandNoise {
        let quantity = |db| Quantity::new(db, vec![Contribution::within("spread", 0.3)]);
        let level =
            db.map(|db| NoiseLevel { spl_db: quantity(db), standing, ambient: None, chain_share: None });
        BandNoise { from_hz, to_hz: from_hz * 1.26, level }
    }

    fn noise(thirds: Vec<BandNoise>) -> Noise {
        let level = |db| band(100.0, Some(db), Standing::Own).level.expect("has one");
        let ratio = Quantity::of_unknown_uncertainty(80.0);
        Noise {
            a_weighted: level(15.0),
            bs468: level(27.0),
            signal_to_noise_db: ratio.clone(),
            dynamic_range_db: ratio,
            thirds,
            hum: Vec::new(),
            seconds: 30.0,
            cautions: Vec::new(),
        }
    }

    #[test]
    fn bands_of_either_standing_are_drawn_apart_and_none_draw_nothing() {
        let both = noise(vec![
            band(800.0, Some(2.0), Standing::Own),
            band(1008.0, Some(1.0), Standing::AtMost),
            band(1270.0, None, Standing::Own),
        ]);
        let svg = draw_noise("Heron 3", &both, &Layout::WIDE).expect("two bands");
        // A legend and a curve each.
        assert_eq!(svg.matches("class=\"curve hue0\"").count(), 2);
        assert_eq!(svg.matches("class=\"curve hue0 reference\"").count(), 2);
        assert!(svg.contains("at most") && svg.contains("its own"));
        let bound =
            draw_noise("Heron 3", &noise(vec![both.thirds[1].clone()]), &Layout::NARROW).expect("one band");
        assert!(!bound.contains("its own"));
        assert_eq!(draw_noise("Heron 3", &noise(vec![both.thirds[2].clone()]), &Layout::WIDE), None);
    }

    #[test]
    fn the_axis_spans_whole_tens_around_every_interval() {
        // ±0.3·1.96/√3 = 0.34 dB reach below −10.
        let bands = [band(100.0, Some(-9.8), Standing::Own), band(200.0, Some(11.0), Standing::Own)];
        assert_eq!(spanned(&bands), Some((-20.0, 20.0)));
    }
}
